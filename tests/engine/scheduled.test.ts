// Runs on a schedule on the practice body, with an invented clock: sets, journal, base that follows the light, restarts, alarms.
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import { afterHappening, NOTHING_YET } from '../../shared/fold.js';
import { readSetRecord } from '../../shared/set-record.js';
import { daemonStateSchema } from '../../shared/state.js';
import type { FireOptions } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { checkSet } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import type { Sleep } from '../../src/series/index.js';
import type { Halt } from '../../src/station/alarm-notice.js';
import type { EventLog, Station } from '../../src/station/index.js';
import { Hands } from '../harness/hands.js';
import { DyingLink, TestLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';

const THREE = { frames: 3, step: 1, base: '1/60' };
const EVERY_4_MIN = { every: '4min', count: 3 };

let root = '';
let into = '';
let journal: Journal;
let body: PracticeBody;
let hands: Hands;
let opened: Station[] = [];
/** The logs of stations that have nothing to say there. */
let silent: (readonly string[])[] = [];
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  into = path.join(root, 'sets');
  journal = await Journal.open(path.join(root, 'state'));
  body = new PracticeBody(AT_ONCE);
  hands = new Hands();
  opened = [];
  silent = [];
});
afterEach(async () => {
  for (const one of opened) await one.close();
  expect(silent.flat()).toEqual([]);
  journal.close();
  await rm(root, { recursive: true, force: true });
});

interface Started {
  readonly station: Station;
  readonly events: EventLog;
  readonly halts: Halt[];
}

async function station(
  link: PracticeLink = new PracticeLink(body),
  sleep: Sleep = hands.sleep,
): Promise<Started> {
  const halts: Halt[] = [];
  const made = await openStation(root, link, {
    ...{ journal, clock: hands, sleep, patienceMs: 300 },
    alarm: { raise: (halt) => halts.push(halt) },
  });
  opened.push(made.station);
  silent.push(made.logged);
  return { ...made, halts };
}

const folders = async (): Promise<string[]> =>
  (await readdir(into)).sort().map((name) => path.join(into, name));

async function records() {
  const texts = await Promise.all((await folders()).map((at) => readFile(path.join(at, 'set.json'), 'utf8')));
  return texts
    .map((text) => readSetRecord(text).record)
    .sort((a, b) => (a.setNumber ?? 0) - (b.setNumber ?? 0));
}

describe('a run on a schedule', () => {
  it('knows from the sets before it how large files are', async () => {
    const { station: one, events } = await station();
    await one.start(THREE);
    await one.settled();
    const told: (number | null)[] = [];
    events.watch(({ happening }) => {
      if (happening.type === 'watch') told.push(happening.watch?.disk?.framesLeft ?? null);
    });
    await one.start({ ...THREE, schedule: EVERY_4_MIN });
    await one.settled();
    expect(told.length).toBeGreaterThan(2);
    expect(told).not.toContain(null);
  });

  it('makes every set, whole and by itself, and leaves the body as it was found', async () => {
    const before = { ...body.state };
    const { station: one, events, halts } = await station();
    const foreseen = await one.foresee({ ...THREE, schedule: EVERY_4_MIN });
    expect(foreseen.estimate).toMatchObject({ sets: 3, actuations: 9 });
    const { id } = await one.start({
      ...{ ...THREE, schedule: EVERY_4_MIN, name: 'Boathouse', note: 'From the jetty', viewpoint: 2 },
    });
    await one.settled();
    expect({ ...body.state }).toEqual(before);
    expect(events.state.schedule).toMatchObject({
      ...{ run: id, state: 'complete', begun: 3, complete: 3, missed: 0 },
      sentence: 'All 3 sets are complete.',
    });
    expect(events.state.line.map(({ ordinal, state, verified }) => [ordinal, state, verified])).toEqual([
      [1, 'complete', 3],
      [2, 'complete', 3],
      [3, 'complete', 3],
    ]);
    expect(events.state.run?.set).toMatchObject({ ordinal: 3, name: 'Boathouse', viewpoint: '2' });
    for (const folder of await folders()) expect((await checkSet(folder)).findings).toEqual([]);
    expect(
      (await records()).map(({ name, viewpoint, note, run, setNumber, complete }) => [
        name,
        viewpoint,
        note,
        run,
        setNumber,
        complete,
      ]),
    ).toEqual([1, 2, 3].map((number) => ['Boathouse', '2', 'From the jetty', id, number, true]));
    expect(journal.run(id)).toMatchObject({ kind: 'scheduled', state: 'complete', sets: 3 });
    expect(journal.sets({ run: id, limit: 9 }).map(({ name }) => name)).toEqual([
      'Boathouse',
      'Boathouse',
      'Boathouse',
    ]);
    expect(halts).toEqual([]);
    // Whoever folds the events comes to the same picture.
    expect(daemonStateSchema.parse(events.state)).toEqual(events.state);
  });

  it('a single set after it has no schedule', async () => {
    const { station: one, events } = await station();
    await one.start({ ...THREE, schedule: { every: '4min', count: 1 } });
    await one.settled();
    expect(events.state.schedule).not.toBeNull();
    await one.start(THREE);
    await one.settled();
    expect(events.state.schedule).toBeNull();
    expect(events.state.line).toEqual([]);
  });

  it('an interval shorter than the set is refused, with the shortest; so is a past start, and light without a schedule', async () => {
    const { station: one } = await station();
    const long = { frames: 9, step: 1, base: '2', schedule: { every: '30s', count: 9 } };
    await expect(one.start(long)).rejects.toMatchObject({
      code: 'schedule-impossible',
      details: { shortestSeconds: expect.any(Number) },
    });
    await expect(
      one.start({ ...THREE, schedule: { every: '4min', count: 2, start: '2020-01-01T20:00' } }),
    ).rejects.toMatchObject({ code: 'schedule-past' });
    await expect(one.start({ ...THREE, light: {} })).rejects.toMatchObject({ code: 'malformed-request' });
    await expect(one.foresee(THREE)).rejects.toMatchObject({ code: 'malformed-request' });
    expect(journal.unfinishedRun()).toBeNull();
  });

  it('is stopped while it waits: the sets made so far stay, and the body is as found', async () => {
    const { station: one, events } = await station();
    hands.meanwhile = () => {
      if (events.state.line.length === 2) one.stop();
    };
    const { id } = await one.start({ ...THREE, schedule: { every: '4min', count: 9 } });
    await one.settled();
    expect(events.state.schedule).toMatchObject({
      state: 'stopped',
      sentence: 'Stopped. 2 of 9 sets are complete.',
    });
    expect(journal.run(id)?.state).toBe('stopped');
    expect(await folders()).toHaveLength(2);
  });

  it('is stopped in the middle of a set', async () => {
    const { station: one, events } = await station();
    events.watch(({ happening }) => {
      if (happening.type === 'frame' && happening.frame.state === 'fired' && events.state.line.length === 2)
        one.stop();
    });
    await one.start({ frames: 9, step: 1, base: '1/60', schedule: { every: '4min', count: 9 } });
    await one.settled();
    expect(events.state.schedule?.state).toBe('stopped');
    expect(events.state.line.map(({ state }) => state)).toEqual(['complete', 'stopped']);
  });
});

/** Refuses to fire while a test says so. */
class MoodyLink extends PracticeLink {
  mood: 'fine' | 'refuses' | 'gone' = 'fine';
  override fire(options: FireOptions) {
    if (this.mood === 'refuses') return Promise.reject(Object.assign(new Error('no focus'), {}));
    return super.fire(options);
  }
}

describe('halts', () => {
  it('each set that halts raises the alarm, and the next one is made', async () => {
    const link = new MoodyLink(body);
    const { station: one, events, halts } = await station(link);
    events.watch(({ happening }) => {
      if (happening.type === 'line-set' && happening.set.endedAt === null)
        link.mood = happening.set.ordinal === 2 ? 'refuses' : 'fine';
    });
    await one.start({ ...THREE, schedule: EVERY_4_MIN });
    await one.settled();
    expect(events.state.line.map(({ state }) => state)).toEqual(['complete', 'halted', 'complete']);
    expect(halts).toHaveLength(1);
    expect(halts[0]).toMatchObject({ state: 'halted', verified: 0, frames: 3 });
    expect(events.state.schedule?.sentence).toBe('2 of 3 sets are complete. 1 is not.');
  });

  it('three in a row end it, with an alarm of its own', async () => {
    const link = new MoodyLink(body);
    link.mood = 'refuses';
    const { station: one, events, halts } = await station(link);
    const underWay = await one.start({ ...THREE, schedule: { every: '4min', count: 9 } });
    await one.settled();
    expect(events.state.schedule?.state).toBe('halted');
    expect(halts).toHaveLength(4);
    expect(underWay.error).not.toBeNull();
  });
});

describe('the base', () => {
  const LIGHT = { slowest: '8', fastest: '1/4000', isoLeast: 100, isoMost: 1600, mostPerSet: 1 };

  it('follows the light down, the shutter first and then ISO, each set says so, and the level is kept', async () => {
    const { station: one, events } = await station();
    events.watch(({ happening }) => {
      // Half an EV a set: dusk.
      if (happening.type === 'line-set' && happening.set.endedAt !== null) body.moveLight(sixths(-3));
    });
    await one.start({
      ...{ frames: 3, step: 1, base: '1/15', light: { ...LIGHT, slowest: '1/2' } },
      schedule: { every: '4min', count: 14 },
    });
    await one.settled();
    expect(events.state.schedule?.sentence).toBe('All 14 sets are complete.');
    const { line } = events.state;
    const total = line.reduce((sum, { shift }) => sum + shift, 0);
    // Thirteen moves of half an EV; the base lags by what the line through the last sets leaves.
    expect(total).toBeGreaterThan(5);
    expect(total).toBeLessThan(7.1);
    expect(line.at(0)).toMatchObject({ shutter: '1/15', iso: '100' });
    expect(line.at(-1)?.shutter).toBe('0.5');
    expect(Number(line.at(-1)?.iso)).toBeGreaterThan(400);
    const made = await records();
    const shifts = made.flatMap(({ baseShifts }) => baseShifts.map(({ ev }) => ev));
    expect(shifts.reduce((sum, ev) => sum + ev, 0)).toBeCloseTo(total, 6);
    for (const record of made) {
      expect(record.complete).toBe(true);
      if (record.baseShifts.length > 0)
        expect(record.notes.join(' ')).toMatch(/The base exposure moved by \S+ EV/);
    }
    // What the files record is what the line says.
    const last = made.at(-1);
    expect(last?.frames.map(({ recorded }) => recorded?.iso)).toEqual(
      Array(3).fill(Number(line.at(-1)?.iso)),
    );
    // Settings are as found between the sets, and after.
    expect(body.state.iso).toBe(100);
  });

  it('says beforehand where slot or link end, and what to give up', async () => {
    const { station: one, events } = await station();
    const notes: string[] = [];
    events.watch(({ happening }) => {
      if (happening.type === 'run') notes.push(...happening.run.notes);
      if (happening.type === 'line-set' && happening.set.endedAt !== null) body.moveLight(sixths(-6));
    });
    await one.start({
      ...{ frames: 3, step: 1, base: '2', light: { mostPerSet: 1 } },
      schedule: { every: '30s', count: 8 },
    });
    await one.settled();
    expect(notes.join('\n')).toMatch(/The base exposure is at its brightest limit/);
    expect(notes.join('\n')).toMatch(
      /With a base exposure of .* the set takes .*, longer than the interval of 30 s\./,
    );
    expect(notes.join('\n')).toMatch(/Leave out the brightest frame|Shoot a set every/);
  });

  it.each([
    [{ slowest: '77' }, 'base-not-offered'],
    [{ slowest: '1/500', fastest: '1/60' }, 'malformed-request'],
    [{ isoLeast: 3, isoMost: 5 }, 'base-not-offered'],
    [{ mostPerSet: 0 }, 'malformed-request'],
    [{ isoLeast: 800, isoMost: 100 }, 'malformed-request'],
  ])('limits that are no limits of this body are refused beforehand: %j', async (light, code) => {
    const { station: one } = await station();
    const asked = { ...THREE, light, schedule: EVERY_4_MIN };
    await expect(one.foresee(asked)).rejects.toMatchObject({ code });
    await expect(one.start(asked)).rejects.toMatchObject({ code });
    expect(journal.unfinishedRun()).toBeNull();
  });

  it('stays where nothing moves', async () => {
    const { station: one, events } = await station();
    await one.start({ ...THREE, light: LIGHT, schedule: { every: '4min', count: 4 } });
    await one.settled();
    expect(events.state.line.map(({ shutter, shift }) => [shutter, shift])).toEqual(
      Array(4).fill(['1/60', 0]),
    );
  });
});

describe('a program that dies', () => {
  /** Until so many frames were made; what was committed is in the journal. */
  async function cutOff(frames: number, request: object, startedBy?: string): Promise<string> {
    const { station: dying, events } = await station(new DyingLink(body, frames));
    opened = [];
    const { id } = await dying.start(request, startedBy);
    await new Promise<void>((resolve) => {
      let fired = 0;
      let verified = 0;
      events.watch(({ happening }) => {
        if (happening.type === 'frame' && happening.frame.state === 'fired') fired += 1;
        if (happening.type === 'frame' && happening.frame.state === 'verified') verified += 1;
        if (fired > frames && verified === frames) resolve();
      });
    });
    return id;
  }

  it('in the middle of a set: that set is finished, the others are made in their slots, none twice', async () => {
    const id = await cutOff(4, { ...THREE, schedule: { every: '4min', count: 4 }, light: {} });
    const { station: one, events } = await station();
    expect(events.state.unfinished).toMatchObject({ run: id, scheduled: true, verified: 1, frames: 3 });
    expect(events.state.unfinished?.sentence).toContain('interrupted in set 2 of 4 after 1 of 3 frames');
    await expect(one.start(THREE)).rejects.toMatchObject({ code: 'run-unfinished' });
    await one.resume();
    await one.settled();
    expect(events.state.schedule).toMatchObject({ run: id, state: 'complete', begun: 4, complete: 4 });
    expect(events.state.line.map(({ ordinal, state }) => [ordinal, state])).toEqual(
      [1, 2, 3, 4].map((ordinal) => [ordinal, 'complete']),
    );
    expect(await folders()).toHaveLength(4);
    for (const folder of await folders())
      expect((await checkSet(folder)).findings.filter(({ severity }) => severity === 'wrong')).toEqual([]);
    expect(journal.run(id)).toMatchObject({ state: 'complete', sets: 4 });
    expect(events.seq).toBeGreaterThan(0);
  });

  it('says who began it, where nobody else goes on with it; an earlier program did not keep that', async () => {
    const id = await cutOff(4, { ...THREE, schedule: { every: '4min', count: 3 } }, 'a phone');
    const kept = journal.run(id)?.options.content as Record<string, unknown>;
    const { startedBy: _, ...before } = kept;
    const { station: one, events } = await station();
    await one.resume();
    expect(() => one.look()).toThrow('A set is already being shot, started from "a phone"');
    await one.settled();
    expect(events.state.run?.startedBy).toBe('a phone');

    const earlier = await cutOff(1, { ...THREE, schedule: { every: '4min', count: 2 } }, 'a phone');
    journal.changeOptions(earlier, { version: 1, content: before });
    const { station: next, events: told } = await station();
    expect(told.state.unfinished).toMatchObject({ run: earlier, scheduled: true });
    await next.resume();
    await next.settled();
    expect(told.state.schedule).toMatchObject({ run: earlier, state: 'complete' });
    expect(told.state.run?.startedBy).toBe('this computer');
  });

  it('between two sets: it goes on with the next slot', async () => {
    // It never wakes up again.
    const asleep = new Promise<void>(() => undefined);
    const goesOn = hands.sleep;
    const lasts: Sleep = (milliseconds, signal) =>
      journal.sets({ limit: 9 }).length < 2 ? goesOn(milliseconds, signal) : asleep;
    const first = await station(new PracticeLink(body), lasts);
    opened = [];
    const { id } = await first.station.start({ ...THREE, schedule: { every: '4min', count: 4 } });
    await new Promise<void>((resolve) => {
      first.events.watch(() => {
        const { line, schedule } = first.events.state;
        if (line.length === 2 && schedule?.state === 'waiting') resolve();
      });
    });
    hands.at += 30_000;
    const { station: one, events } = await station();
    expect(events.state.unfinished).toMatchObject({ run: id, scheduled: true, frames: 0 });
    await one.resume();
    await one.settled();
    expect(events.state.schedule).toMatchObject({ state: 'complete', begun: 4, complete: 4, missed: 0 });
    expect(journal.sets({ run: id, limit: 9 }).map(({ state }) => state)).toEqual(Array(4).fill('complete'));
    expect(await folders()).toHaveLength(4);
  });

  it('gone on with late, its camera lost and back only in the slot after: no slot has two sets, and no folder is left empty', async () => {
    const every = 4 * 60_000;
    const start = hands.at;
    const id = await cutOff(1, { ...THREE, schedule: { every: '4min', count: 4, overrun: 'follow' } });
    // The set that was cut off in the first slot ends 5 s before the third.
    hands.at = start + 2 * every - 5000;
    const link = new TestLink(body);
    const { station: one, events } = await station(link);
    const begun: [ordinal: number, slot: number, secondsAfterStart: number][] = [];
    events.watch(({ happening }) => {
      if (happening.type !== 'line-set') return;
      const { ordinal, slot, endedAt } = happening.set;
      if (ordinal > 1 && endedAt === null) begun.push([ordinal, slot, (hands.at - start) / 1000]);
      if (ordinal === 1 && endedAt !== null) link.beforeRead = lost;
    });
    const lost = () => {
      link.beforeRead = () => {
        link.beforeRead = () => undefined;
        hands.at += 10_000;
      };
      throw new EvenrungError('body-lost', 'The cable was pulled.');
    };
    await one.resume();
    await one.settled();
    expect(begun).toEqual([
      [2, 2, 485],
      [3, 3, 720],
    ]);
    expect(events.state.schedule?.sentence).toBe('3 of 4 sets are complete. 1 slot passed without a set.');
    expect(journal.sets({ run: id, limit: 9 }).map(({ state }) => state)).toEqual(Array(3).fill('complete'));
    expect(await folders()).toHaveLength(3);
  });

  it('is ended instead: the record says how far it got, and a new run can begin', async () => {
    const id = await cutOff(4, { ...THREE, schedule: { every: '4min', count: 4 } });
    const { station: one, events } = await station();
    await one.endUnfinished();
    expect(events.state.unfinished).toBeNull();
    expect(journal.run(id)?.state).toBe('stopped');
    await one.start(THREE);
    await one.settled();
    expect(events.state.run?.state).toBe('complete');
  });

  it('folding the events from the start gives the same picture', async () => {
    const { station: one, events } = await station();
    let folded = NOTHING_YET;
    events.watch(({ happening }) => {
      folded = afterHappening(folded, happening);
    });
    await one.start({ ...THREE, schedule: EVERY_4_MIN });
    await one.settled();
    expect(folded.line).toEqual(events.state.line);
    expect(folded.schedule).toEqual(events.state.schedule);
  });
});
