// The sets that were made, in the panel: list, contact sheet, frames as large as the screen, new names, and frames that are fired
// again or made at last. The sets are fired by the panel itself on the practice body.
import { createHash } from 'node:crypto';
import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import type { Page } from 'playwright-core';
import { beforeAll, describe, expect, it } from 'vitest';
import { setRecordSchema } from '../../shared/set-record.js';
import {
  ask,
  freshly,
  hold,
  NARROW,
  panelForTests,
  SIZES,
  screenAt,
  trigger,
  verified,
  wellLaid,
} from './practice-panel.js';

const [PHONE, LAPTOP] = SIZES;
/** So many that it can be stopped among them. */
const MANY = 31;
const FEW = 3;

const panel = panelForTests({ EVENRUNG_PRACTICE_TIMING: 'at-once', EVENRUNG_PRACTICE_PICTURE: 'full' });

beforeAll(async () => {
  const page = await panel.open(LAPTOP);
  await freshly(page);
  await page.getByText('Name, note, viewpoint').click();
  await page.getByLabel('Name', { exact: true }).fill('Boathouse at dusk');
  await page.getByLabel('Viewpoint', { exact: true }).fill('4');
  await ask(page, FEW, '1 EV', '1/60');
  await hold(page);
  await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 30_000 });
  await page.getByRole('button', { name: 'New set', exact: true }).click();
  await page.getByText('Boathouse at dusk, viewpoint 4').click();
  await page.getByLabel('Name', { exact: true }).fill('');
  await ask(page, MANY, '1/3 EV', '1/60');
  await hold(page);
  await verified(page).first().waitFor();
  await page.getByRole('button', { name: 'Stop', exact: true }).click();
  await page.locator('main[data-view="ended"][data-run-state="stopped"]').waitFor();
  expect(await panel.closePages()).toEqual([]);
}, 60_000);

const list = (page: Page) => page.getByRole('list', { name: 'Sets' }).getByRole('listitem');
const tiles = (page: Page) => page.getByRole('list', { name: 'Frames' }).getByRole('listitem');
const viewer = (page: Page) => page.getByRole('dialog', { name: /^Frame \d+ of/ });
const confirm = (page: Page) => page.getByRole('dialog', { name: /^(Fire|Reshoot)/ });

async function toList(page: Page): Promise<void> {
  await page.getByRole('link', { name: 'Sets' }).click();
  await list(page).first().waitFor();
}

async function openFew(page: Page): Promise<void> {
  await list(page)
    .filter({ hasText: `complete, ${FEW} frames` })
    .getByRole('link')
    .click();
  await tiles(page).first().waitFor();
}

const loaded = (page: Page, pictures: string) =>
  page
    .locator(pictures)
    .evaluateAll((all) => all.filter((one) => (one as HTMLImageElement).naturalWidth > 0).length);

/** @returns the record and the checksums of the frames' files, of the set with so many frames */
async function kept(frames: number) {
  for (const folder of await readdir(panel.sets)) {
    const at = (file: string) => path.join(panel.sets, folder, file);
    const record = setRecordSchema.parse(JSON.parse(await readFile(at('set.json'), 'utf8')));
    if (record.frames.length !== frames) continue;
    const sums = await Promise.all(
      record.frames.map(async ({ file }) =>
        file === null
          ? null
          : createHash('sha256')
              .update(await readFile(at(file)))
              .digest('hex'),
      ),
    );
    return { record, sums };
  }
  throw new Error('There is no such set.');
}

describe.each([PHONE, NARROW, LAPTOP])('on a $name', (size) => {
  it('the newest set stands first; one is opened to its contact sheet and its frames', async () => {
    const page = await panel.open(size);
    await toList(page);
    expect(await list(page).count()).toBe(2);
    expect(await list(page).nth(0).textContent()).toMatch(/^Set of .*Stopped, \d+ of 31 frames.*viewpoint 4/);
    expect(await list(page).nth(1).textContent()).toMatch(/^Boathouse at dusk.*Set complete, 3 frames/);
    // Of the stopped one, too, a frame is there.
    await expect.poll(() => loaded(page, '.kept-picture img'), { timeout: 5000 }).toBe(2);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-sets`), fullPage: true });

    await openFew(page);
    await page.getByText('Contact sheet', { exact: true }).click();
    await expect.poll(() => loaded(page, '.sheet img')).toBe(1);
    for (const picture of await page.locator('.kept-frames img').all())
      await picture.scrollIntoViewIfNeeded();
    await expect.poll(() => loaded(page, '.kept-frames img')).toBe(3);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-set`), fullPage: true });
  });
});

describe('a frame as large as the screen', () => {
  it('arrows lead to its neighbours, Escape and the way back close it, its file can be had', async () => {
    const page = await panel.open(LAPTOP);
    await toList(page);
    await openFew(page);
    await page.getByRole('link', { name: 'Frame 2 at full size' }).click();
    await viewer(page).locator('img').waitFor();
    await page.locator('.viewer[data-loading="there"]').waitFor();
    const { width, height } = await viewer(page)
      .locator('img')
      .evaluate((one) => ({
        width: (one as HTMLImageElement).naturalWidth,
        height: (one as HTMLImageElement).naturalHeight,
      }));
    // Larger than any small copy.
    expect(Math.max(width, height)).toBeGreaterThan(800);
    await page.keyboard.press('ArrowRight');
    await page.getByRole('dialog', { name: 'Frame 3 of 3' }).waitFor();
    await page.keyboard.press('ArrowRight');
    expect(await page.getByRole('button', { name: 'Brighter frame', exact: true }).isDisabled()).toBe(true);
    await page.keyboard.press('ArrowLeft');
    await page.keyboard.press('ArrowLeft');
    await page.getByRole('dialog', { name: 'Frame 1 of 3' }).waitFor();
    await page.locator('.viewer[data-loading="there"]').waitFor();
    await wellLaid(page);
    await page.screenshot({ path: screenAt('laptop-frame') });

    const { record, sums } = await kept(FEW);
    const [download] = await Promise.all([
      page.waitForEvent('download'),
      viewer(page).getByRole('link', { name: 'Original' }).click(),
    ]);
    expect(download.suggestedFilename()).toBe(record.frames[0]?.file);
    const downloaded = createHash('sha256').update(await readFile(await download.path()));
    expect(downloaded.digest('hex')).toBe(sums[0]);

    await page.keyboard.press('Escape');
    await viewer(page).waitFor({ state: 'detached' });
    await expect
      .poll(() => page.evaluate(() => document.activeElement?.getAttribute('aria-label')))
      .toBe('Frame 1 at full size');
    // One step back from the set is the list, not the picture once more.
    await page.goBack();
    await list(page).first().waitFor();
    await openFew(page);
    await page.getByRole('link', { name: 'Frame 2 at full size' }).click();
    await viewer(page).waitFor();
    await page.goBack();
    await viewer(page).waitFor({ state: 'detached' });
    await tiles(page).first().waitFor();
  });

  it('fits a telephone with its tools, and every pixel can be looked at', async () => {
    const page = await panel.open(NARROW);
    await toList(page);
    await openFew(page);
    await page.getByRole('link', { name: 'Frame 2 at full size' }).click();
    await page.locator('.viewer[data-loading="there"]').waitFor();
    const box = await viewer(page).locator('img').boundingBox();
    expect(box?.width).toBeLessThanOrEqual(NARROW.width);
    await wellLaid(page);
    await page.screenshot({ path: screenAt('narrow-frame') });
    await page.getByRole('button', { name: '100%' }).click();
    await expect
      .poll(async () => (await viewer(page).locator('img').boundingBox())?.width ?? 0)
      .toBeGreaterThan(800);
    await page.getByRole('button', { name: 'Close' }).click();
    await viewer(page).waitFor({ state: 'detached' });
  });
});

describe('a set by its name', () => {
  it('is renamed, and its record with it; what is no viewpoint is refused at its field', async () => {
    const page = await panel.open(PHONE);
    await toList(page);
    await openFew(page);
    await page.getByRole('button', { name: 'Edit name and note' }).click();
    await page.getByLabel('Name', { exact: true }).fill('Boathouse at dusk, west side');
    await page.getByLabel('Note', { exact: true }).fill('doors open');
    await page.getByLabel('Viewpoint', { exact: true }).fill('0');
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByRole('alert').getByText('from 1 to 9999').waitFor();
    await wellLaid(page);
    await page.getByLabel('Viewpoint', { exact: true }).fill('5');
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByRole('heading', { name: 'Boathouse at dusk, west side' }).waitFor();
    await page.getByText('viewpoint 5', { exact: true }).waitFor();
    const { record } = await kept(FEW);
    expect(record).toMatchObject({ note: 'doors open', viewpoint: '5' });
    await page.getByRole('link', { name: 'All sets' }).click();
    await list(page).filter({ hasText: 'doors open' }).waitFor();
  });
});

describe('firing again', () => {
  it('a frame that is looked at leads there, and is chosen already', async () => {
    const page = await panel.open(PHONE);
    await toList(page);
    await openFew(page);
    await page.getByRole('link', { name: 'Frame 2 at full size' }).click();
    const viewer = page.getByRole('dialog', { name: /^Frame 2 of/ });
    await viewer.getByRole('button', { name: 'Reshoot' }).click();
    await viewer.waitFor({ state: 'detached' });
    await page.getByRole('button', { name: 'Reshoot 1 frame' }).waitFor();
    expect(await page.getByLabel('Select frame 2').isChecked()).toBe(true);
    expect(await page.getByLabel('Select frame 3').isChecked()).toBe(false);
  });

  it('asks once, then fires the chosen frame, and the new file takes the place of the old one', async () => {
    const page = await panel.open(PHONE);
    const before = await kept(FEW);
    await toList(page);
    await openFew(page);
    await page.getByRole('button', { name: 'Reshoot' }).click();
    await page.getByRole('button', { name: 'Nothing selected' }).waitFor();
    await page.getByLabel('Select frame 3').check();
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-fire-again'), fullPage: true });
    await page.getByRole('button', { name: 'Reshoot 1 frame' }).click();
    await confirm(page).getByText('may not match').waitFor();
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-confirm') });
    await confirm(page).getByRole('button', { name: 'Cancel' }).click();
    await confirm(page).waitFor({ state: 'detached' });
    expect((await kept(FEW)).sums).toEqual(before.sums);

    await page.getByRole('button', { name: 'Reshoot 1 frame' }).click();
    await confirm(page).getByRole('button', { name: 'Fire', exact: true }).click();
    await page.locator('main[data-page="panel"][data-view="ended"]').waitFor({ timeout: 20_000 });
    await page
      .getByText(/^Frame 3 was reshot/)
      .first()
      .waitFor();
    const after = await kept(FEW);
    expect(after.sums.slice(0, 2)).toEqual(before.sums.slice(0, 2));
    expect(after.record.frames[2]?.attempts).toBe(2);
    expect(after.record.frames[2]?.firedAt).not.toBe(before.record.frames[2]?.firedAt);
  });

  it('Complete makes what a stopped set lacks', async () => {
    const page = await panel.open(LAPTOP);
    await toList(page);
    await list(page).filter({ hasText: 'Stopped' }).getByRole('link').click();
    await tiles(page).first().waitFor();
    const lacking = await tiles(page).filter({ hasText: 'missing' }).count();
    expect(lacking).toBeGreaterThan(0);
    await page.getByRole('button', { name: 'Complete this set' }).click();
    await confirm(page).getByText('may not match').waitFor();
    await confirm(page).getByRole('button', { name: 'Fire', exact: true }).click();
    await page
      .locator('main[data-page="panel"][data-view="ended"][data-run-state="complete"]')
      .waitFor({ timeout: 30_000 });
    expect(await verified(page).count()).toBe(MANY);
    const { record } = await kept(MANY);
    expect(record.complete).toBe(true);
    // The panel is ready for the next set.
    await page.getByRole('button', { name: 'New set', exact: true }).click();
    await trigger(page).waitFor();
  });
});
