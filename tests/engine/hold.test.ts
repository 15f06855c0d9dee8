// A run that somebody holds, and one that waits before its first frame: over the practice body, with its journal, and on a schedule
// with an invented clock.
import { mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import { afterHappening, NOTHING_YET } from '../../shared/fold.js';
import { parseRunRequest } from '../../shared/run-request.js';
import { readSetRecord } from '../../shared/set-record.js';
import { type DaemonState, daemonStateSchema } from '../../shared/state.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { checkSet } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import type { Sleep } from '../../src/series/index.js';
import { Sequence } from '../../src/series/sequence.js';
import type { SequenceMemo } from '../../src/series/sequence-memo.js';
import type { EndedSet, SetMaker } from '../../src/series/set-maker.js';
import type { EventLog, Station } from '../../src/station/index.js';
import type { Clock } from '../../src/system/index.js';
import { TestLink } from '../harness/links.js';
import { prepareSet } from '../harness/set.js';
import { openStation } from '../harness/station.js';

const NINE = { frames: 9, step: 1, base: '1/60' };

let root = '';
let into = '';
let journal: Journal;
let body: PracticeBody;
let opened: Station[] = [];
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  into = path.join(root, 'sets');
  journal = await Journal.open(path.join(root, 'state'));
  body = new PracticeBody(AT_ONCE);
  opened = [];
});
afterEach(async () => {
  for (const one of opened) await one.close();
  journal.close();
  await rm(root, { recursive: true, force: true });
});

async function station(link: TestLink): Promise<{ station: Station; events: EventLog }> {
  const made = await openStation(root, link, { journal });
  opened.push(made.station);
  return made;
}

const untilState = (events: EventLog, wanted: (state: DaemonState) => boolean) =>
  new Promise<void>((resolve) => {
    const look = () => {
      if (!wanted(events.state)) return;
      unwatch();
      resolve();
    };
    const unwatch = events.watch(() => setImmediate(look));
    look();
  });
const isHeld = (state: DaemonState) => state.run?.state === 'held';
const turns = () => new Promise((resolve) => setTimeout(resolve, 60));
const recordOf = async (folder: string | null | undefined) =>
  readSetRecord(await readFile(path.join(folder ?? '', 'set.json'), 'utf8')).record;

describe('a run that is held', () => {
  it.each([1, 2, 3, 5])('after frame %i: fires nothing, and goes on where it was', async (frame) => {
    const link = new TestLink(body);
    const { station: one, events } = await station(link);
    const before = { ...body.state };
    link.afterFire = (count) => {
      if (count === frame) one.hold();
    };
    await one.start(NINE);
    await untilState(events, isHeld);
    await turns();
    expect(link.releases).toBe(frame);
    expect(body.state).not.toEqual(before);
    expect(journal.unfinishedRun()?.set?.state).toBe('held');
    one.hold();
    one.letGo();
    await one.settled();
    expect(events.state.run).toMatchObject({ state: 'complete', startedBy: 'this computer', beginsAt: null });
    expect(link.releases).toBe(9);
    expect({ ...body.state }).toEqual(before);
    const record = await recordOf(events.state.run?.folder);
    expect(record).toMatchObject({ complete: true, setAside: [] });
    expect(record.notes.join()).toMatch(/Paused for \d+ s between two frames/);
    expect((await checkSet(events.state.run?.folder ?? '')).findings).toEqual([]);
  });

  it('before its first frame: none is fired before it goes on', async () => {
    const link = new TestLink(body);
    const { station: one, events } = await station(link);
    await one.start(NINE);
    one.hold();
    await untilState(events, isHeld);
    await turns();
    expect(link.releases).toBe(0);
    one.letGo();
    await one.settled();
    expect(events.state.run?.state).toBe('complete');
  });

  it('is stopped from there: what was made stays, and the settings go back', async () => {
    const link = new TestLink(body);
    const { station: one, events } = await station(link);
    const before = { ...body.state };
    link.afterFire = (count) => {
      if (count === 4) one.hold();
    };
    await one.start(NINE);
    await untilState(events, isHeld);
    one.stop();
    await one.settled();
    expect(events.state.run).toMatchObject({ state: 'stopped', error: null });
    expect(link.releases).toBe(4);
    expect({ ...body.state }).toEqual(before);
    expect(() => one.hold()).toThrow(expect.objectContaining({ code: 'nothing-to-hold' }));
    expect(() => one.letGo()).toThrow(expect.objectContaining({ code: 'nothing-to-hold' }));
  });

  it('while frames are made up: goes on making them up', async () => {
    const link = new TestLink(body);
    const { station: one, events } = await station(link);
    link.afterFire = (count) => {
      if (count === 2) throw new EvenrungError('frame-missing', 'No file came.', { released: true });
    };
    const seen: string[] = [];
    events.watch(({ happening }) => {
      if (happening.type !== 'run-state') return;
      seen.push(happening.state);
      if (happening.state === 'making-up' && !seen.includes('held')) one.hold();
    });
    await one.start(NINE);
    await untilState(events, isHeld);
    one.letGo();
    await one.settled();
    expect(events.state.run?.state).toBe('complete');
    expect(seen.slice(0, 4)).toEqual(['firing', 'making-up', 'held', 'making-up']);
  });

  it('sets back what somebody has changed at the camera meanwhile, and says so', async () => {
    const link = new TestLink(body);
    const { station: one, events } = await station(link);
    link.afterFire = (count) => {
      if (count === 3) one.hold();
    };
    await one.start(NINE);
    await untilState(events, isHeld);
    await body.change('iso', 400);
    one.letGo();
    await one.settled();
    const record = await recordOf(events.state.run?.folder);
    expect(record.complete).toBe(true);
    expect(record.notes.join()).toMatch(/While the set was paused, iso changed/);
    expect(new Set(record.frames.map(({ recorded }) => recorded?.iso))).toEqual(new Set([100]));
  });

  it('cut off with the program: goes on when somebody says so, and stays held where nobody has', async () => {
    const link = new TestLink(body);
    const { station: dying, events } = await station(link);
    link.afterFire = (count) => {
      if (count === 4) dying.hold();
    };
    await dying.start(NINE);
    const isWhole = (state: DaemonState) =>
      isHeld(state) && state.run?.frames.filter((frame) => frame.state === 'verified').length === 4;
    await untilState(events, isWhole);
    // The program that died never comes back from there.
    opened = [];
    const second = new TestLink(body);
    const { station: next, events: after } = await station(second);
    // It is told as it was left first, then gets ready, and is held again.
    const heldAgain = new Promise<void>((resolve) => {
      after.watch(({ happening }) => {
        if (happening.type === 'run-state' && happening.state === 'held') resolve();
      });
    });
    await next.resume({ staysHeld: true });
    await heldAgain;
    await turns();
    expect(second.releases).toBe(0);
    opened = [];
    const third = new TestLink(body);
    const { station: last, events: end } = await station(third);
    expect(end.state.unfinished).toMatchObject({ verified: 4, frames: 9 });
    await last.resume();
    await last.settled();
    expect(end.state.run?.sentence).toBe('All 9 frames are verified.');
    expect(end.state.run?.state).toBe('complete');
    expect(third.releases).toBe(5);
    await last.close();
  });
});

describe('the body of a run that is held', () => {
  async function held(link: TestLink) {
    const { run, log } = await prepareSet(into, { link, keepAwakeMs: 10 });
    link.afterFire = (count) => {
      if (count === 2) run.hold();
    };
    const ended = run.carryOut();
    await untilState(log, isHeld);
    return { run, log, ended };
  }

  it('is kept awake, and changed in nothing', async () => {
    const link = new TestLink(body);
    const { run, ended } = await held(link);
    const state = { ...body.state };
    const reads = link.reads;
    await turns();
    expect(link.reads - reads).toBeGreaterThan(1);
    expect({ ...body.state }).toEqual(state);
    run.letGo();
    expect(await ended).toMatchObject({ state: 'complete' });
  });

  it('may go and come back: it is met again when the run goes on', async () => {
    const link = new TestLink(body);
    const { run, log, ended } = await held(link);
    link.beforeRead = () => {
      throw new EvenrungError('body-lost', 'The camera does not answer.');
    };
    await turns();
    expect(log.state.run?.state).toBe('held');
    run.letGo();
    setTimeout(() => {
      link.beforeRead = () => undefined;
    }, 100);
    expect(await ended).toMatchObject({ state: 'complete' });
    expect(link.releases).toBe(3);
  });

  it('that lacks what only a person can set keeps it held, and it says what', async () => {
    const link = new TestLink(body);
    const { run, log, ended } = await held(link);
    await body.change('mirrorLock', 'on');
    run.letGo();
    await untilState(
      log,
      ({ run: seen }) => seen?.notes.some((note) => note.startsWith('Still paused')) === true,
    );
    expect(log.state.run?.state).toBe('held');
    await body.change('mirrorLock', 'off');
    run.letGo();
    expect(await ended).toMatchObject({ state: 'complete' });
  });
});

describe('a delay', () => {
  it('passes before the first frame, while the body is made ready; a stop does not wait for it', async () => {
    const link = new TestLink(body);
    const { station: one, events } = await station(link);
    const began = Date.now();
    await one.start({ ...NINE, delay: 0.5 }, "phone's owner");
    await one.settled();
    const [run] = journal.sets({ limit: 1 });
    expect(run?.state).toBe('complete');
    const first = (await recordOf(events.state.run?.folder)).frames.map(({ firedAt }) =>
      Date.parse(firedAt ?? ''),
    );
    expect(Math.min(...first) - began).toBeGreaterThanOrEqual(500);
    const { beginsAt, startedBy } = events.state.run ?? {};
    expect(Date.parse(beginsAt ?? '') - began).toBeGreaterThanOrEqual(499);
    expect(startedBy).toBe("phone's owner");

    const releases = link.releases;
    const again = Date.now();
    await one.start({ ...NINE, delay: 60 });
    one.stop();
    await one.settled();
    // It does not wait for the minute.
    expect(Date.now() - again).toBeLessThan(30_000);
    expect(events.state.run?.state).toBe('stopped');
    expect(link.releases).toBe(releases);
  });

  it.each([-1, 61, Number.NaN, '5'])('of %s s is none', (delay) => {
    expect(() => parseRunRequest({ ...NINE, delay })).toThrow(
      expect.objectContaining({ code: 'malformed-request' }),
    );
  });

  it('is none of a schedule', () => {
    const schedule = { every: '4min', count: 3 };
    expect(() => parseRunRequest({ ...NINE, schedule, delay: 5 })).toThrow(/leave delay out/);
    expect(parseRunRequest({ ...NINE, schedule, delay: 0 }).delay).toBe(0);
  });
});

describe('the second of two', () => {
  it('is told who fires', async () => {
    const link = new TestLink(body);
    const { station: one, events } = await station(link);
    await one.start(NINE, "phone's owner");
    one.hold();
    await untilState(events, isHeld);
    await expect(one.start(NINE)).rejects.toMatchObject({
      code: 'run-under-way',
      message: expect.stringContaining('started from "phone\'s owner"'),
    });
    one.stop();
    await one.settled();
    expect(await readdir(into)).toEqual([]);
  });
});

const START = Date.parse('2026-11-25T15:40:00Z');
const EVERY = 240_000;

/** A clock that only goes on while somebody waits. */
class Hands implements Clock {
  at = 0;
  monotonic = () => this.at;
  wall = () => START + this.at;
  /** What happens once it is that late. */
  readonly plans: { at: number; what: () => void }[] = [];
  readonly sleep: Sleep = async (milliseconds, signal) => {
    const until = this.at + milliseconds;
    for (;;) {
      const [next] = this.plans.filter(({ at }) => at <= until).sort((a, b) => a.at - b.at);
      if (signal?.aborted === true) return;
      if (next === undefined) break;
      this.plans.splice(this.plans.indexOf(next), 1);
      this.at = Math.max(this.at, next.at);
      next.what();
    }
    this.at = Math.max(this.at, until);
  };
}

describe('a schedule that is held', () => {
  function play(count: number, overrun: 'skip' | 'follow' = 'skip', begun?: SequenceMemo) {
    const hands = new Hands();
    const made: number[] = [];
    const awake: number[] = [];
    const notes: string[] = [];
    const memos: SequenceMemo[] = [];
    const missed: number[] = [];
    let state: DaemonState = NOTHING_YET;
    const maker: SetMaker = {
      look: async () => ({ disk: null, card: null, battery: null }),
      keepAwake: async () => void awake.push(hands.at),
      make: async ({ slotNow, ordinal, keep }) => {
        const slot = slotNow() ?? -1;
        keep(() => undefined);
        made.push(slot);
        const startedAt = new Date(hands.wall()).toISOString();
        return {
          ...{ id: `set-${ordinal}`, startedAt, frames: 9, shutter: '1/60', iso: '100', shiftEv: 0 },
          ...{ stop: () => undefined, hold: () => true, letGo: () => undefined },
          carryOut: async (): Promise<EndedSet> => {
            hands.at += 30_000;
            return { state: 'complete', verified: 9, endedAt: startedAt, sentence: 'Verified.', error: null };
          },
        };
      },
    };
    const sequence = new Sequence({
      ...{ run: 'a-run', maySleep: false, maker, clock: hands, sleep: hands.sleep },
      tell: (happening) => {
        state = afterHappening(state, happening);
        if (state.schedule?.state === 'held') missed.push(state.schedule.missed);
      },
      keepNote: (note) => notes.push(note),
      keepMemo: (memo) => memos.push(memo),
      foreseen: {
        schedule: {
          ...{ start: new Date(START).toISOString(), everySeconds: EVERY / 1000, count, end: null, overrun },
          ...{ setSeconds: 30, place: null },
        },
        words: `${count} sets`,
        estimate: { sets: count, ends: new Date(START).toISOString(), actuations: 9 * count, bytes: null },
        cautions: [],
      },
      ...(begun === undefined ? {} : { begun: { memo: begun, inHand: null } }),
    });
    return {
      sequence,
      hands,
      made,
      awake,
      notes,
      memos,
      missed,
      state: () => daemonStateSchema.parse(state),
    };
  }

  it.each(['skip', 'follow'] as const)(
    'lets slots pass (%s), says so, and goes on with the next',
    async (overrun) => {
      const { sequence, hands, made, notes, missed, awake, state, memos } = play(6, overrun);
      hands.plans.push({ at: 100_000, what: () => void sequence.hold() });
      hands.plans.push({ at: 2 * EVERY + 100_000, what: () => sequence.letGo() });
      const end = await sequence.carryOut();
      expect(made).toEqual([0, 3, 4, 5]);
      expect(missed.at(-1)).toBe(2);
      expect(notes.join()).toMatch(/^Paused from .*: 2 slots passed without a set\.$/);
      expect(end.sentence).toBe('4 of 6 sets are complete. 2 slots passed without a set.');
      expect(state().schedule?.missed).toBe(2);
      expect(memos.map(({ held }) => held)).toEqual([true, false]);
      // No body falls asleep meanwhile.
      const during = awake.filter((at) => at > 100_000 && at < 2 * EVERY);
      expect(during.length).toBeGreaterThan(10);
    },
  );

  it('for less than a slot misses none', async () => {
    const { sequence, hands, made, notes } = play(3);
    hands.plans.push({ at: 60_000, what: () => void sequence.hold() });
    // Its slot has begun, and could still be made in time.
    hands.plans.push({ at: EVERY + 5000, what: () => sequence.letGo() });
    expect((await sequence.carryOut()).sentence).toBe('All 3 sets are complete.');
    expect([made, notes]).toEqual([[0, 1, 2], []]);
  });

  it('to its end is over then; stopped, it stops', async () => {
    const held = play(3);
    held.hands.plans.push({ at: 60_000, what: () => void held.sequence.hold() });
    expect(await held.sequence.carryOut()).toMatchObject({
      state: 'complete',
      sentence: '1 of 3 sets is complete. 2 slots passed without a set.',
    });
    expect(held.sequence.hold()).toBe(false);
    const stopped = play(3);
    stopped.hands.plans.push({ at: 60_000, what: () => void stopped.sequence.hold() });
    stopped.hands.plans.push({ at: 120_000, what: () => stopped.sequence.stop() });
    expect((await stopped.sequence.carryOut()).state).toBe('stopped');
    expect(stopped.hands.at).toBe(120_000);
  });

  it('as a set is about to be made: nothing is made', async () => {
    const { sequence, hands, made } = play(3);
    hands.plans.push({ at: EVERY - 1, what: () => void sequence.hold() });
    hands.plans.push({ at: EVERY + 100_000, what: () => sequence.letGo() });
    await sequence.carryOut();
    expect(made).toEqual([0, 2]);
  });
});

it('a picture that is rejected while a run is held is fired in its turn, and told of before', async () => {
  const link = new TestLink({ shape: 'amount' });
  link.saysSize = false;
  const { run, events } = await prepareSet(root, { link });
  const fired: number[] = [];
  const isRejected = new Promise<void>((resolve) => {
    const look = setInterval(() => {
      const told = events.flatMap(({ happening }) => (happening.type === 'frame' ? [happening.frame] : []));
      if (!told.some(({ state, reason }) => state === 'rejected' && /cut short/.test(reason ?? ''))) return;
      clearInterval(look);
      resolve();
    }, 5);
  });
  link.afterFire = async (count, file) => {
    if (count !== 1) return;
    // What came first is the second frame of the bracket, and its file is cut short.
    const twin = new PracticeBody(AT_ONCE);
    await twin.change('shutter', sixths(42));
    const [other] = await twin.release();
    const jpeg = other?.content ?? Buffer.alloc(0);
    await writeFile(file, jpeg.subarray(0, Math.floor(jpeg.length / 2)));
    run.hold();
    void isRejected.then(() => setTimeout(() => run.letGo(), 20));
  };
  const ended = await run.carryOut();
  for (const { happening } of events)
    if (happening.type === 'frame' && happening.frame.state === 'fired') fired.push(happening.frame.number);
  expect(ended).toMatchObject({ state: 'complete', verified: 3 });
  // Every release is told of before it is made.
  expect(fired).toHaveLength(link.releases);
});
