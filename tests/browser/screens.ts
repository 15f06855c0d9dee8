// Every screen of the panel that there is, with what leads to it: for pictures of all of them, for axe, and for the list of labels.
// Most are shown by telling the page of a state; the sets that are looked at were fired on the practice body.
import type { Page } from 'playwright-core';
import type { BodyState, DaemonState, FrameView, RunView } from '../../shared/state.js';
import { withDusk } from './dusk.js';
import { lacking, moved, setMoved, soFar, withLight, withRun } from './judged.js';
import { ask, freshly, hold, type PracticePanel, type Size } from './practice-panel.js';
import { withSounding, withTestFrames } from './sounding-views.js';

export interface Screen {
  readonly name: string;
  /** Where in the panel; #form if it is left out. */
  readonly at?: string;
  /** What the page is told in place of the true state. */
  readonly state?: (state: DaemonState) => DaemonState;
  /** Whether the page is told the true state as it changes: then the screen begins with the next set. */
  readonly isLive?: true;
  /** Before anything is loaded. */
  readonly before?: (page: Page) => Promise<unknown>;
  /** What is done on that screen. */
  readonly done?: (page: Page) => Promise<unknown>;
}

const BOATHOUSE = 'Boathouse at dusk';
const LONG_NAME =
  `${'Dark beams, a bright lake, and nobody at home. '.repeat(6)}${'Überlängenbootshausname'.repeat(3)}`.slice(
    0,
    300,
  );
const OTHER_SCRIPTS = 'Лодочный сарай в сумерках — 黄昏のボート小屋 — مرسى القوارب عند الغسق';
const MARKUP = '<img src=x onerror=alert(1)><b>body</b>&amp;"\'';

/**
 * Fires the sets for the screens of finished sets: one complete, one stopped. Leaves the complete one as the
 * last run.
 */
export async function fireSets(panel: PracticePanel, size: Size): Promise<void> {
  const page = await panel.open(size);
  await freshly(page);
  await ask(page, 31, '1/3 EV', '1/60');
  await hold(page);
  await page.locator('[data-state="verified"][data-frame]').first().waitFor();
  await page.getByRole('button', { name: 'Stop', exact: true }).click();
  await page.locator('main[data-view="ended"][data-run-state="stopped"]').waitFor();
  await page.getByRole('button', { name: 'New set', exact: true }).click();
  await page.getByText('Name, note, viewpoint').click();
  await page.getByLabel('Name', { exact: true }).fill(BOATHOUSE);
  await page.getByLabel('Viewpoint', { exact: true }).fill('4');
  await ask(page, 9, '1 EV', '1/60');
  await hold(page);
  await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 30_000 });
  // The picture of what it can become comes a little later.
  await page.locator('.set-picture img[src*="/preview?"]').waitFor({ timeout: 60_000 });
  await panel.closePages();
}

// --- States.

const withBody =
  (body: BodyState) =>
  (state: DaemonState): DaemonState => ({ ...state, run: null, body });
const nothingFired = (state: DaemonState): DaemonState => ({ ...state, run: null, schedule: null, line: [] });

const blank: Pick<FrameView, 'state' | 'attempts' | 'recorded' | 'clipped' | 'file' | 'reason'> = {
  ...{ state: 'planned', attempts: 0, recorded: null, clipped: null, file: null, reason: null },
};

/** @param made so many frames, in the order of firing; the next one is under way */
function underWay(run: RunView, made: number): RunView {
  const order = run.plan.passes.flatMap(({ frames }) => frames.map(({ offset }) => offset));
  const nth = (frame: FrameView) => order.indexOf(frame.offset);
  let fired = 0;
  return {
    ...run,
    ...{ state: 'firing', endedAt: null, sentence: null, error: null, folder: null },
    light: soFar(run, made),
    frames: run.frames.map((frame) => {
      if (nth(frame) < made) return frame;
      return { ...frame, ...blank, ...(nth(frame) === made ? { state: 'fired', attempts: 1 } : {}) };
    }),
    passes: run.plan.passes.map(({ frames }) => {
      const before = fired;
      fired += frames.length;
      if (made >= fired) return 'done';
      return made >= before ? 'firing' : 'planned';
    }),
  };
}

/** A set of so many frames a third apart, made out of the present one. */
function stretched(run: RunView, frames: number): RunView {
  const third = (index: number) => (index - Math.floor(frames / 2)) / 3;
  const [frame] = run.frames;
  const [pass] = run.plan.passes;
  if (frame === undefined || pass === undefined) throw new Error('No set was fired.');
  const offsets = Array.from({ length: frames }, (_, index) => third(index));
  return {
    ...run,
    light: null,
    plan: {
      ...run.plan,
      offsets,
      passes: offsets.flatMap((offset, index) =>
        index % 3 === 1
          ? [
              {
                ...pass,
                centre: offset,
                step: 1 / 3,
                offsets: offsets.slice(index - 1, index + 2),
                frames: [],
              },
            ]
          : [],
      ),
    },
    passes: offsets.filter((_, index) => index % 3 === 1).map(() => 'done' as const),
    frames: offsets.map((offset, index) => ({
      ...frame,
      ...{ number: index + 1, offset, pass: Math.floor(index / 3) + 1, shutter: '1/60' },
      clipped: { dark: Math.max(0, 0.6 - index / frames), light: Math.max(0, index / frames - 0.4) },
    })),
  };
}

const rejected = (run: RunView): RunView => ({
  ...underWay(run, 6),
  state: 'making-up',
  frames: underWay(run, 6).frames.map((frame) =>
    frame.number === 4
      ? {
          ...frame,
          ...{ state: 'rejected', attempts: 2, file: null },
          reason: 'Recorded 1/60 s instead of 1/125 s: a dial was turned.',
        }
      : frame,
  ),
});

const ended = (state: 'stopped' | 'halted', sentence: string, error: RunView['error']) =>
  withRun((run) => ({
    ...underWay(run, 4),
    ...{ state, sentence, error, endedAt: run.endedAt ?? run.startedAt, folder: run.folder },
  }));

const ready =
  (change: (body: Extract<BodyState, { state: 'ready' }>['body']) => object) => (state: DaemonState) => {
    if (state.body.state !== 'ready') throw new Error('No body.');
    const { body } = state.body;
    return nothingFired({ ...state, body: { ...state.body, body: { ...body, ...change(body) } } });
  };

const openAll = async (page: Page) => {
  // A fold may lie in another one.
  for (let round = 0; round < 2; round += 1)
    await page.evaluate(() => {
      for (const fold of document.querySelectorAll<HTMLElement>('.side details:not([open]) > summary'))
        fold.click();
    });
};
const named = (name: string) => async (page: Page) => {
  await page
    .getByText(/^Name, note, viewpoint|, viewpoint \d+$/)
    .first()
    .click();
  await page.getByLabel('Name', { exact: true }).fill(name);
};
/** Asked for by two readings, and planned. */
const metered = async (page: Page, darkest: string, brightest: string) => {
  await page.getByLabel('Two readings', { exact: true }).check();
  await page.getByLabel('Darkest reading').fill(darkest);
  await page.getByLabel('Brightest reading').fill(brightest);
  await page.locator('.follows strong').waitFor();
};
const toFirstSet = async (page: Page) => {
  await page
    .getByRole('list', { name: 'Sets' })
    .getByRole('listitem')
    .filter({ hasText: BOATHOUSE })
    .first()
    .getByRole('link')
    .click();
  await page.getByRole('heading', { name: BOATHOUSE }).waitFor();
};
const sinceLost = async (page: Page) => {
  await page.context().setOffline(true);
  await page.evaluate(() => dispatchEvent(new Event('offline')));
  await page.locator('main[data-connection="lost"]').waitFor({ timeout: 20_000 });
};

// --- The screens.

export const SCREENS: readonly Screen[] = [
  { name: 'bar', at: '', state: nothingFired },
  { name: 'form', state: nothingFired },
  { name: 'form-open', state: nothingFired, done: openAll },
  { name: 'form-named-at-length', state: nothingFired, done: named(LONG_NAME) },
  { name: 'form-named-in-other-scripts', state: nothingFired, done: named(OTHER_SCRIPTS) },
  {
    name: 'form-no-frames',
    state: nothingFired,
    done: async (page) => {
      await page.getByLabel('Frames', { exact: true }).fill('');
      await page.getByRole('alert').filter({ hasText: 'Enter the number of frames' }).waitFor();
    },
  },
  {
    name: 'bar-adds-frames',
    at: '',
    state: (state) => ({
      ...nothingFired(state),
      asked: { ...{ frames: 9, step: '1', mode: 'manual', settle: 0 }, extend: 2 },
    }),
    done: async (page) =>
      page
        .getByText(/up to 2 more at each end/)
        .first()
        .waitFor(),
  },
  {
    name: 'form-extend-wrong',
    state: nothingFired,
    done: async (page) => {
      await page.getByText(/no settling time/).click();
      await page.getByLabel('Extra frames at each end, at most').fill('70');
      await page.getByRole('alert').filter({ hasText: 'may be added' }).waitFor();
    },
  },
  {
    name: 'form-refused',
    state: nothingFired,
    done: async (page) => {
      await ask(page, 21, '2 EV', '1/60');
      await page.getByRole('list', { name: 'Try instead:' }).waitFor();
    },
  },
  {
    name: 'form-by-hand',
    state: (state) => ({
      ...nothingFired(state),
      asked: {
        ...{ frames: 9, step: '1', base: '2', mode: 'manual', settle: 0 },
        byHand: { what: 'aperture', value: 4, sentence: 'Set the aperture to f/4.' },
      },
    }),
    done: async (page) => page.locator('.by-hand').waitFor(),
  },
  {
    name: 'form-schedule',
    state: nothingFired,
    done: async (page) => {
      await page.getByText('One set, no repeat').click();
      await page.getByLabel('Repeat the set').check();
      await page.getByLabel('Every').fill('4');
      await page.getByLabel('Sets', { exact: true }).fill('60');
      await page.locator('.trigger[data-does="fire"]').waitFor();
    },
  },
  {
    name: 'form-schedule-span',
    state: nothingFired,
    // If no pictures are judged, the daemon refuses it.
    before: (page) =>
      page.route('**/api/schedule', (route) => {
        const { followSpan: _, ...asked } = route.request().postDataJSON() as object & {
          followSpan?: object;
        };
        return route.continue({ postData: JSON.stringify(asked) });
      }),
    done: async (page) => {
      await page.getByText('One set, no repeat').click();
      await page.getByLabel('Repeat the set').check();
      await page.getByLabel('Span follows the scene').check();
      await page.getByLabel('Most frames', { exact: true }).fill('13');
      await page.locator('.trigger[data-does="fire"]').waitFor();
    },
  },
  {
    name: 'form-61-frames',
    state: ready(() => ({})),
    done: async (page) => {
      await ask(page, 49, '1/3 EV', '1/15');
      await page.locator('.rung').nth(48).waitFor();
    },
  },
  {
    name: 'form-readings-none',
    state: nothingFired,
    done: async (page) => {
      await page.getByLabel('Two readings', { exact: true }).check();
      await page.locator('[data-code="darkest-unreadable"]').waitFor();
    },
  },
  {
    name: 'form-readings',
    state: nothingFired,
    done: (page) => metered(page, '1/4', 'EV 17'),
  },
  {
    name: 'form-readings-camera-does-not-tell',
    state: ready(() => ({ aperture: null, iso: null })),
    done: async (page) => {
      await metered(page, '1/4', '1/2000');
      await page.getByLabel('Aperture of the set').fill('wide');
      await page.getByRole('alert').filter({ hasText: 'Enter the f-number' }).waitFor();
    },
  },
  {
    name: 'form-readings-sun',
    state: nothingFired,
    done: async (page) => {
      await metered(page, 'EV 6', '350000 cd/m2');
      await page.locator('.sun-caution').first().waitFor();
    },
  },
  {
    name: 'form-readings-changed-over',
    state: nothingFired,
    done: async (page) => {
      await page.getByLabel('Two readings', { exact: true }).check();
      await page.getByLabel('Darkest reading').fill('1/2000');
      await page.getByLabel('Brightest reading').fill('1/4');
      await page.getByRole('list', { name: 'Try instead:' }).waitFor();
    },
  },
  {
    name: 'form-sounding',
    state: nothingFired,
    done: async (page) => page.getByText('No spot meter? Take a sounding').click(),
  },
  { name: 'form-sounding-firing', state: withSounding('firing') },
  { name: 'form-sounding-proposed', state: withSounding('proposed'), before: withTestFrames },
  { name: 'form-sounding-short', state: withSounding('short'), before: withTestFrames },
  { name: 'form-sounding-sun', state: withSounding('sun') },
  { name: 'form-sounding-failed', state: withSounding('failed') },
  { name: 'body-looking', at: '', state: withBody({ state: 'looking' }) },
  {
    name: 'body-absent',
    at: '',
    state: withBody({
      state: 'absent',
      error: 'no-body',
      sentence: 'No camera was found. Connect it with a data cable and switch it on.',
      next: null,
      choices: [],
    }),
  },
  {
    name: 'body-several',
    at: '',
    state: withBody({
      state: 'absent',
      error: 'several-bodies',
      sentence: 'Several cameras are attached: choose one.',
      next: null,
      choices: [
        { model: 'The one on the tripod', serial: '0001' },
        { model: 'The one in the bag', serial: null },
      ],
    }),
  },
  {
    name: 'body-full-of-markup',
    state: ready(() => ({ model: MARKUP, link: 'usb', serial: MARKUP })),
  },
  { name: 'body-long-name', at: '', state: ready(() => ({ model: 'W'.repeat(120), link: 'usb' })) },
  {
    name: 'body-wrong-clock',
    state: ready((body) => ({
      readiness: body.readiness.map((item) =>
        item.code === 'clock'
          ? {
              ...item,
              ...{ mark: 'attention', remedy: 'set-clock' },
              message: 'The clock of the camera is 3 h 12 min behind this computer.',
            }
          : item,
      ),
    })),
    done: async (page) => page.locator('.readiness summary').first().click(),
  },
  {
    name: 'fires-in',
    state: withRun((run) => ({
      ...underWay(run, 0),
      ...{ state: 'preparing', beginsAt: new Date(Date.now() + 20_000).toISOString() },
      frames: run.frames.map((frame) => ({ ...frame, ...blank })),
    })),
  },
  { name: 'firing', state: withRun((run) => underWay(run, 4)) },
  {
    name: 'firing-by-another',
    state: withRun((run) => ({ ...underWay(run, 1), startedBy: 'The left phone' })),
  },
  { name: 'firing-61', state: withRun((run) => underWay(stretched(run, 61), 0)) },
  { name: 'held', state: withRun((run) => ({ ...underWay(run, 4), state: 'held' })) },
  { name: 'making-up', state: withRun(rejected) },
  {
    name: 'reconnecting',
    state: withRun((run) => ({
      ...underWay(run, 4),
      trouble: {
        doing: 'reconnecting',
        code: 'body-lost',
        sentence: 'The camera no longer answers.',
        next: 'Evenrung looks for it for 60 s, then halts.',
      },
    })),
  },
  { name: 'lost', state: withRun((run) => underWay(run, 4)), done: sinceLost },
  { name: 'complete', state: (state) => state },
  { name: 'complete-lacking', state: lacking },
  { name: 'complete-moved', state: moved },
  {
    name: 'complete-what-is-held',
    state: lacking,
    done: async (page) => {
      await page.getByRole('button', { name: 'Coverage map', exact: true }).click();
      await page.locator('.set-picture img[src*="/coverage?"]').waitFor();
    },
  },
  {
    name: 'complete-held-enlarged',
    state: (state) => state,
    done: async (page) => {
      await page.getByRole('button', { name: 'Coverage map', exact: true }).click();
      await page.getByRole('button', { name: /Enlarge the coverage map$/ }).click();
      await page.getByRole('dialog').waitFor();
    },
  },
  {
    name: 'complete-proof-enlarged',
    state: (state) => state,
    done: async (page) => {
      await page.getByRole('button', { name: /Enlarge the proof$/ }).click();
      await page.getByRole('dialog').waitFor();
    },
  },
  {
    name: 'complete-proof-to-come',
    state: (state) =>
      withRun((run) => ({ ...run, endedAt: new Date().toISOString() }))(
        withLight(() => ({ proof: null }))(state),
      ),
  },
  {
    name: 'complete-no-proof',
    state: withLight(() => ({
      proof: {
        sentence: 'The frames could not be merged: their exposures do not fit together.',
        isMade: false,
        madeAt: new Date().toISOString(),
      },
    })),
  },
  {
    name: 'complete-picture-not-there',
    state: (state) => state,
    before: (page) =>
      page.route('**/preview?*', (route) => route.fulfill({ body: 'no picture', contentType: 'image/jpeg' })),
    done: async (page) => page.getByText('The picture is not available.').waitFor(),
  },
  {
    name: 'complete-clipped',
    // Nobody has judged its pictures: the shares of its end frames decide.
    state: withRun((run) => ({
      ...run,
      light: null,
      frames: run.frames.map((frame) => ({ ...frame, clipped: { dark: 0.12, light: 0.07 } })),
    })),
  },
  { name: 'complete-61', state: withRun((run) => stretched(run, 61)) },
  {
    name: 'complete-broken-thumbnails',
    state: (state) => state,
    before: (page) =>
      page.route('**/thumbnail*', (route) =>
        route.fulfill({ body: 'no picture', contentType: 'image/jpeg' }),
      ),
  },
  { name: 'stopped', state: ended('stopped', 'Stopped after 4 of 9 frames. Settings are as found.', null) },
  {
    name: 'halted',
    state: ended(
      'halted',
      'Halted: the camera did not come back within 60 s. Settings are put back when it does.',
      'body-lost',
    ),
  },
  { name: 'schedule-waiting', state: withDusk({ count: 12, passed: 7, missed: [3], incomplete: [5] }) },
  {
    name: 'schedule-500',
    state: withDusk({ count: 500, passed: 333, missed: [100, 101, 102], incomplete: [50] }),
  },
  {
    name: 'cut-off',
    at: '',
    state: (state) => ({
      ...nothingFired(state),
      unfinished: {
        ...{ run: 'a', startedAt: new Date(Date.now() - 3_600_000).toISOString(), verified: 4, frames: 9 },
        ...{ folder: null, set: null, scheduled: false },
        sentence:
          'Evenrung or the laptop shut down after 4 of 9 frames. Resume if the camera has not moved; otherwise end the set, and the frames you have are kept.',
      },
    }),
  },
  { name: 'sets', at: '#sets' },
  {
    name: 'sets-none',
    at: '#sets',
    before: (page) =>
      page.route('**/api/sets?*', (route) => route.fulfill({ json: { sets: [], next: null } })),
  },
  { name: 'set', at: '#sets', done: toFirstSet },
  {
    name: 'set-again',
    at: '#sets',
    done: async (page) => {
      await toFirstSet(page);
      await page.getByRole('button', { name: 'Reshoot' }).click();
      await page.getByLabel('Select frame 3').check();
    },
  },
  {
    name: 'set-confirm',
    at: '#sets',
    done: async (page) => {
      await toFirstSet(page);
      await page.getByRole('button', { name: 'Reshoot' }).click();
      await page.getByLabel('Select frame 3').check();
      await page.getByRole('button', { name: 'Reshoot 1 frame' }).click();
      await page.getByRole('dialog').waitFor();
    },
  },
  { name: 'set-moved', at: '#sets', before: setMoved, done: toFirstSet },
  {
    name: 'set-moved-confirm',
    at: '#sets',
    before: setMoved,
    done: async (page) => {
      await toFirstSet(page);
      await page.getByRole('button', { name: 'Reshoot these 3 frames' }).click();
      await page.getByRole('dialog').waitFor();
    },
  },
  {
    name: 'frame-moved',
    at: '#sets',
    before: setMoved,
    done: async (page) => {
      await toFirstSet(page);
      await page.getByRole('link', { name: 'Frame 5 at full size' }).click();
      await page.locator('.viewer[data-loading="there"]').waitFor();
    },
  },
  {
    name: 'set-extend',
    at: '#sets',
    done: async (page) => {
      await toFirstSet(page);
      await page.getByRole('button', { name: 'Add frames' }).click();
      await page.getByRole('button', { name: 'One more darker frame' }).click();
      await page.getByRole('button', { name: 'One more brighter frame' }).click();
    },
  },
  {
    name: 'set-extend-confirm',
    at: '#sets',
    done: async (page) => {
      await toFirstSet(page);
      await page.getByRole('button', { name: 'Add frames' }).click();
      await page.getByRole('button', { name: 'One more darker frame' }).click();
      await page.getByRole('button', { name: /^Add \d+ frames?$/ }).click();
      await page.getByRole('dialog').waitFor();
    },
  },
  {
    name: 'frame',
    at: '#sets',
    done: async (page) => {
      await toFirstSet(page);
      await page.getByRole('link', { name: 'Frame 5 at full size' }).click();
      await page.locator('.viewer[data-loading="there"]').waitFor();
    },
  },
  {
    name: 'frame-missing',
    at: '#sets',
    before: (page) => page.route('**/picture*', (route) => route.fulfill({ status: 404, json: {} })),
    done: async (page) => {
      await toFirstSet(page);
      await page.getByRole('link', { name: 'Frame 5 at full size' }).click();
      await page.getByRole('dialog').waitFor();
    },
  },
  {
    name: 'stranger',
    at: '',
    before: (page) =>
      page.route('**/api/me', (route) =>
        route.fulfill({ status: 401, json: { error: { code: 'not-paired', message: 'Not paired.' } } }),
      ),
  },
  {
    name: 'pairing',
    at: '#pair=abcdefghijklmnopqrstuv',
    before: (page) =>
      page.route('**/api/me', (route) =>
        route.fulfill({ status: 401, json: { error: { code: 'not-paired', message: 'Not paired.' } } }),
      ),
  },
  {
    name: 'watching',
    at: '',
    state: withRun((run) => underWay(run, 4)),
    before: (page) =>
      page.route('**/api/me', (route) =>
        route.fulfill({ json: { role: 'watch', name: 'The tablet', door: 'network' } }),
      ),
  },
  {
    name: 'form-either-way',
    state: ready(({ timing }) => ({
      oneRelease: true,
      timing: {
        ...timing,
        // Invented.
        apart: {
          ...{
            secondsBeforeExposure: 0.06,
            secondsAfterExposure: 0.14,
            secondsPerTransfer: 0.8,
            secondsPerPiece: 0.25,
          },
          mostInOneGo: 9,
        },
      },
    })),
    done: async (page) => {
      await page.getByText('About this camera').click();
      await page.locator('summary', { hasText: 'Planned for shortest time' }).click();
      await page.getByLabel('Plan for', { exact: true }).selectOption('Smallest spread');
      await page.locator('summary', { hasText: 'Planned for smallest spread' }).waitFor();
    },
  },
  // The last one: the body's readiness stays judged for this until something else is planned.
  {
    name: 'form-not-ready',
    isLive: true,
    done: async (page) => {
      await page.getByText(/no settling time/).click();
      await page.getByLabel('Mode', { exact: true }).selectOption('Aperture priority');
      await page.getByText('Not ready to fire').waitFor();
    },
  },
];

/** Errors that the browser logs on these screens are intended. */
export async function openScreen(
  panel: PracticePanel,
  screen: Screen,
  size: Size,
  look?: 'day' | 'dim' | 'night',
): Promise<Page> {
  const isStranger = screen.name === 'stranger' || screen.name === 'pairing';
  const { at = '#form' } = screen;
  const before = async (page: Page) => {
    if (look !== undefined)
      await page.addInitScript((name) => localStorage.setItem('evenrung.light', JSON.stringify(name)), look);
    await screen.before?.(page);
  };
  let page: Page;
  if (isStranger) {
    page = await panel.open(size, before, at);
    await page.locator('#panel > *').first().waitFor();
  } else if (screen.isLive === true) {
    page = await panel.open(size, before, at);
    await freshly(page);
  } else {
    ({ page } = await panel.show(size, screen.state ?? nothingFired, before, at));
  }
  await screen.done?.(page);
  await settled(page);
  return page;
}

/** Pictures are there, and nothing is being planned. */
async function settled(page: Page): Promise<void> {
  await page.locator('.set[aria-busy="true"]').waitFor({ state: 'detached' });
  await page.evaluate(async () => {
    await document.fonts.ready;
    const inSight = [...document.images].filter((image) => {
      const { top, bottom } = image.getBoundingClientRect();
      return !image.hidden && bottom > 0 && top < innerHeight;
    });
    const late = new Promise((resolve) => setTimeout(resolve, 3000));
    await Promise.race([late, Promise.all(inSight.map((image) => image.decode().catch(() => undefined)))]);
  });
  await page.waitForTimeout(150);
}
