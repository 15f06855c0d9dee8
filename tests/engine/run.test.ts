// The engine over the practice body in this process, with a link in between that can be made to fail.

import { mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import { eventSchema, type FrameState, type NumberedEvent, type RunState } from '../../shared/state.js';
import { Body, type Debts, type FireOptions } from '../../src/camera/index.js';
import type { PracticeOptions } from '../../src/camera/practice/model.js';
import { checkSet } from '../../src/frames/index.js';
import { FRAME_WAYS, RUN_WAYS } from '../../src/journal/ways.js';
import { planSet, resolveBase } from '../../src/plan/index.js';
import type { Run } from '../../src/set/index.js';
import { ASKED } from '../asked.js';
import { TestLink } from '../harness/links.js';
import { type FiredSet, fireSet, type SetOptions } from '../harness/set.js';

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(into, { recursive: true, force: true });
});

const fire = (
  link: TestLink,
  frames = 9,
  during: (run: Run, event: NumberedEvent) => void = () => undefined,
  more: Pick<SetOptions, 'mode' | 'settleSeconds' | 'patienceMs'> = {},
): Promise<FiredSet> =>
  fireSet(into, { link, frames, set: THE_SET, during: (event, run) => during(run, event), ...more });

const THE_SET = { id: 'a-set', ordinal: 1, name: null, note: null, viewpoint: null };
const truth = (link: TestLink) => link.of.shots.map((shot) => 36 - shot.tv).map((sixths) => sixths / 6);
const frameEvents = (events: readonly NumberedEvent[]) =>
  events.flatMap(({ happening }) => (happening.type === 'frame' ? [happening.frame] : []));

describe('nine frames', () => {
  it('come back verified in three passes, and the settings go back', async () => {
    const link = new TestLink();
    await link.of.change('shutter', sixths(30));
    await link.of.change('drive', 'continuous');
    await link.of.change('bracketStep', sixths(4));
    const before = { ...link.of.state };
    const { state, record, files, run } = await fire(link);
    expect(state).toBe('complete');
    expect(run.error).toBeNull();
    expect(truth(link)).toEqual([-3, -4, -2, 0, -1, 1, 3, 2, 4]);
    const stems = ['01_-4', '02_-3', '03_-2', '04_-1', '05_0', '06_+1', '07_+2', '08_+3', '09_+4'];
    expect(files).toEqual([
      ...stems.flatMap((stem) => [`${stem}EV.jpg`, `${stem}EV.xmp`]),
      'SHA256SUMS',
      'contact-sheet.jpg',
      'frames.csv',
      'set.json',
    ]);
    expect({ ...link.of.state }).toEqual(before);
    expect(record).toMatchObject({
      complete: true,
      practice: true,
      setAside: [],
      base: { shutter: '1/60', aperture: '8', iso: '100' },
    });
    expect(record?.putBack.sort()).toEqual(['aeb', 'capturetarget', 'drivemode', 'shutterspeed']);
    expect(record?.frames.map((frame) => frame.recorded?.exposureTime)).toEqual([
      1 / 1000,
      1 / 500,
      1 / 250,
      1 / 125,
      1 / 60,
      1 / 30,
      1 / 15,
      1 / 8,
      1 / 4,
    ]);
  });

  it('arm the bracket once, then change the shutter once a pass', async () => {
    const link = new TestLink();
    await fire(link);
    expect(link.changes).toEqual([
      'capturetarget=Memory card',
      'aeb=+/- 1',
      'shutterspeed=1/500',
      'shutterspeed=1/60',
      'shutterspeed=1/8',
      // Putting back, the last change first.
      'shutterspeed=1/60',
      'aeb=off',
      'capturetarget=Internal RAM',
    ]);
  });

  it('are told as numbered events without a gap, along allowed ways only', async () => {
    const { events, log } = await fire(new TestLink());
    expect(events.map((event) => event.seq)).toEqual(events.map((_, index) => index + 1));
    for (const event of events) expect(eventSchema.parse(event)).toEqual(event);
    const frames = new Map<number, FrameState>();
    for (const { number, state } of frameEvents(events)) {
      const before = frames.get(number) ?? 'planned';
      expect(FRAME_WAYS[before]).toContain(state);
      frames.set(number, state);
    }
    expect([...frames.values()]).toEqual(Array(9).fill('verified'));
    let run: RunState = 'preparing';
    for (const { happening } of events) {
      if (happening.type !== 'run-state') continue;
      expect(RUN_WAYS[run]).toContain(happening.state);
      run = happening.state;
    }
    expect(run).toBe('complete');
    expect(log.state.run?.passes).toEqual(['done', 'done', 'done']);
    expect(log.since(events.length - 2)?.map((event) => event.seq)).toEqual([
      events.length - 1,
      events.length,
    ]);
    expect(log.since(events.length + 1)).toBeUndefined();
  });

  it('are each looked at while the next one is fired', async () => {
    const { events } = await fire(new TestLink());
    const told = frameEvents(events);
    const meanwhile = told.filter(({ state, number }, index) => {
      if (state !== 'fired') return false;
      const before = told.slice(0, index).filter((frame) => frame.number !== number);
      return before.some(
        (frame) =>
          frame.state === 'stored' &&
          told.slice(index).some((later) => later.number === frame.number && later.state === 'verified'),
      );
    });
    expect(meanwhile.length).toBeGreaterThan(3);
  });

  it('each have a small copy for the panel', async () => {
    const { run } = await fire(new TestLink(), 3);
    for (const number of [1, 2, 3])
      expect(run.thumbnail(number)?.subarray(0, 2)).toEqual(Buffer.from([0xff, 0xd8]));
    expect(run.thumbnail(4)).toBeNull();
  });

  it('on a body without auto-bracket are nine single frames', async () => {
    const link = new TestLink({ shape: 'none' });
    const { state } = await fire(link);
    expect(state).toBe('complete');
    expect(truth(link)).toEqual([-4, -3, -2, -1, 0, 1, 2, 3, 4]);
    expect(link.changes.filter((change) => change.startsWith('aeb'))).toEqual([]);
  });
});

describe('a body that fires in another order than was believed', () => {
  it.each([[[-1, 0, 1]], [[0, 1, -1]], [[1, 0, -1]]])(
    '%j: each file counts as the frame that it proves to be',
    async (pattern) => {
      const link = new TestLink({ patterns: [pattern] });
      const { state, record } = await fire(link);
      expect(state).toBe('complete');
      expect(link.releases).toBe(9);
      expect(record?.setAside).toEqual([]);
      expect(record?.frames.map((frame) => frame.recorded?.exposureTime)).toEqual([
        1 / 1000,
        1 / 500,
        1 / 250,
        1 / 125,
        1 / 60,
        1 / 30,
        1 / 15,
        1 / 8,
        1 / 4,
      ]);
    },
  );
});

describe('a frame that is missing or wrong', () => {
  it.each([1, 2, 3, 4, 5, 6, 7, 8, 9])(
    'number %s lost on its way: made up, nothing good fired again',
    async (lost) => {
      const link = new TestLink();
      link.afterFire = (count) => {
        if (count === lost) throw new EvenrungError('frame-missing', 'The shutter went, but no file came.');
      };
      const { state, record } = await fire(link);
      expect(state).toBe('complete');
      expect(link.releases).toBe(10);
      // Its file had been written before the answer was lost: it is kept, and replaces nothing.
      expect(record?.setAside.map(({ file }) => file)).toEqual(['set-aside/other.jpg']);
      expect(record?.frames.filter((frame) => frame.attempts > 1)).toHaveLength(1);
      // What is made up is made with the bracket off.
      const made = link.of.shots;
      const repeats = truth(link).filter((offset, index, all) => all.indexOf(offset) !== index);
      expect(repeats).toHaveLength(1);
      expect(made.filter((shot) => shot.bracketPosition === 0).length).toBeGreaterThanOrEqual(3);
      expect(link.of.state.bracketStep).toBe(0);
    },
  );

  it('with a wrong exposure is set aside and made up singly', async () => {
    const link = new TestLink();
    // Somebody turns the dial in the middle of the second pass.
    link.beforeFire = async (count) => {
      if (count === 5) await link.of.change('iso', 400);
      if (count === 6) await link.of.change('iso', 100);
    };
    const { state, record, files, events } = await fire(link);
    expect(state).toBe('complete');
    expect(record?.setAside).toEqual([
      { file: 'set-aside/frame-04.jpg', reason: 'The ISO is 400, but 100 was set.' },
    ]);
    expect(files).toContain('set-aside/frame-04.jpg');
    expect(frameEvents(events).find((frame) => frame.state === 'rejected')).toMatchObject({ number: 4 });
    expect(link.releases).toBe(10);
  });

  it('is made up at most twice; then the run halts, says which and why, and puts the settings back', async () => {
    const link = new TestLink();
    const before = { ...link.of.state };
    link.afterFire = (count) => {
      if (count >= 2) throw new EvenrungError('frame-missing', 'The shutter went, but no file came.');
    };
    const { state, run, record, log } = await fire(link);
    expect(state).toBe('halted');
    expect(link.releases).toBe(4);
    expect(run.error?.code).toBe('frame-missing');
    expect(log.state.run?.sentence).toBe(
      'Failed after 1 of 9 frames. Frame 1 (−4 EV, 1/1000 s) failed in 3 attempts: The shutter went, but no file came.',
    );
    expect(record).toMatchObject({ complete: false });
    expect(record?.frames.map((frame) => frame.state).filter((kept) => kept === 'verified')).toHaveLength(1);
    expect({ ...link.of.state }).toEqual(before);
  });

  it('whose shutter cannot be set by its label is made up by repeating the pass, repeats kept aside', async () => {
    const link = new TestLink();
    const body = await Body.meet(link);
    // As on a body that offers thirds and halves at once, where the label 0.3 stands for two settings.
    const shutters = body.limits.shutters.map((setting) => ({
      ...setting,
      settable: setting.wire !== '0.3',
    }));
    const limits = { ...body.limits, shutters };
    const base = resolveBase('0.4', limits);
    const plan = planSet({ offsets: [-2, 0, 2].map(sixths), step: sixths(2), mode: 'manual', base }, limits);
    expect(plan.passes[0]?.frames.find((frame) => frame.offset === -2)?.shutter).toMatchObject({
      label: '0.3',
      settable: false,
    });
    link.beforeFire = async (count) => {
      if (count === 2) await link.of.change('aperture', sixths(30));
      if (count === 3) await link.of.change('aperture', sixths(36));
    };
    const { state, record } = await fireSet(into, { plan, body, set: THE_SET });
    expect(state).toBe('complete');
    expect(record?.setAside.map((aside) => aside.reason)).toEqual([
      'The aperture is f/5.6, but f/8 was set.',
      'A repeat of frame 2, which was good already.',
    ]);
    expect(link.releases).toBe(5);
  });
});

describe('stopping', () => {
  it.each([1, 4, 9])(
    'after frame %s: that frame ends, settings go back, what was made is kept',
    async (after) => {
      const link = new TestLink();
      const before = { ...link.of.state };
      let stored = 0;
      const { state, record } = await fire(link, 9, (run, { happening }) => {
        if (happening.type !== 'frame' || happening.frame.state !== 'stored') return;
        stored += 1;
        if (stored === after) run.stop();
      });
      expect(state).toBe(after === 9 ? 'complete' : 'stopped');
      expect(link.releases).toBe(after);
      expect({ ...link.of.state }).toEqual(before);
      expect(record?.frames.filter((frame) => frame.state === 'verified')).toHaveLength(after);
      expect(record?.complete).toBe(after === 9);
    },
  );

  it('before the first frame: nothing is fired, and no folder is left', async () => {
    const link = new TestLink();
    const { state, record } = await fire(link, 9, (run) => run.stop());
    expect([state, record, link.releases]).toEqual(['stopped', null, 0]);
    expect(await readdir(into)).toEqual([]);
  });
});

describe('a body that was away', () => {
  const pulled = () => new EvenrungError('body-lost', 'The cable was pulled.');

  it('what is done about it is told, and that it is over', async () => {
    const link = new TestLink();
    let left = 3;
    link.beforeFire = (count) => {
      if (count === 5) throw pulled();
    };
    link.told = (settings) => {
      if (link.releases === 5 && left > 0) {
        left -= 1;
        throw new EvenrungError('body-busy', 'The camera is busy.');
      }
      return settings;
    };
    const { state, events, record } = await fire(link, 9, () => undefined, { patienceMs: 60_000 });
    expect(state).toBe('complete');
    const told = events.flatMap(({ happening }) => (happening.type === 'trouble' ? [happening.trouble] : []));
    expect(told).toEqual([
      {
        doing: 'reconnecting',
        code: 'body-lost',
        sentence: 'The cable was pulled.',
        next: 'Evenrung tries again for 60 s. If that fails, the set ends; verified frames are kept.',
      },
      {
        doing: 'waiting',
        code: 'body-busy',
        sentence: 'The camera is busy.',
        next: 'Evenrung tries again for 60 s. If that fails, the set ends; verified frames are kept.',
      },
      null,
    ]);
    // Nobody can tell whether the shutter went: the file may be on the card.
    expect(record?.strays).toMatchObject([{ frame: 4, offset: -1, reason: 'The cable was pulled.' }]);
  });

  it('that is busy for a while when it is fired has not tried: it is waited for', async () => {
    const link = new TestLink();
    link.beforeFire = (count) => {
      if (count >= 5 && count < 10)
        throw new EvenrungError('body-busy', 'The camera is busy.', { released: false });
    };
    const { state, record } = await fire(link, 9, () => undefined, { patienceMs: 60_000 });
    expect(state).toBe('complete');
    expect(record?.strays).toEqual([]);
    expect(link.of.shots).toHaveLength(9);
  });

  it('that stays busy is waited for as long as one that is gone, and then the run halts', async () => {
    const link = new TestLink();
    link.beforeFire = (count) => {
      if (count >= 5) throw new EvenrungError('body-busy', 'The camera is busy.', { released: false });
    };
    const { state, log } = await fire(link, 9, () => undefined, { patienceMs: 1500 });
    expect(state).toBe('halted');
    expect(log.state.run?.sentence).toMatch(/The camera is busy\./);
    expect(link.of.shots).toHaveLength(4);
  });

  it('and tells its settings without their choices at first is asked again', async () => {
    const link = new TestLink({ shape: 'drive-entry' });
    let times = 0;
    link.beforeFire = (count) => {
      if (count === 4) throw new EvenrungError('body-busy', 'The camera is busy.', { released: false });
    };
    // As some do for as long as they are busy.
    link.told = (settings) => {
      if (link.releases !== 4 || times === 2) return settings;
      times += 1;
      return new Map([...settings].filter(([name]) => name !== 'capturemode'));
    };
    const { state, record } = await fire(link, 9, () => undefined, { patienceMs: 60_000 });
    expect([state, times]).toEqual(['complete', 2]);
    expect(record?.strays).toEqual([]);
  });

  it('and does not take a change at first is asked again', async () => {
    const link = new TestLink();
    let refused = 0;
    link.beforeChange = (name) => {
      if (name !== 'shutterspeed' || link.releases !== 3 || refused === 2) return;
      refused += 1;
      throw new EvenrungError('setting-not-taken', 'The camera says otherwise.');
    };
    const { state } = await fire(link);
    expect([state, refused]).toEqual(['complete', 2]);
  });

  it('comes back with another ISO and aperture: they are set back, and nothing is owed for it', async () => {
    const link = new TestLink();
    const before = { ...link.of.state };
    link.beforeFire = async (count) => {
      if (count !== 5) return;
      await link.of.change('iso', 400);
      await link.of.change('aperture', sixths(30));
      throw pulled();
    };
    const { state, record, log } = await fire(link);
    expect(state).toBe('complete');
    expect(log.state.run?.notes).toEqual([
      'While the camera was away, aperture, iso changed: Evenrung set it back.',
    ]);
    expect({ ...link.of.state }).toEqual(before);
    expect(record?.frames.every(({ recorded }) => recorded?.iso === 100 && recorded.fNumber === 8)).toBe(
      true,
    );
  });

  it('comes back with its dial in another mode: halts, and says so', async () => {
    const link = new TestLink();
    link.beforeFire = async (count) => {
      if (count !== 5) return;
      await link.of.change('mode', 'aperture');
      throw pulled();
    };
    const { state, run, log } = await fire(link);
    expect([state, run.error?.code, link.releases]).toEqual(['halted', 'body-not-ready', 5]);
    expect(log.state.run?.error).toBe('body-not-ready');
    expect(log.state.run?.sentence).toMatch(/^Failed after 4 of 9 frames\. .*manual/);
  });
});

describe('a lens that moves in the middle', () => {
  it('is said once, and stands in the record; the frames are kept', async () => {
    const link = new TestLink();
    link.beforeFire = (count) => {
      if (count >= 5) link.of.focalLength = 35;
    };
    const { state, record } = await fire(link);
    expect(state).toBe('complete');
    expect(record?.notes).toEqual([
      'The zoom moved during the set, from 24 mm to 35 mm, so the frames will not line up. Set it back, and shoot the set again.',
    ]);
  });
});

describe('a frame that cannot be stored', () => {
  it('is named, and what to do is said; nothing more is fired', async () => {
    const link = new TestLink();
    link.afterFire = (count) => {
      if (count === 4)
        throw new EvenrungError('storing-failed', 'The disk is full: make room.', { released: true });
    };
    const { state, log, record } = await fire(link);
    expect([state, link.releases]).toEqual(['halted', 4]);
    const { number, shutter } = record?.frames.find(({ state: now }) => now === 'rejected') ?? {};
    expect(log.state.run?.sentence).toBe(
      `Failed after 3 of 9 frames. Frame ${number} (0 EV, ${shutter} s): The disk is full: make room.`,
    );
    expect(record?.strays).toMatchObject([{ frame: number, reason: 'The disk is full: make room.' }]);
  });
});

describe('a link that fails', () => {
  it('comes back: the run goes on, only what was lost is made up', async () => {
    const link = new TestLink();
    let failures = 0;
    link.beforeFire = (count) => {
      if (count === 5) throw new EvenrungError('body-lost', 'The cable was pulled.');
    };
    link.beforeChange = (name) => {
      if (name === 'shutterspeed' && link.releases === 5 && failures < 2) {
        failures += 1;
        throw new EvenrungError('body-lost', 'Not yet.');
      }
    };
    const { state } = await fire(link);
    expect(state).toBe('complete');
    expect(failures).toBe(2);
    expect([...new Set(truth(link))].sort((a, b) => a - b)).toEqual([-4, -3, -2, -1, 0, 1, 2, 3, 4]);
    expect(link.of.shots).toHaveLength(9);
  });

  it('for good: halts with its words, and says what could not be put back', async () => {
    const link = new TestLink();
    link.beforeFire = (count) => {
      if (count > 1) throw new EvenrungError('body-lost', 'The cable was pulled.');
    };
    link.beforeChange = () => {
      if (link.releases > 1) throw new EvenrungError('body-lost', 'The cable was pulled.');
    };
    const { state, run, record, log } = await fire(link, 3);
    expect([state, run.error?.code]).toEqual(['halted', 'body-lost']);
    expect(log.state.run?.sentence).toBe(
      'Failed after 1 of 3 frames. The cable was pulled. These settings could not be put back: capturetarget to Internal RAM, ' +
        'aeb to off. Set them on the camera before your next picture.',
    );
    expect(record?.notPutBack).toEqual([
      { name: 'capturetarget', found: 'Internal RAM' },
      { name: 'aeb', found: 'off' },
    ]);
  }, 60_000);

  it('once while putting back: tried again, and everything is as found', async () => {
    const link = new TestLink();
    const before = { ...link.of.state };
    let failures = 0;
    link.beforeChange = () => {
      if (link.releases < 9 || failures >= 3) return;
      failures += 1;
      throw new EvenrungError(failures === 1 ? 'setting-not-taken' : 'body-lost', 'Not now.');
    };
    const { state, run } = await fire(link);
    expect([state, run.error, failures]).toEqual(['complete', null, 3]);
    expect({ ...link.of.state }).toEqual(before);
  });

  it('only while putting back: the set is complete, and the sentence says what to check', async () => {
    const link = new TestLink();
    link.beforeChange = (name, value) => {
      if (name === 'aeb' && value === 'off' && link.releases === 3)
        throw new EvenrungError('setting-not-taken', 'No.');
    };
    const { state, run, log } = await fire(link, 3);
    expect(state).toBe('complete');
    expect(run.error?.code).toBe('not-put-back');
    expect(log.state.run?.sentence).toMatch(
      /^All 3 frames are verified\. These settings could not be put back: aeb to off\. Set them/,
    );
  });
});

describe('what happens between runs and behind our back', () => {
  it('a dial that was touched is set right again for the frame that is made up', async () => {
    const link = new TestLink({ shape: 'none' });
    link.beforeFire = async (count) => {
      if (count === 3) await link.of.change('shutter', sixths(12));
    };
    const { state, record } = await fire(link, 5);
    expect(state).toBe('complete');
    expect(link.releases).toBe(6);
    expect(record?.setAside.map(({ reason }) => reason)).toEqual(['The time is 1/4 s, but 1/60 s was set.']);
  });

  it('a file whose answer was lost is set aside, and named in the record', async () => {
    const link = new TestLink();
    link.afterFire = (count) => {
      if (count === 2) throw new EvenrungError('call-timed-out', 'No answer.');
    };
    const { state, record, files } = await fire(link, 3);
    expect(state).toBe('complete');
    expect(record?.setAside).toEqual([
      { file: 'set-aside/other.jpg', reason: 'It came when no frame was being waited for.' },
    ]);
    expect(files).toContain('set-aside/other.jpg');
  });

  it('what one meeting owes, the next one puts back; what was corrected by hand stays', async () => {
    const link = new TestLink();
    await link.of.change('shutter', sixths(30));
    const body = await Body.meet(link);
    await body.makeReady(ASKED);
    const centre = body.limits.shutters.find(({ tv }) => tv === 60);
    const [shape = null] = body.limits.brackets;
    if (centre === undefined) throw new Error('There is no such shutter.');
    await body.arm({ centre: { by: 'shutter', shutter: centre }, shape });
    expect([...body.debts.keys()].sort()).toEqual(['aeb', 'capturetarget', 'shutterspeed']);
    const again = await Body.meet(link, { owed: async () => new Map(body.debts) });
    await again.putBack();
    expect(link.of.state).toMatchObject({ shutter: 30, bracketStep: 0, target: 'memory' });

    await body.makeReady(ASKED);
    await body.arm({ centre: { by: 'shutter', shutter: centre }, shape });
    await link.of.change('shutter', sixths(24));
    await body.makeReady(ASKED);
    await body.putBack();
    expect(link.of.state).toMatchObject({ shutter: 24, bracketStep: 0 });
  });

  it('frames that only came with their pass are set aside', async () => {
    const link = new TestLink();
    const body = await Body.meet(link);
    const slow = { ...body.limits, secondsPerChange: 5 };
    const offsets = [-18, -12, -6, 0, 6, 12, 18, 24];
    const plan = planSet(
      { offsets: offsets.map(sixths), step: sixths(6), mode: 'manual', base: resolveBase('1/60', slow) },
      slow,
    );
    expect(plan.passes).toHaveLength(3);
    const { state, record } = await fireSet(into, { plan, body, set: THE_SET });
    expect(state).toBe('complete');
    expect(record?.frames).toHaveLength(8);
    expect(link.releases - (record?.setAside.length ?? 0)).toBe(8);
  });
});

describe('a body that is not ready', () => {
  it('in an automatic mode: says what to turn, fires nothing', async () => {
    const link = new TestLink();
    await link.of.change('mode', 'aperture');
    const { state, log, record } = await fire(link);
    expect([state, record, link.releases]).toEqual(['halted', null, 0]);
    expect(log.state.run?.sentence).toMatch(/manual/i);
  });
});

describe('aperture priority', () => {
  const nothing = () => undefined;
  async function aperture(shape: PracticeOptions['shape'] = 'amount'): Promise<TestLink> {
    const link = new TestLink({ shape });
    await link.of.change('mode', 'aperture');
    return link;
  }

  it.each(['amount', 'pattern', 'drive-entry', 'none'] as const)(
    'moves the centre by compensation (%s); the base is what the first frame stands for',
    async (shape) => {
      const link = await aperture(shape);
      const before = { ...link.of.state };
      const frames = shape === 'none' ? 7 : 9;
      const { state, record } = await fire(link, frames, nothing, { mode: 'aperture' });
      expect(state).toBe('complete');
      const metered = link.of.shots.map(({ tv }) => tv).sort((a, b) => b - a);
      const middle = metered[Math.floor(frames / 2)] ?? 0;
      expect(metered).toEqual(
        Array.from({ length: frames }, (_, k) => middle + (Math.floor(frames / 2) - k) * 6),
      );
      expect(record?.frames.every((frame) => frame.baseMoved === null)).toBe(true);
      expect(record?.mode).toBe('aperture');
      expect(record?.frames.map(({ recorded }) => recorded?.bias?.toFixed(3))).toEqual(
        record?.frames.map(({ offset }) => offset.toFixed(3)),
      );
      expect(record?.base.exposureTime).toBeCloseTo(2 ** (-middle / 6), 12);
      expect(record?.notes).toEqual([]);
      expect(link.changes.some((change) => change.startsWith('shutterspeed'))).toBe(false);
      expect({ ...link.of.state }).toEqual(before);
    },
  );

  it('a cloud between two passes: nothing is lost, the frames are marked, and it is said', async () => {
    const link = await aperture();
    link.beforeFire = (count) => {
      if (count === 4) link.of.moveLight(sixths(-2));
    };
    const { state, record, log } = await fire(link, 9, nothing, { mode: 'aperture' });
    expect(state).toBe('complete');
    expect(link.releases).toBe(9);
    const moved = record?.frames.map((frame) => frame.baseMoved) ?? [];
    expect(moved.slice(0, 3)).toEqual([null, null, null]);
    for (const ev of moved.slice(3)) expect(ev).toBeCloseTo(1 / 3, 6);
    expect(record?.notes).toEqual([
      "The light changed during the set: frames 4, 5, 6, 7, 8, 9 are off the first frame's base exposure, by up to +0.33 EV.",
    ]);
    expect(log.state.run?.notes).toEqual(record?.notes);
    const { findings } = await checkSet(log.state.run?.folder ?? '');
    expect(findings.filter(({ severity }) => severity === 'wrong')).toEqual([]);
  });

  it('a frame that the body cannot expose long enough is rejected, and says why', async () => {
    const link = await aperture();
    const [longest = 0] = link.of.times;
    // What it meters now is told by one frame.
    await link.fire({ into, exposureSeconds: 1 });
    const metered = link.of.shots[0]?.tv ?? 0;
    link.of.moveLight(sixths(longest + 2 * 6 - metered));
    const { state, record } = await fire(link, 9, nothing, { mode: 'aperture' });
    expect(state).toBe('halted');
    const rejected = record?.frames.find((frame) => frame.state === 'rejected');
    expect(rejected?.reason).toMatch(/may need a longer one: open up, or raise the ISO/);
    expect(record?.sentence).toContain(rejected?.reason ?? 'a reason');
  });

  it('a first frame at the end of the range is no base: it is rejected, and nothing is verified by it', async () => {
    const link = await aperture('none');
    const shortest = link.of.times.at(-1) ?? 0;
    await link.fire({ into, exposureSeconds: 1 });
    link.of.moveLight(sixths(shortest - 6 - (link.of.shots[0]?.tv ?? 0)));
    const { state, record } = await fire(link, 7, nothing, { mode: 'aperture' });
    expect(state).toBe('halted');
    expect(record?.frames.filter((frame) => frame.state === 'verified') ?? []).toEqual([]);
    expect(record?.sentence ?? '').toMatch(/stop down, or lower the ISO|^$/);
  });

  it('files without the part of the bracket, and an order that nobody knows: halted before a set is wrong', async () => {
    const link = new TestLink({ recordsBracket: false, patterns: [[-1, 0, 1]] });
    await link.of.change('mode', 'aperture');
    const { state, run } = await fire(link, 3, nothing, { mode: 'aperture' });
    expect(state).toBe('halted');
    expect(run.error?.code).toBe('mode-not-supported');
    expect(run.error?.message).toMatch(/run `learn` once/);
    expect(link.releases).toBe(2);
  });

  it('a lost frame is made up singly, with its own compensation', async () => {
    const link = await aperture();
    link.afterFire = (count) => {
      if (count === 3) throw new EvenrungError('frame-missing', 'Nothing came.');
    };
    const { state } = await fire(link, 9, nothing, { mode: 'aperture' });
    expect(state).toBe('complete');
    expect(link.changes).toContain('exposurecompensation=-2');
  });
});

describe('a file that is cut short', () => {
  /** Cuts the files of these releases. */
  function cutting(...releases: number[]): TestLink {
    const link = new TestLink();
    const { fire } = link;
    link.fire = async (options: FireOptions) => {
      const { path: file, seconds } = await fire.call(link, options);
      if (releases.includes(link.releases)) {
        const whole = await readFile(file);
        await writeFile(file, whole.subarray(0, Math.floor(whole.length * 0.7)));
      }
      return { path: file, seconds };
    };
    return link;
  }

  it('is found out, set aside, and made up', async () => {
    const link = cutting(2, 9);
    const { state, record } = await fire(link);
    expect(state).toBe('complete');
    expect(link.releases).toBe(11);
    expect(record?.setAside).toHaveLength(2);
    for (const { reason } of record?.setAside ?? []) expect(reason).toMatch(/cut short/);
    expect(record?.frames.every((frame) => frame.state === 'verified')).toBe(true);
  });

  it('again and again: the run halts with what is wrong, and keeps the rest', async () => {
    const link = cutting(2, 4, 5, 6, 7, 8, 9, 10, 11, 12);
    const { state, record } = await fire(link);
    expect(state).toBe('halted');
    expect(record?.sentence).toMatch(/failed in 3 attempts/);
    expect(record?.frames.filter((frame) => frame.state === 'verified').length).toBeGreaterThan(0);
  });
});

describe('before each pass', () => {
  it('it waits for what trembles to come to rest, and not once the run is stopped', async () => {
    const started = performance.now();
    const { state } = await fire(new TestLink(), 9, () => undefined, { settleSeconds: 0.4 });
    expect(state).toBe('complete');
    expect(performance.now() - started).toBeGreaterThan(1200);
    const link = new TestLink();
    const again = performance.now();
    const stopped = await fire(link, 9, (run) => setTimeout(() => run.stop(), 50), { settleSeconds: 60 });
    expect(stopped.state).toBe('stopped');
    expect(link.releases).toBe(0);
    expect(performance.now() - again).toBeLessThan(20_000);
  });
});

describe('mirror lock-up', () => {
  it('that the wire tells stops the run before a frame is lost', async () => {
    const link = new TestLink();
    await link.of.change('mirrorLock', 'on');
    const { state, log } = await fire(link);
    expect([state, link.releases]).toEqual(['halted', 0]);
    expect(log.state.run?.sentence).toMatch(/mirror lock-up/i);
  });

  it('that the wire does not tell is recognised by what comes back', async () => {
    const link = new TestLink();
    link.told = (settings) => new Map([...settings].filter(([name]) => name !== 'mirrorlock'));
    link.beforeFire = async (count) => {
      if (count === 1) await link.of.change('mirrorLock', 'on');
    };
    const { state, run, log } = await fire(link);
    expect(state).toBe('halted');
    expect(run.error?.code).toBe('mirror-locked');
    expect(link.releases).toBe(3);
    expect(log.state.run?.sentence).toMatch(/every other release brought no frame/);
  });
});

describe('a body that locks step and pattern while its bracket is off', () => {
  it.each([4, 7, 9])('%s frames: complete, and left as found', async (frames) => {
    const link = new TestLink({
      shape: 'pattern',
      locksWhileOff: true,
      patterns: [
        [0, 1],
        [0, -1, 1],
      ],
    });
    const before = { ...link.of.state };
    const { state, record } = await fire(link, frames);
    expect([state, record?.notPutBack]).toEqual(['complete', []]);
    expect({ ...link.of.state }).toEqual(before);
  });
});

it('a dial that is turned before a frame is made up: its shutter is set again', async () => {
  const link = new TestLink();
  const { fire: inner } = link;
  link.fire = async (options: FireOptions) => {
    if (link.releases === 3) await link.of.change('shutter', sixths(38));
    const fired = await inner.call(link, options);
    // The centre of the pass comes back broken.
    if (link.releases === 1) await writeFile(fired.path, 'no picture');
    return fired;
  };
  const { state, record } = await fire(link, 3);
  expect([state, record?.sentence]).toEqual(['complete', 'All 3 frames are verified.']);
});

it('what was settled by hand is forgotten on disk too, and does not come back', async () => {
  const link = new TestLink();
  let disk: Debts = new Map([['shutterspeed', { found: '1/500', written: ['1/8', '1/60'] }]]);
  const options = {
    owed: async () => disk,
    keepDebts: async (_: unknown, debts: Debts) => {
      disk = new Map(debts);
    },
  };
  await link.of.change('shutter', sixths(30));
  expect((await Body.meet(link, options)).debts.size).toBe(0);
  expect(disk.size).toBe(0);
  await link.of.change('shutter', sixths(36));
  const again = await Body.meet(link, options);
  await again.putBack();
  expect(link.of.state.shutter).toBe(36);
});

describe('as found', () => {
  it('is kept before each change and forgotten when it is put back', async () => {
    const link = new TestLink();
    const kept: { when: string[]; debts: string[] }[] = [];
    const body = await Body.meet(link, {
      keepDebts: async (_, debts) => {
        kept.push({
          when: [...link.changes],
          debts: [...debts].map(([name, { found }]) => `${name}=${found}`),
        });
      },
    });
    await body.makeReady(ASKED);
    const shutter = body.limits.shutters.find(({ tv }) => tv === 60);
    const [shape = null] = body.limits.brackets;
    if (shutter === undefined) throw new Error('There is no such shutter.');
    await body.arm({ centre: { by: 'shutter', shutter }, shape });
    await body.putBack();
    // What a change is about was kept before the change.
    for (const { when, debts } of kept.slice(0, -1)) {
      const newest = debts.at(-1)?.split('=')[0] ?? '';
      expect(when.some((change) => change.startsWith(`${newest}=`))).toBe(false);
    }
    expect(kept.map(({ debts }) => debts.length)).toEqual([1, 2, 3, 0]);
  });
});
