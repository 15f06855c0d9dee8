// What the panel shows when a run cannot go on, has halted, or there is no body: what happened, what happens next, and the way to
// the notes. The practice camera meets with none of it, so the states are put into the stream on its way to the page; the run in
// them was fired, and the notes come from the daemon.
import type { Page } from 'playwright-core';
import { beforeAll, describe, expect, it } from 'vitest';
import type { ErrorCode } from '../../shared/error-codes.js';
import { PAGES, pageAddress } from '../../shared/pages.js';
import type { BodyState, DaemonState, RunView, Trouble } from '../../shared/state.js';
import { ask, freshly, hold, panelForTests, SIZES, type Size, screenAt, wellLaid } from './practice-panel.js';

const NARROWEST = { ...SIZES[0], name: 'narrow', width: 320, height: 568 } as const;

const panel = panelForTests();

beforeAll(async () => {
  // A run to show: nine frames of which each is verified.
  const page = await panel.open(SIZES[1]);
  await freshly(page);
  await ask(page, 9, '1 EV', '1/60');
  await hold(page);
  await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor();
  await panel.closePages();
});

const RECONNECTING: Trouble = {
  doing: 'reconnecting',
  code: 'body-lost',
  sentence:
    'The camera no longer answers. Check the cable at both ends and the battery, and wake the camera or switch it on.',
  next: 'Evenrung tries again for 60 s. If that fails, the set ends; verified frames are kept.',
};
const WAITING: Trouble = {
  doing: 'waiting',
  code: 'body-busy',
  sentence:
    'The camera is busy. Leave its menus and wait until it has stored its last frame; if it stays busy, switch it off and on.',
  next: 'Evenrung tries again for 60 s. If that fails, the set ends; verified frames are kept.',
};

/** The run that was fired, as it stood after four frames. */
const underWay = (run: RunView, trouble: Trouble | null): RunView => ({
  ...run,
  state: 'making-up',
  endedAt: null,
  sentence: null,
  folder: null,
  trouble,
  passes: run.passes.map((_, index) => (index === 0 ? 'done' : index === 1 ? 'firing' : 'planned')),
  frames: run.frames.map((frame) =>
    frame.pass === 1 || frame.number === 1
      ? frame
      : { ...frame, state: 'planned', attempts: 0, recorded: null, clipped: null, file: null },
  ),
});

const halted = (run: RunView, error: ErrorCode, sentence: string): RunView => ({
  ...underWay(run, null),
  state: 'halted',
  error,
  sentence,
  folder: run.folder,
  endedAt: run.endedAt,
});

const withRun = (edit: (run: RunView) => RunView) => (state: DaemonState) =>
  state.run === null ? state : { ...state, run: edit(state.run) };

const withBody = (body: BodyState) => (state: DaemonState) => ({ ...state, body, run: null });

const show = (size: Size, edit: (state: DaemonState) => DaemonState) => panel.show(size, edit);

const more = (page: Page) => page.getByRole('link', { name: 'Help with this' });

/** The link leads to the section of this error, in sight, as the daemon serves it. */
async function leadsToItsSection(page: Page, code: ErrorCode, screen: string): Promise<void> {
  expect(await more(page).getAttribute('href')).toBe(`/notes/${pageAddress(code)}`);
  const [note] = await Promise.all([page.waitForEvent('popup'), more(page).click()]);
  const heading = note.getByRole('heading', { name: PAGES[code].section, exact: true });
  await heading.waitFor();
  await expect.poll(() => heading.evaluate((it) => it.getBoundingClientRect().top)).toBeGreaterThan(0);
  expect(await heading.evaluate((it) => it.getBoundingClientRect().bottom < innerHeight)).toBe(true);
  expect(
    await note.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth),
  ).toBe(0);
  await note.screenshot({ path: screenAt(screen) });
  await note.close();
}

describe.each([...SIZES, NARROWEST])('a run in trouble, on a $name', (size) => {
  it.each([
    ['reconnecting', RECONNECTING, 'Reconnecting'],
    ['waiting', WAITING, 'Waiting'],
  ] as const)(
    '%s: said over everything, with Stop at hand, until it is over',
    async (name, trouble, word) => {
      const { page, run, tell } = await show(
        size as Size,
        withRun((shown) => underWay(shown, null)),
      );
      const band = page.getByRole('status').filter({ hasText: word });
      // The region is there before: only then is it spoken.
      expect(await page.locator('.bands [role="status"]').textContent()).toBe('');
      expect(await band.count()).toBe(0);
      tell({ type: 'trouble', run, trouble });
      await band.waitFor();
      expect(await band.textContent()).toContain(trouble.sentence);
      expect(await band.textContent()).toContain(trouble.next);
      await page.locator('#run-heading').getByText(word).waitFor();
      expect(await page.getByText(/^about .* left$/).count()).toBe(0);

      // However far the ladder is scrolled: both are seen, and neither covers the other.
      await page.evaluate(() => scrollTo(0, 200));
      const stop = page.getByRole('button', { name: 'Stop', exact: true });
      const [over, under] = [await band.boundingBox(), await stop.boundingBox()];
      expect(over?.y).toBeGreaterThanOrEqual(-1);
      expect((over?.y ?? 0) + (over?.height ?? 0)).toBeLessThan(under?.y ?? 0);
      expect((under?.y ?? 0) + (under?.height ?? 0)).toBeLessThanOrEqual(size.height);
      await wellLaid(page);
      await page.screenshot({ path: screenAt(`${size.name}-${name}`) });

      tell({ type: 'trouble', run, trouble: null });
      await expect.poll(() => page.locator('.bands [role="status"]').textContent()).toBe('');
      await page.locator('#run-heading').getByText('Reshooting frames').waitFor();
    },
  );
});

describe.each(SIZES)('on a $name', (size) => {
  it('Stop is taken while the camera is gone', async () => {
    const { page } = await show(
      size,
      withRun((run) => underWay(run, RECONNECTING)),
    );
    let stops = 0;
    await page.route('**/api/run/stop', (route) => {
      stops += 1;
      return route.fulfill({ status: 202, json: {} });
    });
    await page.getByRole('button', { name: 'Stop', exact: true }).click();
    await page.locator('#run-heading').getByText('Stopping after this frame').waitFor();
    expect(stops).toBe(1);
  });

  it('halted: what happened, that nothing more is fired, what is kept, and the way to the notes', async () => {
    const sentence =
      'Failed after 4 of 9 frames. Frame 5 (0 EV, 1/60 s): The camera has no room for the frame: its card is full or write-protected. Change the card, then fire again.';
    const { page } = await show(
      size,
      withRun((run) => halted(run, 'storing-failed', sentence)),
    );
    await page.locator('main[data-view="ended"][data-run-state="halted"]').waitFor();
    await page.getByText(sentence, { exact: true }).first().waitFor();
    const kept = 'Firing has stopped. 4 verified frames are in the set folder.';
    await page.locator('.ended').getByText(kept).waitFor();
    await expect.poll(() => page.locator('[data-announcer]').textContent()).toContain(kept);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-halted`) });
    await leadsToItsSection(page, 'storing-failed', `${size.name}-note`);
  });

  it('complete, but not put back: the way to the notes, and no word of firing', async () => {
    const { page } = await show(
      size,
      withRun((run) => ({
        ...run,
        error: 'not-put-back',
        sentence: 'All 9 frames are verified. These settings could not be put back: shutterspeed to 1/60.',
      })),
    );
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor();
    expect(await page.getByText('Firing has stopped.').count()).toBe(0);
    expect(await more(page).getAttribute('href')).toBe(`/notes/${pageAddress('not-put-back')}`);
  });

  it('no body: what happened, what happens next, and the way to the notes', async () => {
    const next = 'Evenrung looks for it every 3 s, and puts its settings back.';
    const { page } = await show(
      size,
      withBody({ state: 'absent', sentence: RECONNECTING.sentence, error: 'body-lost', next, choices: [] }),
    );
    await page.getByText(RECONNECTING.sentence).waitFor();
    await page.getByText(next).waitFor();
    await page.getByRole('button', { name: 'Look for a camera' }).waitFor();
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-absent`) });
    await leadsToItsSection(page, 'body-lost', `${size.name}-note-absent`);
  });

  it('what the daemon refuses leads to the notes; what the panel says itself does not', async () => {
    const page = await panel.open(size);
    await freshly(page);
    await ask(page, 21, '2 EV', '1/60');
    const alert = page.getByRole('alert').filter({ hasText: /shutter times outside/ });
    await alert.waitFor();
    await leadsToItsSection(page, 'outside-shutter-range', `${size.name}-note-refused`);
    await page.getByLabel('Frames', { exact: true }).fill('');
    await page.getByRole('alert').getByText('Enter the number of frames').waitFor();
    expect(await more(page).count()).toBe(0);
    // A request that is refused is a 422, which the browser notes in its console.
    panel.forgetComplaints();
  });
});
