// Runs on a schedule whose span follows what the last set held, with an invented clock and a judge that knows the scene: sets, notes, records,
// together with a base that follows, with readings and with frames that are added meanwhile; restarts; what is refused.
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { readSetRecord } from '../../shared/set-record.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { checkSet } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import type { ScheduledMemo, Sleep } from '../../src/series/index.js';
import type { EventLog, Station } from '../../src/station/index.js';
import { Hands } from '../harness/hands.js';
import { type InventedScene, judging } from '../harness/judge.js';
import { DyingLink } from '../harness/links.js';
import { type OpenOptions, openStation } from '../harness/station.js';

const THREE = { frames: 3, step: 1, base: '1/60' };
const every4min = (count: number) => ({ schedule: { every: '4min', count } });

let root = '';
let journal: Journal;
let body: PracticeBody;
let hands: Hands;
let opened: Station[] = [];
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
  body = new PracticeBody(AT_ONCE);
  hands = new Hands();
  opened = [];
});
afterEach(async () => {
  for (const one of opened) await one.close();
  journal.close();
  await rm(root, { recursive: true, force: true });
});

interface Started {
  readonly station: Station;
  readonly events: EventLog;
}

/** @param scene what it takes to hold it, by the ordinal of the set in hand */
async function station(
  scene: (set: number) => InventedScene | null,
  options: OpenOptions & { link?: PracticeLink; ready?: () => Promise<unknown> } = {},
): Promise<Started> {
  const { link = new PracticeLink(body), ready, ...more } = options;
  const now = () => scene(made.events.state.run?.set.ordinal ?? 1);
  const made: Started = await openStation(root, link, {
    ...{ journal, clock: hands, sleep: hands.sleep, patienceMs: 300 },
    openJudge: judging({ scene: now, ...(ready === undefined ? {} : { ready }) }),
    ...more,
  });
  opened.push(made.station);
  return made;
}

const still = (from: number, to: number) => () => ({ from, to });

async function folders(): Promise<string[]> {
  const into = path.join(root, 'sets');
  return (await readdir(into)).map((name) => path.join(into, name));
}

async function records() {
  const texts = await Promise.all((await folders()).map((at) => readFile(path.join(at, 'set.json'), 'utf8')));
  return texts
    .map((text) => readSetRecord(text).record)
    .sort((a, b) => (a.setNumber ?? 0) - (b.setNumber ?? 0));
}

/** @returns from where to where the frames of each set reach, as its record has it */
const spans = async (): Promise<string[]> =>
  (await records()).map(({ frames }) => `${frames[0]?.offset}..${frames.at(-1)?.offset}`);
const notesOf = async (): Promise<string[][]> =>
  (await records()).map(({ notes }) => notes.filter((note) => /frames? (is|are)|span/i.test(note)));
/** Of the last set that was begun, as the journal keeps it. */
const memoOf = (run: string): ScheduledMemo => journal.run(run)?.memo as ScheduledMemo;

describe('the span of a schedule', () => {
  it('follows a scene that opens and closes: each set says why, and the base stays', async () => {
    const { station: one, events } = await station((set) =>
      set <= 3 ? { from: -3, to: 2 } : { from: -1, to: 2 },
    );
    const before = { ...body.state };
    await one.start({ ...THREE, ...every4min(9), followSpan: {} });
    await one.settled();
    expect(events.state.schedule?.sentence).toBe('All 9 sets are complete.');
    expect(await spans()).toEqual([
      // Three frames are lacking, and two come at a time.
      ...['-1..1', '-3..1', '-3..2', '-3..2'],
      // Of no use in the fourth set and in the fifth. Then the frame next to the end is of use.
      ...['-3..2', ...Array(4).fill('-2..2')],
    ]);
    expect(events.state.line.map(({ frames, verified }) => [frames, verified])).toEqual(
      [3, 5, 6, 6, 6, 5, 5, 5, 5].map((frames) => [frames, frames]),
    );
    expect(new Set(events.state.line.map(({ shutter }) => shutter))).toEqual(new Set(['1/60']));
    expect((await notesOf()).map(([note = '']) => note.split(': ')[0])).toEqual([
      ...['', '2 darker frames are added', 'A brighter frame is added', '', ''],
      ...['The darkest frame is left out', '', '', ''],
    ]);
    await one.proved();
    for (const folder of await folders()) expect((await checkSet(folder)).findings).toEqual([]);
    expect({ ...body.state }).toEqual(before);
  });

  it('stays, and says so once, where the pictures cannot be judged or do not fit their exposures', async () => {
    const { station: one } = await station((set) =>
      set <= 2 ? null : { from: -3, to: 3, isInStep: set > 4 },
    );
    await one.start({ ...THREE, ...every4min(6), followSpan: {} });
    await one.settled();
    expect(await spans()).toEqual([...Array(5).fill('-1..1'), '-2..2']);
    expect(await notesOf()).toEqual([
      ...[[], ['The span stays as it is: the last set was not checked for lost detail in time.'], []],
      ['The span stays as it is: the pictures of the last set do not get brighter as their exposures do.'],
      ...[[], [expect.stringMatching(/^A darker frame is added: 2% .* A brighter frame is added: 2% .*/)]],
    ]);
  });

  it('follows pictures that are judged only after their set has ended, without waiting for them', async () => {
    let waiting: (() => void)[] = [];
    let isLate = false;
    const { station: one, events } = await station(still(-2, 1), {
      ready: () => (isLate ? new Promise<void>((resolve) => waiting.push(resolve)) : Promise.resolve()),
    });
    const judge = () => {
      isLate = false;
      for (const goOn of waiting) goOn();
      waiting = [];
    };
    events.watch(({ happening }) => {
      // From the first frame until somebody waits for the next slot.
      if (happening.type === 'line-set' && happening.set.endedAt === null)
        isLate = happening.set.ordinal === 1;
    });
    hands.meanwhile = judge;
    await one.start({ ...THREE, frames: 1, ...every4min(2), followSpan: { fewestFrames: 1 } });
    await one.settled();
    expect(await spans()).toEqual(['0..0', '-1..1']);
  }, 20_000);

  it('is kept where its limits, the shutters and the slot are, and says that once', async () => {
    const { station: one } = await station(still(-9, 9));
    const fast = { ...THREE, base: '1/4000', schedule: { every: '4min', count: 4 } };
    await one.start({ ...fast, followSpan: { mostFrames: 5, mostPerSet: 1 } });
    await one.settled();
    expect(await spans()).toEqual(['-1..1', '-1..2', '-1..3', '-1..3']);
    const notes = (await notesOf()).map((some) => some.map((note) => note.split(/[:.]/)[0]));
    expect(notes).toEqual([
      [],
      ['A brighter frame is added', 'The span cannot reach as far as the scene'],
      [
        'A brighter frame is added',
        'The span has 5 frames, the most allowed, and needs about 4 more at the brighter end',
      ],
      [],
    ]);
  });

  it('a set that halts tells nothing: the next one is as it was', async () => {
    class Moody extends PracticeLink {
      isRefusing = false;
      override fire(...asked: Parameters<PracticeLink['fire']>) {
        return this.isRefusing ? Promise.reject(new Error('no focus')) : super.fire(...asked);
      }
    }
    const link = new Moody(body);
    const { station: one, events } = await station(still(-2, 2), { link });
    events.watch(({ happening }) => {
      if (happening.type === 'line-set') link.isRefusing = happening.set.ordinal === 2;
    });
    await one.start({ ...THREE, ...every4min(4), followSpan: {} });
    await one.settled();
    expect(events.state.line.map(({ state, frames }) => [state, frames])).toEqual([
      ['complete', 3],
      ['halted', 5],
      ['complete', 5],
      ['complete', 5],
    ]);
    expect((await notesOf()).flat()).toContain('The span stays as it is: the last set is not complete.');
  });
});

describe('together with', () => {
  it('a base that follows the light: offsets count from the base that has moved, and the level stays that of the same frame', async () => {
    const { station: one, events } = await station(still(-2, 3));
    events.watch(({ happening }) => {
      // Half an EV a set: dusk.
      if (happening.type === 'line-set' && happening.set.endedAt !== null) body.moveLight(sixths(-3));
    });
    await one.start({
      // The base is no frame of the first set.
      ...{ from: 1, to: 3, step: 1, base: '1/60', ...every4min(10), followSpan: {} },
      light: { isoLeast: 100, isoMost: 1600 },
    });
    await one.settled();
    expect(await spans()).toEqual(['1..3', '-1..3', ...Array(8).fill('-2..3')]);
    const total = events.state.line.reduce((sum, { shift }) => sum + shift, 0);
    // Nine moves of half an EV; the base lags by what the line through the last sets leaves.
    expect(total).toBeGreaterThan(3);
    expect(total).toBeLessThan(5.1);
    for (const { baseShifts, notes } of await records())
      if (baseShifts.length > 0) expect(notes.join(' ')).toMatch(/The base exposure moved by/);
  });

  it('two readings: the first set is the one that follows from them, and the record tells them as long as they say where they fall', async () => {
    const readings = { darkest: '1/8', brightest: '1/500' };
    const { station: one } = await station((set) => (set === 1 ? { from: -9, to: -9 } : { from: 0, to: 0 }));
    const { id } = await one.start({ readings, step: 1, ...every4min(3), followSpan: {} });
    await one.settled();
    const [first, second, third] = await records();
    const frames = [first, second, third].map((one) => one?.frames.length ?? 0);
    expect([(frames[1] ?? 0) - (frames[0] ?? 0), (frames[2] ?? 0) - (frames[1] ?? 0)]).toEqual([2, 0]);
    expect([first, second, third].map((one) => one?.readings !== undefined && one.readings !== null)).toEqual(
      [true, false, false],
    );
    const most = (frames[0] ?? 0) + 4;
    expect(journal.run(id)?.options.content).toMatchObject({ span: { mostFrames: most, mostPerSet: 2 } });
  });

  it('frames that are added while a set is made: the next set begins with them', async () => {
    const { station: one } = await station(still(-2, 2));
    await one.start({ ...THREE, extend: 1, ...every4min(3), followSpan: {} });
    await one.settled();
    expect(await spans()).toEqual(Array(3).fill('-2..2'));
    const [first, second, third] = await records();
    expect(first?.notes.join(' ')).toMatch(/Extended|added/i);
    expect((await notesOf())[1]).toEqual([
      'A darker frame is added, because the last set was extended there while it was shot. A brighter frame is added, because the last set was extended there while it was shot. The span is now −2 to +2 EV, 5 frames.',
    ]);
    for (const record of [second, third])
      expect(record?.frames.map(({ number }) => number)).toEqual([1, 2, 3, 4, 5]);
  });
});

describe('before it is begun', () => {
  it('room and time are counted with the most frames that fit, and the words say so', async () => {
    const { station: one } = await station(still(0, 0));
    const asked = { ...THREE, ...every4min(10) };
    const plain = await one.foresee(asked);
    const follows = await one.foresee({ ...asked, followSpan: {} });
    expect([plain.estimate.actuations, follows.estimate.actuations]).toEqual([30, 70]);
    expect(follows.schedule.setSeconds).toBeGreaterThan(plain.schedule.setSeconds);
    expect(plain.words).not.toContain('span');
    expect(follows.words).toMatch(
      /The span follows the scene, so this counts 7 frames a set, the most allowed\.$/,
    );
    // Of 4 s there is time for one in 20 s, and for none of 8 s.
    const slow = { frames: 3, step: 1, base: '2', schedule: { every: '20s', count: 3 } };
    const fits = await one.foresee({ ...slow, followSpan: {} });
    expect(fits.schedule.setSeconds).toBeLessThanOrEqual(20);
    expect(fits.estimate.actuations).toBeGreaterThan(9);
  });

  it.each<[string, object, string]>([
    ['no schedule', { followSpan: {} }, 'malformed-request'],
    [
      'fewer at the most than are asked for',
      { ...every4min(3), followSpan: { mostFrames: 2 } },
      'malformed-request',
    ],
    [
      'more at least than are asked for',
      { ...every4min(3), followSpan: { fewestFrames: 4 } },
      'malformed-request',
    ],
    [
      'limits that are changed over',
      { ...every4min(3), followSpan: { fewestFrames: 3, mostFrames: 2 } },
      'malformed-request',
    ],
    ['no frame that may come or go', { ...every4min(3), followSpan: { mostPerSet: 0 } }, 'malformed-request'],
    ['half a frame', { ...every4min(3), followSpan: { mostFrames: 4.5 } }, 'malformed-request'],
    ['a field that there is none of', { ...every4min(3), followSpan: { most: 5 } }, 'malformed-request'],
  ])('%s is refused', async (_, more, code) => {
    const { station: one } = await station(still(0, 0));
    await expect(one.start({ ...THREE, ...more })).rejects.toMatchObject({ code });
    expect(journal.unfinishedRun()).toBeNull();
  });

  it('is refused where nobody judges pictures', async () => {
    const { station: one } = await station(still(0, 0), { openJudge: undefined });
    const asked = { ...THREE, ...every4min(3), followSpan: {} };
    await expect(one.foresee(asked)).rejects.toMatchObject({ code: 'light-not-judged' });
    await expect(one.start(asked)).rejects.toMatchObject({ code: 'light-not-judged' });
    expect(journal.unfinishedRun()).toBeNull();
  });
});

describe('a program that dies', () => {
  const asked = { ...THREE, ...every4min(6), followSpan: { mostPerSet: 1 } };
  const scene = still(-3, 1);
  const WHOLE = ['-1..1', '-2..1', '-3..1', '-3..1', '-3..1', '-3..1'];

  /** Until so many frames were made. */
  async function cutOff(frames: number): Promise<string> {
    const { station: dying, events } = await station(scene, { link: new DyingLink(body, frames) });
    opened = [];
    const { id } = await dying.start(asked);
    await new Promise<void>((resolve) => {
      let fired = 0;
      const verified = new Set<string>();
      events.watch(({ happening }) => {
        if (happening.type === 'frame' && happening.frame.state === 'fired') fired += 1;
        if (happening.type === 'frame' && happening.frame.state === 'verified')
          verified.add(`${events.state.run?.set.ordinal} ${happening.frame.number}`);
        if (fired > frames && verified.size === frames) resolve();
      });
    });
    return id;
  }

  it.each([2, 5, 9])('in a set, after %i frames: the spans are what they would have been', async (frames) => {
    const id = await cutOff(frames);
    const { station: one } = await station(scene);
    await one.resume();
    await one.settled();
    expect(journal.run(id)).toMatchObject({ state: 'complete', sets: 6 });
    expect(await spans()).toEqual(WHOLE);
  });

  it('between two sets: what the last one told is remembered', async () => {
    const asleep = new Promise<void>(() => undefined);
    const lasts: Sleep = (milliseconds, signal) =>
      journal.sets({ limit: 9 }).length < 2 ? hands.sleep(milliseconds, signal) : asleep;
    const first = await station(scene, { sleep: lasts });
    opened = [];
    const { id } = await first.station.start(asked);
    await new Promise<void>((resolve) => {
      first.events.watch(() => {
        const { line, schedule } = first.events.state;
        if (line.length === 2 && schedule?.state === 'waiting') resolve();
      });
    });
    expect(memoOf(id).span).toMatchObject({ offsets: [-12, -6, 0, 6], told: { darker: { lacking: 1 } } });
    hands.at += 30_000;
    const { station: one } = await station(scene);
    await one.resume();
    await one.settled();
    expect(await spans()).toEqual(WHOLE);
    expect((await notesOf())[2]?.[0]).toMatch(/^A darker frame is added/);
  });

  it('and goes on where nobody judges: the span stays', async () => {
    const id = await cutOff(5);
    const { station: one } = await station(scene, { openJudge: undefined });
    await one.resume();
    await one.settled();
    expect(journal.run(id)).toMatchObject({ state: 'complete', sets: 6 });
    expect(await spans()).toEqual(['-1..1', ...Array(5).fill('-2..1')]);
  });

  it('a run of an earlier program, which knew no such span, is gone on with as it was asked for', async () => {
    const { station: dying, events } = await station(scene, { link: new DyingLink(body, 3) });
    opened = [];
    const { id } = await dying.start({ ...THREE, ...every4min(3) });
    await new Promise<void>((resolve) => {
      events.watch(({ happening }) => {
        if (
          happening.type === 'frame' &&
          happening.frame.state === 'fired' &&
          happening.frame.number === 2 &&
          events.state.line.length === 2
        )
          resolve();
      });
    });
    const kept = journal.run(id)?.options.content as Record<string, unknown>;
    const { span, ...before } = kept;
    expect(span).toBeNull();
    journal.changeOptions(id, { version: 2, content: before });
    const { station: one } = await station(scene);
    await one.resume();
    await one.settled();
    expect(await spans()).toEqual(Array(3).fill('-1..1'));
  });
});

it('marks that come after the end of a set are told of no frame of the next one', async () => {
  let isFirst = true;
  let judge = () => {};
  const judged = new Promise<void>((resolve) => {
    judge = resolve;
  });
  const { station: one, events } = await station(still(-1, 1), {
    ready: () => (isFirst ? judged : Promise.resolve()),
  });
  const toldFirst = new Map<number, string>();
  events.watch(({ happening }) => {
    if (happening.type === 'run' && happening.run.set.ordinal === 2) {
      isFirst = false;
      judge();
    }
    if (happening.type === 'frame' && !isFirst && !toldFirst.has(happening.frame.number))
      toldFirst.set(happening.frame.number, happening.frame.state);
  });
  await one.start({ ...THREE, ...every4min(2) });
  const marksOf = (ordinal: number) => {
    const [id = ''] = journal.sets({}).flatMap((set) => (set.ordinal === ordinal ? [set.id] : []));
    return journal.set(id)?.frames.flatMap(({ view: { marks } }) => marks.map(({ code }) => code)) ?? [];
  };
  await expect.poll(() => marksOf(1)).toContain('clipped-light');
  await one.settled();
  await one.proved();
  // By their light nothing is lost.
  expect(marksOf(1)).not.toContain('clipped-light');
  expect([...toldFirst.values()]).toEqual(['armed', 'armed', 'armed']);
});
