// A run on a schedule with invented sets and an invented clock: which slots get a set, and how it ends.
import { describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { afterHappening, NOTHING_YET } from '../../shared/fold.js';
import { type DaemonState, daemonStateSchema, type Happening } from '../../shared/state.js';
import type { Watch } from '../../shared/watch.js';
import type { Sleep } from '../../src/series/index.js';
import { Sequence } from '../../src/series/sequence.js';
import type { SequenceMemo } from '../../src/series/sequence-memo.js';
import type { EndedSet, SetMaker } from '../../src/series/set-maker.js';
import type { Clock } from '../../src/system/index.js';

const START = Date.parse('2026-11-25T15:40:00Z');
const MINUTE = 60_000;
const EVERY = 4 * MINUTE;

/** A clock that only goes on while somebody waits, or where a test says so. */
class Hands implements Clock {
  at = 0;
  /** How far the wall's clock was set. */
  set = 0;
  monotonic(): number {
    return this.at;
  }
  wall(): number {
    return START + this.at + this.set;
  }
  readonly sleep: Sleep = async (milliseconds, signal) => {
    if (signal?.aborted !== true) this.at += milliseconds;
  };
}

const FINE: Watch = { disk: null, card: null, battery: null };
const COMPLETE: Partial<EndedSet> = {
  state: 'complete',
  verified: 9,
  sentence: 'All 9 frames are verified.',
  error: null,
};
const HALTED: Partial<EndedSet> = {
  state: 'halted',
  verified: 4,
  sentence: 'Halted.',
  error: 'frame-missing',
};

interface Play {
  readonly count?: number;
  readonly overrun?: 'skip' | 'follow';
  readonly maySleep?: boolean;
  /** What comes of the nth set, counted from 1, and how long it takes. */
  readonly set?: (ordinal: number) => Partial<EndedSet> & { takes?: number };
  readonly refuse?: (slot: number) => EvenrungError | null;
  /** How long its body is looked for before a set is begun. */
  readonly looksFor?: (slot: number) => number;
  /** How long its set is planned, once its slot is known. */
  readonly plansFor?: (slot: number) => number;
  readonly watch?: (setsToCome: number) => Watch | null;
  readonly begun?: { memo: SequenceMemo; inHand: boolean };
  readonly hands?: Hands;
  readonly during?: (sequence: Sequence, ordinal: number) => void;
}

function play(asked: Play) {
  const { count = 3, overrun = 'skip', maySleep = false, hands = new Hands() } = asked;
  const made: { slot: number; ordinal: number; at: number }[] = [];
  const awake: number[] = [];
  const looks: number[] = [];
  const notes: string[] = [];
  let kept: SequenceMemo | null = null;
  let state: DaemonState = NOTHING_YET;
  const tell = (happening: Happening) => {
    state = afterHappening(state, happening);
  };
  const begin = (ordinal: number) => ({
    id: `set-${ordinal}`,
    startedAt: new Date(hands.wall()).toISOString(),
    ...{ frames: 9, shutter: '1/60', iso: '100', shiftEv: 0 },
    ...{ stop: () => undefined, hold: () => true, letGo: () => undefined },
    carryOut: async (): Promise<EndedSet> => {
      asked.during?.(sequence, ordinal);
      const { takes = 30_000, ...ended } = asked.set?.(ordinal) ?? {};
      hands.at += takes;
      const endedAt = new Date(hands.wall()).toISOString();
      return { ...(COMPLETE as EndedSet), endedAt, ...ended };
    },
  });
  const maker: SetMaker = {
    look: async (setsToCome) => {
      looks.push(hands.at);
      return asked.watch === undefined ? FINE : asked.watch(setsToCome);
    },
    keepAwake: async () => void awake.push(hands.at),
    make: async ({ slotNow, ordinal, keep }) => {
      const taken = slotNow() ?? -1;
      const refused = asked.refuse?.(taken) ?? null;
      if (refused !== null) throw refused;
      hands.at += asked.looksFor?.(taken) ?? 0;
      const slot = slotNow();
      if (slot === null) return null;
      hands.at += asked.plansFor?.(slot) ?? 0;
      keep((memo) => {
        kept = memo;
      });
      made.push({ slot, ordinal, at: hands.at });
      return begin(ordinal);
    },
  };
  const schedule = {
    ...{ start: new Date(START).toISOString(), everySeconds: EVERY / 1000, count, end: null, overrun },
    ...{ setSeconds: 30, place: null },
  };
  const foreseen = {
    schedule,
    words: `${count} sets`,
    estimate: { sets: count, ends: new Date(START).toISOString(), actuations: 9 * count, bytes: null },
    cautions: [],
  };
  const { begun } = asked;
  const sequence: Sequence = new Sequence({
    ...{ run: 'a-run', foreseen, maySleep, maker, tell, clock: hands, sleep: hands.sleep },
    keepNote: (note) => notes.push(note),
    ...(begun === undefined
      ? {}
      : { begun: { memo: begun.memo, inHand: begun.inHand ? begin(begun.memo.begun) : null } }),
  });
  return {
    ...{ sequence, hands, made, awake, looks, notes },
    kept: () => kept,
    state: () => daemonStateSchema.parse(state),
  };
}

const memo = (more: Partial<SequenceMemo['slots']> = {}, begun = 1): SequenceMemo => ({
  slots: { nextIndex: begun, missed: 0, at: START, wallAheadMs: 0, ...more },
  ...{ passedOver: 0, begun, complete: 0, haltsInARow: 0 },
});

describe('a run on a schedule', () => {
  it('makes each set in its slot, and tells its time line', async () => {
    const { sequence, made, state } = play({ count: 3 });
    const end = await sequence.carryOut();
    expect(made).toEqual([
      { slot: 0, ordinal: 1, at: 0 },
      { slot: 1, ordinal: 2, at: EVERY },
      { slot: 2, ordinal: 3, at: 2 * EVERY },
    ]);
    expect(end).toEqual({
      state: 'complete',
      sentence: 'All 3 sets are complete.',
      error: null,
      early: false,
    });
    const { schedule, line } = state();
    expect(schedule).toMatchObject({ state: 'complete', begun: 3, complete: 3, missed: 0, next: null });
    expect(line.map(({ ordinal, slot, state: how }) => [ordinal, slot, how])).toEqual([
      [1, 0, 'complete'],
      [2, 1, 'complete'],
      [3, 2, 'complete'],
    ]);
  });

  it('a set that outlasts its slot: the next slot is skipped', async () => {
    const { sequence, made, state } = play({
      count: 4,
      set: (ordinal) => (ordinal === 1 ? { takes: 1.5 * EVERY } : {}),
    });
    const end = await sequence.carryOut();
    expect(made.map(({ slot, at }) => [slot, at])).toEqual([
      [0, 0],
      [2, 2 * EVERY],
      [3, 3 * EVERY],
    ]);
    expect(end.sentence).toBe('3 of 4 sets are complete. 1 slot passed without a set.');
    expect(state().schedule).toMatchObject({ begun: 3, complete: 3, missed: 1 });
  });

  it('or it follows on at once, and then keeps to the slots again', async () => {
    const { sequence, made } = play({
      ...{ count: 4, overrun: 'follow' },
      set: (ordinal) => (ordinal === 1 ? { takes: 1.5 * EVERY } : {}),
    });
    expect((await sequence.carryOut()).sentence).toBe('All 4 sets are complete.');
    expect(made.map(({ slot, at }) => [slot, at])).toEqual([
      [0, 0],
      [1, 1.5 * EVERY],
      [2, 2 * EVERY],
      [3, 3 * EVERY],
    ]);
  });

  it.each(['while it is looked at', 'before its set'] as const)(
    'a camera that comes back only when the next slot has begun (%s): one set in that slot, and none in the one before',
    async (when) => {
      const hands = new Hands();
      const { sequence, made, state } = play({
        ...{ count: 5, overrun: 'follow', hands },
        // Slot 1 is begun at the very end of its time, as after a restart.
        set: (ordinal) => (ordinal === 1 ? { takes: 1.9 * EVERY } : {}),
        looksFor: (slot) => (slot === 1 && when === 'before its set' ? 0.2 * EVERY : 0),
        watch: (setsToCome) => {
          if (setsToCome === 4 && when === 'while it is looked at') hands.at += 0.2 * EVERY;
          return FINE;
        },
      });
      const end = await sequence.carryOut();
      expect(made.map(({ slot, ordinal, at }) => [slot, ordinal, at])).toEqual([
        [0, 1, 0],
        [2, 2, 2.1 * EVERY],
        [3, 3, 3 * EVERY],
        [4, 4, 4 * EVERY],
      ]);
      expect(end.sentence).toBe('4 of 5 sets are complete. 1 slot passed without a set.');
      expect(state().line.map(({ slot }) => slot)).toEqual([0, 2, 3, 4]);
      expect(state().schedule).toMatchObject({ begun: 4, missed: 1 });
    },
  );

  it('a slot that its camera takes up to the next one is passed over, and the last one ends the run', async () => {
    const { sequence, made } = play({ count: 3, looksFor: (slot) => (slot === 1 ? 0 : EVERY) });
    expect((await sequence.carryOut()).sentence).toBe(
      '1 of 3 sets is complete. 2 slots passed without a set.',
    );
    expect(made).toEqual([{ slot: 1, ordinal: 1, at: EVERY }]);
  });

  it('a set that is planned while the next slot begins is the set of that one', async () => {
    const { sequence, state, kept } = play({
      ...{ count: 4, overrun: 'follow' },
      looksFor: (slot) => (slot === 1 ? EVERY - 1 : 0),
      plansFor: (slot) => (slot === 1 ? 2 : 0),
    });
    expect((await sequence.carryOut()).sentence).toBe(
      '3 of 4 sets are complete. 1 slot passed without a set.',
    );
    expect(state().line.map(({ slot, startedAt }) => [slot, Date.parse(startedAt) - START])).toEqual([
      [0, 0],
      [2, 2 * EVERY + 1],
      [3, 3 * EVERY],
    ]);
    expect(kept()?.slots).toMatchObject({ nextIndex: 4, missed: 1 });
  });

  it('a camera that takes longer than a slot each time costs slots, not all of them', async () => {
    const before = play({ ...{ count: 6, overrun: 'follow' }, looksFor: () => 1.2 * EVERY });
    expect((await before.sequence.carryOut()).sentence).toBe(
      '3 of 6 sets are complete. 3 slots passed without a set.',
    );
    expect(before.made.map(({ slot, at }) => [slot, at])).toEqual([
      [1, 1.2 * EVERY],
      [3, 3.2 * EVERY],
      [5, 5.2 * EVERY],
    ]);
    const hands = new Hands();
    const { sequence, made } = play({
      ...{ count: 6, overrun: 'follow', hands },
      watch: () => {
        hands.at += 1.2 * EVERY;
        return FINE;
      },
    });
    await sequence.carryOut();
    expect(made.map(({ slot }) => slot)).toEqual([2, 5]);
    for (const { slot, at } of made) expect(Math.floor(at / EVERY)).toBe(slot);
  });

  it('without a camera slots pass, it is said once, and the run goes on when it is back', async () => {
    const gone = new EvenrungError('no-body', 'No camera was found on USB.');
    const { sequence, made, notes } = play({ count: 6, refuse: (slot) => (slot < 4 ? gone : null) });
    const end = await sequence.carryOut();
    expect(made.map(({ slot }) => slot)).toEqual([4, 5]);
    expect(notes).toEqual([expect.stringMatching(/^No set was shot at .+: No camera was found on USB\.$/)]);
    expect(end).toMatchObject({ state: 'complete', error: 'no-body' });
    expect(end.sentence).toBe('2 of 6 sets are complete. 4 slots passed without a set.');
  });

  it('a set that halted does not end it; three in a row do', async () => {
    const once = play({ count: 4, set: (ordinal) => (ordinal === 2 ? HALTED : {}) });
    expect(await once.sequence.carryOut()).toEqual({
      ...{ state: 'complete', error: 'frame-missing', early: false },
      sentence: '3 of 4 sets are complete. 1 is not.',
    });
    const thrice = play({ count: 9, set: (ordinal) => (ordinal > 1 ? HALTED : {}) });
    const end = await thrice.sequence.carryOut();
    expect(thrice.made).toHaveLength(4);
    expect(end).toMatchObject({ state: 'halted', error: 'frame-missing', early: true });
    expect(end.sentence).toBe('Stopped, because 3 sets in a row failed. 1 of 9 sets is complete. 3 are not.');
  });

  it('also where none of them could be begun', async () => {
    const full = new EvenrungError('folder-not-writable', 'The folder cannot take sets.');
    const { sequence } = play({ count: 9, refuse: (slot) => (slot > 0 ? full : null) });
    const end = await sequence.carryOut();
    expect(end).toMatchObject({ state: 'halted', error: 'folder-not-writable' });
    expect(end.sentence).toContain('The folder cannot take sets.');
  });

  it('what runs low is said once; what is too low ends it before the next set', async () => {
    const battery = (mark: 'low' | 'too-low', percent: number) => ({
      ...FINE,
      battery: {
        mark,
        percent,
        framesLeft: null,
        setsLeft: null,
        sentence: `The battery is at ${percent} %.`,
      },
    });
    const { sequence, made, notes, state } = play({
      count: 9,
      watch: (toCome) =>
        toCome > 7 ? FINE : toCome > 5 ? battery('low', 10 + toCome) : battery('too-low', 9),
    });
    const end = await sequence.carryOut();
    expect(made).toHaveLength(4);
    expect(notes).toEqual(['The battery is at 17 %.']);
    expect(end).toMatchObject({ state: 'stopped', early: true, error: null });
    expect(end.sentence).toBe(
      "Ended before the next set; the camera's settings are as they were found. The battery is at 9 %. 4 of 9 sets are complete.",
    );
    expect(state().schedule).toMatchObject({ state: 'stopped', notes: ['The battery is at 17 %.'] });
  });

  it('is kept awake between the sets and looked at before each one, unless it may sleep', async () => {
    const { sequence, awake, looks } = play({ count: 2 });
    await sequence.carryOut();
    expect(looks).toEqual([0, EVERY - 10_000]);
    expect(awake).toEqual([50, 70, 90, 110, 130, 150, 170, 190, 210].map((second) => second * 1000));
    const sleeper = play({ count: 2, maySleep: true });
    await sleeper.sequence.carryOut();
    expect(sleeper.looks).toEqual([0, EVERY - 10_000]);
    expect(sleeper.awake).toEqual([]);
  });

  it('is stopped while it waits, at once; and in the middle of a set, with that set', async () => {
    const waiting = play({ count: 3, set: () => ({ takes: 1000 }) });
    const end = waiting.sequence.carryOut();
    waiting.sequence.stop();
    expect(await end).toMatchObject({ state: 'stopped', early: false });
    expect(waiting.made.length).toBeLessThan(3);
    const { sequence, made } = play({
      count: 3,
      set: () => ({ state: 'stopped', verified: 3 }),
      during: (of) => of.stop(),
    });
    expect((await sequence.carryOut()).sentence).toBe('Stopped. 0 of 3 sets are complete. 1 is not.');
    expect(made).toHaveLength(1);
  });

  it.each([-5 * 3600_000, 3600_000])('a clock that is set by %d ms moves nothing', async (by) => {
    const hands = new Hands();
    const { sequence, made } = play({
      ...{ count: 3, hands },
      during: (_, ordinal) => {
        if (ordinal === 1) hands.set = by;
      },
    });
    await sequence.carryOut();
    expect(made.map(({ at }) => at)).toEqual([0, EVERY, 2 * EVERY]);
  });

  it('keeps its slot in the same breath as the set begins: what fails there costs the slot, and is not made twice', async () => {
    let fails = true;
    const { sequence, made, kept } = play({ count: 3 });
    const { make } = (sequence as unknown as { options: { maker: SetMaker } }).options.maker;
    (sequence as unknown as { options: { maker: { make: SetMaker['make'] } } }).options.maker.make = async (
      asked,
    ) =>
      make({
        ...asked,
        keep: (journal) =>
          asked.keep((memoNow) => {
            if (fails && asked.slotNow() === 1) {
              fails = false;
              throw new EvenrungError('storing-failed', 'The journal takes nothing.');
            }
            journal(memoNow);
          }),
      });
    const end = await sequence.carryOut();
    expect(made.map(({ slot, ordinal }) => [slot, ordinal])).toEqual([
      [0, 1],
      [2, 2],
    ]);
    expect(end.sentence).toBe('2 of 3 sets are complete. 1 slot passed without a set.');
    expect(kept()).toMatchObject({ begun: 2, passedOver: 1, slots: { nextIndex: 3 } });
  });
});

describe('gone on with after a restart', () => {
  it('waits for the next slot; slots that passed meanwhile are counted, and none is made twice', async () => {
    const hands = new Hands();
    hands.at = 2.5 * EVERY;
    const { sequence, made } = play({
      count: 5,
      hands,
      begun: { memo: { ...memo(), complete: 1 }, inHand: false },
    });
    const end = await sequence.carryOut();
    expect(made.map(({ slot, ordinal, at }) => [slot, ordinal, at])).toEqual([
      [3, 2, 3 * EVERY],
      [4, 3, 4 * EVERY],
    ]);
    expect(end.sentence).toBe('3 of 5 sets are complete. 2 slots passed without a set.');
  });

  it('finishes the set in hand first', async () => {
    const hands = new Hands();
    hands.at = 0.5 * EVERY;
    const { sequence, made, state } = play({ count: 2, hands, begun: { memo: memo(), inHand: true } });
    expect((await sequence.carryOut()).sentence).toBe('Both sets are complete.');
    expect(made.map(({ slot, ordinal }) => [slot, ordinal])).toEqual([[1, 2]]);
    expect(state().line.map(({ set, state: how }) => [set, how])).toEqual([
      ['set-1', 'complete'],
      ['set-2', 'complete'],
    ]);
  });

  it('after its last slot it is over', async () => {
    const hands = new Hands();
    hands.at = 30 * EVERY;
    const { sequence, made } = play({
      count: 3,
      hands,
      begun: { memo: { ...memo(), complete: 1 }, inHand: false },
    });
    expect(await sequence.carryOut()).toMatchObject({
      state: 'complete',
      sentence: '1 of 3 sets is complete. 2 slots passed without a set.',
    });
    expect(made).toEqual([]);
  });
});
