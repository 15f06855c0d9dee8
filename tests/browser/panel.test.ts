// The panel from asking to nine verified frames, on a phone and on a laptop, by day and by night.
import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { setRecordSchema } from '../../shared/set-record.js';
import {
  ask,
  freshly,
  hold,
  panelForTests,
  rungNames,
  rungs,
  SIZES,
  screenAt,
  trigger,
  verified,
  wellLaid,
} from './practice-panel.js';

const panel = panelForTests();

const NINE = ['1/4', '1/8', '1/15', '1/30', '1/60', '1/125', '1/250', '1/500', '1/1000'];

describe.each(SIZES)('on a $name', (size) => {
  it('nine frames: asked for, seen on the ladder, fired, verified', async () => {
    const page = await panel.open(size);
    await freshly(page);
    await page.getByText('Practice camera: no real pictures.').waitFor();
    await ask(page, 9, '1 EV', '1/60');
    await expect.poll(() => rungNames(page)).toHaveLength(9);
    expect(await rungNames(page)).toEqual(
      NINE.map((shutter, index) => {
        const offset = 4 - index;
        return `Frame ${9 - index}, ${offset > 0 ? '+' : ''}${String(offset).replace('-', '\u2212')} EV, ${shutter}, planned`;
      }),
    );
    expect(
      await rungs(page).evaluateAll((found) => found.map((rung) => rung.getAttribute('data-pass'))),
    ).toEqual(['3', '3', '3', '1', '1', '1', '2', '2', '2']);
    expect(
      await trigger(page)
        .getAttribute('aria-label')
        .then((label) => label ?? trigger(page).textContent()),
    ).toMatch(/9 frames.*3 passes.*about \d+ s/);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-asked`), fullPage: true });

    await hold(page);
    await expect.poll(() => verified(page).count(), { timeout: 15_000 }).toBeGreaterThanOrEqual(4);
    // This daemon judges no pictures: no room is kept for one of the set.
    expect(await page.locator('.set-picture').count()).toBe(0);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-running`) });
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor();
    expect(await verified(page).count()).toBe(9);
    expect(await page.locator('.set-picture').count()).toBe(0);
    await page.getByText('All 9 frames are verified.').first().waitFor();

    const pictures = page.locator('[data-frame] img');
    expect(await pictures.count()).toBe(9);
    for (const picture of await pictures.all()) await picture.scrollIntoViewIfNeeded();
    await expect
      .poll(() =>
        pictures.evaluateAll((all) => all.filter((one) => (one as HTMLImageElement).naturalWidth > 0).length),
      )
      .toBe(9);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-complete`), fullPage: true });

    const newest = (await readdir(panel.sets)).sort().at(-1) ?? '';
    await page.getByText(newest).waitFor();
    const record = setRecordSchema.parse(
      JSON.parse(await readFile(path.join(panel.sets, newest, 'set.json'), 'utf8')),
    );
    expect(record).toMatchObject({ complete: true, practice: true });
  });

  it('stop: the frame in hand ends, and the panel says how it ended', async () => {
    const page = await panel.open(size);
    await freshly(page);
    await ask(page, 9, '1 EV', '1/4');
    await hold(page);
    await expect.poll(() => verified(page).count(), { timeout: 15_000 }).toBeGreaterThanOrEqual(1);
    await page.getByRole('button', { name: 'Stop', exact: true }).click();
    await page.locator('main[data-view="ended"][data-run-state="stopped"]').waitFor();
    await page
      .getByText(/^Stopped after \d of 9 frames\./)
      .first()
      .waitFor();
    await page.screenshot({ path: screenAt(`${size.name}-stopped`), fullPage: true });
    // Frames that the stop left out are not made, and no longer planned.
    const names = await rungNames(page);
    expect(names.filter((name) => name.endsWith('planned'))).toEqual([]);
    expect(names.filter((name) => name.endsWith('not fired')).length).toBeGreaterThan(0);
    // What it lacks is made from here; and that can be stopped again, though the run has the same name.
    await page.getByRole('link', { name: 'Complete this set' }).click();
    await page.getByRole('button', { name: 'Complete this set' }).click();
    await page.getByRole('dialog').getByRole('button', { name: 'Fire', exact: true }).click();
    await page.locator('main[data-view="running"]').waitFor();
    const stop = page.getByRole('button', { name: 'Stop', exact: true });
    expect(await stop.isEnabled()).toBe(true);
    expect(await page.locator('#run-heading').textContent()).not.toMatch(/^Stopping/);
    await stop.click();
    await page.locator('main[data-view="ended"][data-run-state="stopped"]').waitFor();
    const notes = await page.getByRole('log', { name: 'Notes' }).locator('p').allTextContents();
    expect(new Set(notes).size).toBe(notes.length);
  });

  it('a request that cannot be met: said beside the controls, and the bar does nothing', async () => {
    const page = await panel.open(size);
    await freshly(page);
    await ask(page, 21, '2 EV', '1/60');
    const alert = page.getByRole('alert').filter({ hasText: /shutter times outside/ });
    await alert.waitFor();
    expect(await trigger(page).count()).toBe(0);
    expect(await page.locator('main').getAttribute('data-view')).toBe('ask');
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-refused`), fullPage: true });
    // Each suggestion can be taken, and then there is a ladder.
    const offered = page.getByRole('list', { name: 'Try instead:' }).getByRole('button');
    await offered.filter({ hasText: /^\d+ frames, from/ }).click();
    await trigger(page).waitFor();
    expect((await rungNames(page)).length).toBeGreaterThan(5);
    // What a refused request asks of the daemon is a 422, which the browser notes in its console.
    panel.forgetComplaints();
  });
});

describe('the trigger', () => {
  it('a short press fires nothing; holding the space bar does', async () => {
    const page = await panel.open(SIZES[1]);
    await freshly(page);
    await ask(page, 3, '1 EV', '1/60');
    await trigger(page).and(page.locator(':not([aria-disabled="true"])')).waitFor();
    const before = (await readdir(panel.sets)).length;
    await trigger(page).click({ delay: 100 });
    await page.waitForTimeout(900);
    expect((await readdir(panel.sets)).length).toBe(before);
    await trigger(page).focus();
    await page.keyboard.down('Space');
    await page.locator('main[data-view="running"]').waitFor();
    await page.keyboard.up('Space');
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor();
    expect((await readdir(panel.sets)).length).toBe(before + 1);
  });
});

describe('the connection', () => {
  it('a daemon that is killed is missed at once, and found again when it is back', async () => {
    const page = await panel.open(SIZES[0]);
    await freshly(page);
    const { port } = new URL(panel.address);
    panel.daemon?.signal('SIGKILL');
    await panel.daemon?.ended;
    await page.locator('main[data-connection="lost"]').waitFor();
    await page.getByText('This page may be out of date.').waitFor();
    await page.screenshot({ path: screenAt('phone-lost'), fullPage: true });
    await panel.serve(Number(port));
    await page.locator('main[data-connection="connected"]').waitFor({ timeout: 20_000 });
    await page.locator('main[data-body-state="ready"]').waitFor();
    // The browser notes every attempt that failed.
    panel.forgetComplaints();
  });
});
