// What is decided of one file, in full: which frame it is, whose place it takes, what is owed, and what the next file is told of it. Sets
// as they were recorded are gone through in assign.test.ts.
import { describe, expect, it } from 'vitest';
import { NO_EV, sixths } from '../../shared/ev.js';
import { SHUTTER_SCALES, type ShutterSetting } from '../../src/exposure/index.js';
import {
  assign,
  type Came,
  type Decision,
  FROM_BEFORE,
  type FrameAtHand,
  type Known,
  NOTHING_SO_FAR,
  owedSinceIn,
  type Released,
  repeatedBy,
  type SoFar,
} from '../../src/set/assign/assign.js';

const setting = (label: string): ShutterSetting => {
  const found = SHUTTER_SCALES.third.find((one) => one.label === label);
  if (found === undefined) throw new Error(`There is no ${label}.`);
  return found;
};
const at = (seconds: number): string =>
  new Date(Date.UTC(2026, 10, 25, 16, 42, 0) + seconds * 1000).toISOString();
/** As a camera writes it whose clock is right. */
const taken = (seconds: number): string => {
  const date = new Date(at(seconds));
  return new Date(date.getTime() - date.getTimezoneOffset() * 60_000).toISOString().slice(0, 23);
};

/** Three frames 1 EV apart, 1/125 s, 1/60 s and 1/30 s; none of them fired. */
const frames = (...changes: Partial<FrameAtHand>[]): FrameAtHand[] =>
  ['1/125', '1/60', '1/30'].map((label, index) => ({
    ...{ number: index + 1, offset: sixths((index - 1) * 6), centre: NO_EV, shutter: setting(label) },
    ...{ state: 'planned', wasFired: false, isBracketed: true },
    ...changes[index],
  }));
const DONE = { state: 'verified', wasFired: true } as const;
const FIRED = { state: 'fired', wasFired: true } as const;

const known = (more: Partial<Known> = {}): Known => ({
  ...{ frames: frames(), strays: [], soFar: NOTHING_SO_FAR, clockDifference: 0, setStartedAt: at(0) },
  ...{ countsWaiting: false, knowsOrder: false },
  asked: { mode: 'manual', step: sixths(6), fNumber: 8, iso: 100, longestTv: -5, shortestTv: 13 },
  ...more,
});
/** The frame 2, singly, at 60 s. */
const release = (more: Partial<Released> = {}): Released => ({
  ...{ expects: [2], pass: [1, 2, 3], isSingle: true, firedAt: at(60) },
  ...more,
});
/** A file of 1/60 s, taken at 60.2 s. */
const came = (
  exposureTime: number,
  second = 60.2,
  more: Partial<NonNullable<Came['recorded']>> = {},
): Came => ({
  recorded: {
    ...{ exposureTime, fNumber: 8, iso: 100, bias: null, focalLength: 24, takenAt: taken(second) },
    ...more,
  },
  ...{ broken: null, digest: `${exposureTime} at ${second}`, storedAt: at(61) },
});
const NOTHING: Came = { recorded: null, broken: 'It is no picture.', digest: null, storedAt: at(61) };
const one = (file: Came, of: Partial<Known> = {}, by: Partial<Released> = {}) => {
  const { decisions, soFar, missing } = assign([file], release(by), known(of));
  return { decision: decisions[0] as Decision, soFar, missing };
};
const AS_FRAME = {
  ...{ is: 'frame', isExpected: true, isLate: false, baseMoved: null, before: null, perhapsEarlyMs: null },
  ...{ strayOf: null, displaced: null, anew: null },
};

describe('the file of the frame that was expected', () => {
  it('is taken in; the next one is told its time, and that the clock is counted from it', () => {
    const file = came(1 / 60);
    const { decision, soFar, missing } = one(file, { frames: frames({}, FIRED) });
    expect(decision).toEqual({ ...AS_FRAME, frame: 2, recorded: file.recorded });
    expect(missing).toEqual([]);
    expect(soFar).toEqual({
      ...NOTHING_SO_FAR,
      came: {
        last: { takenAt: taken(60.2), digest: file.digest },
        anchor: { takenAt: taken(60.2), exposureTime: 1 / 60, firedAt: at(60), storedAt: at(61) },
      },
      before: { number: 2, takenAt: taken(60.2) },
    });
  });

  it('that tells no time leaves what was known of times', () => {
    const before: SoFar = {
      ...NOTHING_SO_FAR,
      came: { last: { takenAt: taken(50), digest: null }, anchor: null },
      before: { number: 1, takenAt: taken(50) },
    };
    const { decision, soFar } = one(came(1 / 60, 0, { takenAt: null }), { soFar: before });
    expect(decision).toMatchObject({ is: 'frame', frame: 2, before: before.before });
    expect(soFar).toEqual(before);
  });

  it('ends that files come late', () => {
    const { soFar } = one(came(1 / 60), { soFar: { ...NOTHING_SO_FAR, comesLate: true } });
    expect(soFar.comesLate).toBe(false);
  });
});

describe('the files of one release of several', () => {
  it('may come in any order; the latest is what the next release is compared with', () => {
    const files = [came(1 / 30, 60.6), came(1 / 125, 60.9), came(1 / 60, 60.3)];
    const { decisions, soFar, missing } = assign(
      files,
      release({ expects: [2, 1, 3], isSingle: false }),
      known({ frames: frames(FIRED, FIRED, FIRED) }),
    );
    expect(decisions).toEqual(
      [3, 1, 2].map((frame, index) => ({ ...AS_FRAME, frame, recorded: files[index]?.recorded })),
    );
    expect(missing).toEqual([]);
    expect(soFar.before).toEqual({ number: 1, takenAt: taken(60.9) });
    expect(soFar.came.last?.takenAt).toBe(taken(60.9));
  });

  it('the first counts whatever its time is against the release before; of two at one time the later one', () => {
    const soFar = {
      ...NOTHING_SO_FAR,
      came: { last: { takenAt: taken(59), digest: 'x' }, anchor: null },
      before: { number: 9, takenAt: taken(9999) },
    };
    const files = [came(1 / 60, 60.3), { ...came(1 / 125, 60.3), digest: 'another' }];
    const whole = assign(files, release({ expects: [2, 1], isSingle: false }), known({ soFar }));
    expect(whole.decisions.map((decision) => decision.is === 'frame' && decision.before)).toEqual(
      Array(2).fill(soFar.before),
    );
    expect(whole.soFar.before).toEqual({ number: 1, takenAt: taken(60.3) });
    expect(whole.soFar.came.last?.digest).toBe('another');
  });

  it('that do not come are missing, in the order of firing; a turn for nothing is not', () => {
    const { missing } = assign(
      [came(1 / 60)],
      release({ expects: [2, 3, null, 1], isSingle: false }),
      known(),
    );
    expect(missing).toEqual([3, 1]);
    expect(assign([], release({ expects: [3, null, 2] }), known()).missing).toEqual([3, 2]);
  });

  it('that are none of them take the places of those that did not come, one each', () => {
    const { decisions, missing } = assign(
      [came(1 / 8), came(1 / 60, 60.4), came(1 / 4, 60.5)],
      release({ expects: [2, 1, 3], isSingle: false }),
      known({ frames: frames(FIRED, FIRED, FIRED) }),
    );
    expect(decisions.map(({ is, displaced }) => [is, displaced?.frame])).toEqual([
      ['no-frame', 1],
      ['frame', undefined],
      ['no-frame', 3],
    ]);
    expect(missing).toEqual([]);
  });

  it('a frame is made once: the same exposure once more is a repeat', () => {
    const { decisions } = assign(
      [came(1 / 60, 60.2), came(1 / 60, 60.4)],
      release({ expects: [2, null], isSingle: false }),
      known(),
    );
    expect(decisions[1]).toMatchObject({
      ...{
        is: 'no-frame',
        reason: 'A repeat of frame 2, which was good already.',
        frame: 2,
        displaced: null,
      },
      ...{ anew: null, strayOf: null },
    });
  });
});

describe('the last file so far', () => {
  it('is the one that came last, also if the clock of the camera was set back far before it', () => {
    const last = { takenAt: taken(60 + 1200), digest: 'x' };
    const { soFar } = one(came(1 / 60), { soFar: { ...NOTHING_SO_FAR, came: { last, anchor: null } } });
    expect(soFar.came.last?.takenAt).toBe(taken(60.2));
  });

  it('does not make the next ones late if it only repeats one of the same release', () => {
    const { decisions, soFar } = assign(
      [came(1 / 60, 60.2), came(1 / 60, 60.4)],
      release({ expects: [2, 3], isSingle: false }),
      known(),
    );
    expect(decisions.map(({ is }) => is)).toEqual(['frame', 'no-frame']);
    expect([decisions[1]?.displaced?.owed, soFar.comesLate]).toEqual([null, false]);
  });
});

describe('a file that is another one', () => {
  it('is the open frame of its pass that it records; the one that was expected loses its place', () => {
    const { decision, missing } = one(came(1 / 125));
    expect(decision).toMatchObject({
      ...{ is: 'frame', frame: 1, isExpected: false, isLate: false, strayOf: null, anew: null },
      displaced: { frame: 2, reason: 'Its file turned out to be frame 1.', owed: null },
    });
    expect(missing).toEqual([]);
  });

  it('is none of another pass that was never fired', () => {
    expect(one(came(1 / 125), {}, { pass: [2] }).decision).toMatchObject({
      is: 'no-frame',
      frame: 2,
      anew: expect.any(String),
    });
  });

  const REPEAT = 'The time is 1/125 s, but 1/60 s was set.';
  const INSTEAD = 'The file of an earlier frame came in its place.';

  it('that repeats one which is there already is set aside; fired singly, all is set again, and its own may still come', () => {
    const { decision, soFar } = one(came(1 / 125), { frames: frames(DONE) });
    expect(decision).toEqual({
      ...{ is: 'no-frame', recorded: came(1 / 125).recorded, strayOf: null, reason: REPEAT, frame: 2 },
      ...{ displaced: { frame: 2, reason: REPEAT, owed: INSTEAD }, anew: REPEAT },
    });
    expect(soFar.comesLate).toBe(true);
    expect(soFar.before).toEqual({ number: null, takenAt: taken(60.2) });
    // A picture that is being looked at is there, too.
    expect(one(came(1 / 125), { frames: frames({ state: 'stored', wasFired: true }) }).decision.is).toBe(
      'no-frame',
    );
    expect(one(came(1 / 125), { frames: frames({ state: 'rejected', wasFired: true }) }).decision.is).toBe(
      'frame',
    );
  });

  it('is owed by nobody where the body counts what waits in it', () => {
    const { decision } = one(came(1 / 125), { frames: frames(DONE), countsWaiting: true });
    expect(decision).toMatchObject({ displaced: { owed: null }, anew: REPEAT });
  });

  it('within a bracket it changes nothing of what is believed to be set; where there is none it does', () => {
    const inBracket = { isSingle: false };
    expect(one(came(1 / 125), { frames: frames(DONE) }, inBracket).decision).toMatchObject({
      ...{ is: 'no-frame', anew: null, displaced: { frame: 2, reason: REPEAT, owed: null } },
    });
    const alone = { isBracketed: false };
    const singly = frames({ ...DONE, ...alone }, alone, alone);
    expect(one(came(1 / 125), { frames: singly }, inBracket).decision).toMatchObject({ anew: REPEAT });
  });

  it('that is none of the set, nor late, is owed nothing', () => {
    const why = 'The time is 1/8 s, but 1/60 s was set.';
    expect(one(came(1 / 8)).decision).toMatchObject({
      ...{
        is: 'no-frame',
        reason: why,
        frame: 2,
        anew: why,
        displaced: { frame: 2, reason: why, owed: null },
      },
    });
    expect(one(came(1 / 8)).soFar.comesLate).toBe(false);
    // Nor where another frame was fired before.
    expect(one(came(1 / 8), { frames: frames(DONE) })).toMatchObject({
      ...{ decision: { displaced: { owed: null } }, soFar: { comesLate: false } },
    });
  });

  it('for a turn that was fired for nothing only came with its pass, or repeats a frame, or can be none', () => {
    const nothing = { expects: [null], isSingle: false };
    expect(one(came(1 / 8), {}, nothing).decision).toMatchObject({
      ...{
        is: 'no-frame',
        reason: 'Not needed: the frame came with its pass.',
        frame: null,
        displaced: null,
        anew: null,
      },
    });
    expect(one(came(1 / 60), { frames: frames({}, DONE) }, nothing).decision).toMatchObject({
      ...{ reason: 'A repeat of frame 2, which was good already.', frame: 2 },
    });
    // It is no release whose file was late: nobody expected one.
    expect(one(came(1 / 60), { frames: frames({}, DONE) }, nothing).soFar.comesLate).toBe(false);
    expect(one(NOTHING, {}, nothing).decision).toMatchObject({ reason: 'It is no picture.', recorded: null });
  });

  it('that records nothing is no frame, and says why', () => {
    expect(one(NOTHING).decision).toMatchObject({
      ...{ is: 'no-frame', reason: 'It is no picture.', frame: 2, anew: 'It is no picture.' },
    });
  });

  it('the words for one that repeats, by themselves', () => {
    const of = (broken: string | null, ...wrong: (string | null)[]) =>
      repeatedBy({ broken }, [{ number: 4 }, { number: 5 }], ({ number }) => wrong[number - 4] ?? null);
    expect(of(null, 'no', null)).toEqual({
      reason: 'A repeat of frame 5, which was good already.',
      frame: 5,
    });
    expect(of(null, 'no', 'no')).toEqual({
      reason: 'Not needed: the frame came with its pass.',
      frame: null,
    });
    expect(of('broken', null)).toEqual({ reason: 'broken', frame: 4 });
  });
});

describe('a file that comes late', () => {
  const strays = [{ frame: 1, releasedAt: at(30) }];
  const lost = frames({ state: 'rejected', wasFired: true });

  it('is the frame of its own release, which counted as owed; what was released now is owed instead', () => {
    const { decision, soFar } = one(came(1 / 125), { frames: lost, strays }, { expects: [3], pass: [3] });
    expect(decision).toMatchObject({
      ...{ is: 'frame', frame: 1, isExpected: false, isLate: true, strayOf: 1, anew: null },
      displaced: {
        ...{ frame: 3, reason: 'Its file turned out to be frame 1.' },
        owed: 'The file of an earlier frame came in its place.',
      },
    });
    expect(soFar.comesLate).toBe(true);
  });

  it('of which nothing was owed is late all the same', () => {
    const { decision } = one(came(1 / 125), { frames: lost }, { expects: [3], pass: [3] });
    expect(decision).toMatchObject({
      is: 'frame',
      frame: 1,
      isLate: true,
      strayOf: null,
      displaced: { owed: null },
    });
  });

  it('two of one release pay two of those that are owed', () => {
    const { decisions } = assign(
      [came(1 / 125, 60.2), came(1 / 60, 60.4)],
      release({ expects: [3], pass: [3] }),
      known({
        frames: frames({ state: 'rejected', wasFired: true }, { state: 'rejected', wasFired: true }, FIRED),
        strays: [{ frame: 2, releasedAt: at(31) }, ...strays],
      }),
    );
    expect(decisions.map(({ strayOf }) => strayOf)).toEqual([1, 2]);
  });
});

describe('a picture from before', () => {
  it('that waited when the set began comes first; what was released is owed, and the connection begins anew', () => {
    const file = came(1 / 60);
    const { decision, soFar, missing } = one(file, { soFar: { ...NOTHING_SO_FAR, waited: 2 } });
    expect(decision).toEqual({
      ...{ is: 'from-before', recorded: file.recorded, strayOf: null, anew: FROM_BEFORE },
      displaced: { frame: 2, reason: FROM_BEFORE, owed: FROM_BEFORE },
    });
    expect(missing).toEqual([]);
    expect(soFar).toMatchObject({ waited: 1, fromBefore: 1, comesLate: true, before: null });
    expect(soFar.came).toEqual({ last: { takenAt: taken(60.2), digest: file.digest }, anchor: null });
  });

  it('does not begin it anew where the body counts what waits; nobody loses a place where nothing was expected', () => {
    const waiting = { soFar: { ...NOTHING_SO_FAR, waited: 1 } };
    expect(one(came(1 / 60), { ...waiting, countsWaiting: true }).decision.anew).toBeNull();
    expect(one(came(1 / 60), waiting, { expects: [null] }).decision.displaced).toBeNull();
  });

  it('is told by its time, four times in a set; then it is the clock that is not believed', () => {
    const told = (fromBefore: number) => one(came(1 / 60, -30), { soFar: { ...NOTHING_SO_FAR, fromBefore } });
    expect(told(0).decision.is).toBe('from-before');
    expect(told(0).soFar).toMatchObject({ fromBefore: 1, comesLate: true, came: { anchor: null } });
    expect(told(3).decision.is).toBe('from-before');
    expect(told(4).decision).toMatchObject({ is: 'frame', frame: 2, perhapsEarlyMs: null });
    expect(told(4).soFar).toMatchObject({ fromBefore: 4, came: { anchor: { takenAt: taken(-30) } } });
  });

  it('may be one, counted from the file before: the frame says by how much, and a file that is none is owed for', () => {
    const anchor = { takenAt: taken(30.1), exposureTime: 1 / 60, firedAt: at(30), storedAt: at(31.1) };
    const unread = {
      clockDifference: null,
      soFar: { ...NOTHING_SO_FAR, came: { last: { takenAt: taken(30.1), digest: 'x' }, anchor } },
    };
    const early = one(came(1 / 60, 57.5), unread);
    expect(early.decision).toMatchObject({ is: 'frame', perhapsEarlyMs: expect.closeTo(2583, 0) });
    expect(one(came(1 / 8, 57.5), unread).decision).toMatchObject({
      displaced: { owed: 'Another picture came in its place, perhaps an earlier one.' },
    });
    // One that proves to be late is not doubtful.
    const late = one(came(1 / 125, 57.5), {
      ...unread,
      frames: frames({ state: 'rejected', wasFired: true }),
    });
    expect(late.decision).toMatchObject({ is: 'frame', frame: 1, isLate: true, perhapsEarlyMs: null });
  });
});

describe('aperture priority', () => {
  const asked = { ...known().asked, mode: 'aperture' as const };
  const metered = (exposureTime: number, bias: number | null, second = 60.2) =>
    came(exposureTime, second, { bias });
  const bracket = { isSingle: false };

  it('the first frame tells the base, and each after it how far that has moved', () => {
    const first = one(metered(1 / 60, 0), { asked });
    expect(first.decision).toMatchObject({ is: 'frame', frame: 2, baseMoved: null });
    expect(first.soFar).toMatchObject({ baseTv: 6, biases: [] });
    const moved = one(metered(1 / 30, 0), { asked, soFar: { ...NOTHING_SO_FAR, baseTv: 6 } });
    expect(moved.decision).toMatchObject({ is: 'frame', frame: 2, baseMoved: 1 });
    expect(moved.soFar.baseTv).toBe(6);
    expect(one(came(1 / 60)).soFar.baseTv).toBeNull();
    // What is no frame tells nothing.
    expect(one(metered(1 / 60, 3), { asked })).toMatchObject({
      decision: { is: 'no-frame' },
      soFar: { baseTv: null },
    });
  });

  it('two files of a bracket that record one bias cannot be told apart', () => {
    const soFar = { ...NOTHING_SO_FAR, biases: [0] };
    const twice = one(metered(1 / 60, 0), { asked, soFar }, bracket);
    expect(twice.decision).toEqual({
      ...{ is: 'untold', recorded: metered(1 / 60, 0).recorded, strayOf: null, displaced: null, anew: null },
    });
    expect(twice.missing).toEqual([2]);
    const lighter = { asked, soFar: { ...NOTHING_SO_FAR, biases: [1] } };
    expect(one(metered(1 / 30, 1), lighter, bracket).decision.is).toBe('untold');
    expect(one(metered(1 / 60, null), { asked }, bracket).soFar.biases).toEqual([]);
    expect(twice.soFar.biases).toEqual([0]);
    expect(one(metered(1 / 60, 0), { asked }, bracket).soFar.biases).toEqual([0]);
    expect(
      one(metered(1 / 60, 0), { asked, soFar: { ...soFar, biases: [1] } }, bracket).soFar.biases,
    ).toEqual([1, 0]);
  });

  it('unless the order is known, the frame is fired singly, no bias is recorded, or in manual mode', () => {
    const soFar = { ...NOTHING_SO_FAR, biases: [0] };
    expect(one(metered(1 / 60, 0), { asked, soFar, knowsOrder: true }, bracket).decision.is).toBe('frame');
    expect(one(metered(1 / 60, 0), { asked, soFar }).decision.is).toBe('frame');
    expect(one(metered(1 / 60, null), { asked, soFar }, bracket).decision.is).toBe('frame');
    expect(one(metered(1 / 60, 0), { soFar }, bracket).decision.is).toBe('frame');
    expect(one(NOTHING, { asked, soFar }, bracket).decision.is).toBe('no-frame');
  });
});

it('a frame that the set does not have is a defect', () => {
  expect(() => one(came(1 / 60), {}, { pass: [9] })).toThrow('The set has no frame 9.');
});

describe('since when a file may still come', () => {
  const strays = [40, 20, 30, -10].map((second) => ({ releasedAt: at(second) }));

  it('is since the first release of this set that brought none; since its beginning while files come late', () => {
    expect(owedSinceIn(strays, at(0), false)).toBe(at(20));
    expect(owedSinceIn(strays, at(20), false)).toBe(at(20));
    expect(owedSinceIn(strays, at(25), false)).toBe(at(30));
    expect(owedSinceIn(strays, at(50), false)).toBeNull();
    expect(owedSinceIn([], at(0), false)).toBeNull();
    expect(owedSinceIn([], at(0), true)).toBe(at(0));
  });
});
