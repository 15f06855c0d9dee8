// Which file is which frame: recorded sets are fed to it release by release, once with one file at a time and once with all that a bracket
// brings, and both have to come to the same. The files were recorded from the practice body (recorded-sets.json): an invented scene.
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { ONE_EV } from '../../shared/ev.js';
import { SHUTTER_SCALES, type ShutterSetting, sixths } from '../../src/exposure/index.js';
import {
  type Assigned,
  assign,
  type Came,
  type Decision,
  FROM_BEFORE,
  type FrameAtHand,
  type Known,
  NOTHING_SO_FAR,
  owedSinceIn,
  type Released,
  type SoFar,
} from '../../src/set/assign/assign.js';

interface RecordedSet {
  readonly mode: 'manual' | 'aperture';
  readonly passes: readonly {
    readonly centre: number;
    readonly isBracketed: boolean;
    readonly turns: readonly { readonly offset: number; readonly shutter: string }[];
  }[];
  readonly files: readonly (Omit<Came, 'broken'> & { readonly firedAt: string })[];
}

const SETS = JSON.parse(readFileSync(new URL('./recorded-sets.json', import.meta.url), 'utf8')) as Record<
  string,
  RecordedSet
>;

type File = Came & { readonly firedAt: string };

const setting = (label: string): ShutterSetting => {
  const found = SHUTTER_SCALES.third.find((one) => one.label === label);
  if (found === undefined) throw new Error(`There is no shutter ${label}.`);
  return found;
};

/** The frames of a recorded set, the darkest first, none of them fired. */
function framesOf({ passes }: RecordedSet): FrameAtHand[] {
  return passes
    .flatMap(({ centre, isBracketed, turns }) => turns.map((turn) => ({ ...turn, centre, isBracketed })))
    .sort((a, b) => a.offset - b.offset)
    .map(({ offset, shutter, centre, isBracketed }, index) => ({
      ...{ number: index + 1, offset: sixths(offset), centre: sixths(centre), isBracketed },
      ...{ shutter: setting(shutter), state: 'planned', wasFired: false },
    }));
}

type Rhythm = 'file by file' | 'all of a pass at once';
const RHYTHMS: readonly Rhythm[] = ['file by file', 'all of a pass at once'];

interface Went {
  /** The frame of each file by its digest; null if it is none. */
  readonly frameOf: Record<string, number | null>;
  readonly decisions: readonly Decision[];
  readonly open: readonly number[];
  readonly strays: readonly number[];
  readonly soFar: SoFar;
}

interface More {
  readonly clockDifference?: number | null;
  readonly countsWaiting?: boolean;
  readonly knowsOrder?: boolean;
  readonly waited?: number;
}

/** As Book.apply does it. */
function after(
  frames: FrameAtHand[],
  strays: { frame: number; releasedAt: string }[],
  decision: Decision,
  firedAt: string,
) {
  const become = (number: number, state: FrameAtHand['state']) => {
    const at = frames.findIndex((frame) => frame.number === number);
    const frame = frames[at];
    if (frame !== undefined) frames[at] = { ...frame, state, wasFired: true };
  };
  if (decision.strayOf !== null) {
    const at = strays.findIndex(({ frame }) => frame === decision.strayOf);
    expect(at).toBeGreaterThanOrEqual(0);
    strays.splice(at, 1);
  }
  if (decision.displaced !== null) {
    become(decision.displaced.frame, 'rejected');
    if (decision.displaced.owed !== null)
      strays.push({ frame: decision.displaced.frame, releasedAt: firedAt });
  }
  // It is verified before the next release: no picture is cut short here.
  if (decision.is === 'frame') become(decision.frame, 'verified');
}

/**
 * @param came the files that come with each pass, null where a turn brings none
 * @returns what became of the files when all passes are through
 */
function through(
  set: RecordedSet,
  came: readonly (readonly (File | null)[])[],
  rhythm: Rhythm,
  { clockDifference = 0, countsWaiting = false, knowsOrder = false, waited = 0 }: More = {},
): Went {
  const frames = framesOf(set);
  const strays: { frame: number; releasedAt: string }[] = [];
  const frameOf: Record<string, number | null> = {};
  const decided: Decision[] = [];
  let soFar: SoFar = { ...NOTHING_SO_FAR, waited };
  const first = set.files[0]?.firedAt ?? '';
  const known = (): Known => ({
    ...{ frames: [...frames], strays: [...strays], soFar, clockDifference, setStartedAt: first },
    ...{ countsWaiting, knowsOrder },
    asked: { mode: set.mode, step: sixths(6), fNumber: 8, iso: 100, longestTv: -5, shortestTv: 13 },
  });
  const isOpen = ({ state }: FrameAtHand) => state !== 'verified';
  for (const [index, { turns }] of set.passes.entries()) {
    const own = turns.map(({ offset }) => frames.find((frame) => frame.offset === offset)?.number ?? 0);
    const files = came[index] ?? [];
    soFar = { ...soFar, biases: [] };
    const releases =
      rhythm === 'file by file'
        ? own.map((number, turn) => ({ numbers: [number], files: [files[turn] ?? null] }))
        : [{ numbers: own, files }];
    for (const { numbers, files: brought } of releases) {
      const expects = numbers.map((number) =>
        frames.some((frame) => frame.number === number && isOpen(frame)) ? number : null,
      );
      const there = brought.filter((file) => file !== null);
      const firedAt = there[0]?.firedAt ?? first;
      for (const number of expects) {
        const at = frames.findIndex((frame) => frame.number === number);
        const frame = frames[at];
        if (frame !== undefined) frames[at] = { ...frame, state: 'fired', wasFired: true };
      }
      const { decisions, missing, ...now } = assign(
        there,
        { expects, pass: own, isSingle: false, firedAt },
        known(),
      );
      expect(decisions).toHaveLength(there.length);
      soFar = now.soFar;
      for (const [turn, decision] of decisions.entries()) {
        after(frames, strays, decision, firedAt);
        frameOf[there[turn]?.digest ?? ''] = decision.is === 'frame' ? decision.frame : null;
        decided.push(decision);
      }
      for (const number of missing) {
        const at = frames.findIndex((frame) => frame.number === number);
        frames[at] = { ...(frames[at] as FrameAtHand), state: 'rejected' };
        strays.push({ frame: number, releasedAt: firedAt });
      }
    }
  }
  const open = frames.filter(isOpen).map(({ number }) => number);
  return { frameOf, decisions: decided, open, strays: strays.map(({ frame }) => frame), soFar };
}

/** The files of a recorded set, pass by pass. */
function passesOf(set: RecordedSet): File[][] {
  const files = set.files.map((file) => ({ ...file, broken: null }));
  return set.passes.map(({ turns }) => files.splice(0, turns.length));
}

/** The frame that each file really is, by what the practice body was set to when it made it. */
function truth(set: RecordedSet): Record<string, number | null> {
  const frames = framesOf(set);
  return Object.fromEntries(
    set.files.map((file) => {
      const tv = -Math.log2(file.recorded?.exposureTime ?? 1);
      const nearest = frames.reduce((best, frame) =>
        Math.abs(frame.shutter.tv / 6 - tv) < Math.abs(best.shutter.tv / 6 - tv) ? frame : best,
      );
      const byBias = frames.find((frame) => frame.offset === Math.round((file.recorded?.bias ?? 0) * 6));
      return [file.digest ?? '', (set.mode === 'manual' ? nearest : byBias)?.number ?? null];
    }),
  );
}

const named = (name: string): RecordedSet => {
  const set = SETS[name];
  if (set === undefined) throw new Error(`There is no recorded set '${name}'.`);
  return set;
};
const PLANNED = named('in the planned order');
const APERTURE = named('in aperture priority, while the light moves');

describe.each(RHYTHMS)('%s', (rhythm) => {
  it.each(Object.keys(SETS))('a set %s: every file is its frame', (name) => {
    const set = named(name);
    const { frameOf, open, strays, decisions } = through(set, passesOf(set), rhythm);
    expect(frameOf).toEqual(truth(set));
    expect(open).toEqual([]);
    expect(strays).toEqual([]);
    expect(decisions.every(({ anew }) => anew === null)).toBe(true);
  });

  it('a file that never comes leaves its frame open and owed, and the others are what they are', () => {
    const passes: (File | null)[][] = passesOf(PLANNED);
    const second = passes[1] as (File | null)[];
    const [lost] = second.splice(1, 1, null);
    const { frameOf, open, strays } = through(PLANNED, passes, rhythm);
    const { [lost?.digest ?? '']: number, ...others } = truth(PLANNED);
    expect(frameOf).toEqual(others);
    expect([open, strays]).toEqual([[number], [number]]);
  });

  it('a file of a wrong exposure is no frame; whose place it took says what is wrong', () => {
    const passes = passesOf(PLANNED);
    const [, second] = passes;
    const file = second?.[1] as File;
    second?.splice(1, 1, {
      ...file,
      recorded: { ...(file.recorded as NonNullable<File['recorded']>), iso: 400 },
    });
    const { frameOf, open, decisions, strays } = through(PLANNED, passes, rhythm);
    const number = truth(PLANNED)[file.digest ?? ''];
    expect(frameOf).toEqual({ ...truth(PLANNED), [file.digest ?? '']: null });
    expect([open, strays]).toEqual([[number], []]);
    expect(decisions.filter(({ is }) => is === 'no-frame')).toMatchObject([
      {
        reason: 'The ISO is 400, but 100 was set.',
        frame: number,
        displaced: { frame: number, reason: 'The ISO is 400, but 100 was set.', owed: null },
      },
    ]);
  });

  it('a file that comes with the next pass is taken in late, and what it took the place of is owed', () => {
    const passes = passesOf(PLANNED);
    const [first = [], second = []] = passes;
    const late = first.pop() as File;
    const last = second.pop() as File;
    const { frameOf, open, strays, decisions } = through(
      PLANNED,
      [[...first], [late, ...second], passes[2] ?? []],
      rhythm,
    );
    const { [last.digest ?? '']: number, ...others } = truth(PLANNED);
    expect(frameOf).toEqual(others);
    expect([open, strays]).toEqual([[number], [number]]);
    // File by file the whole pass is late from then on; at once, only that file is.
    expect(decisions.find((one) => one.is === 'frame' && one.isLate)).toMatchObject({
      frame: others[late.digest ?? ''],
      strayOf: others[late.digest ?? ''],
      isExpected: false,
    });
  });

  it('a picture that waited since before the set is set aside, and what was released instead is owed', () => {
    const passes = passesOf(PLANNED);
    const [first = []] = passes;
    const last = first.pop() as File;
    const at = '2026-11-25T16:30:00.000';
    const recorded = { ...(last.recorded as NonNullable<File['recorded']>), takenAt: at as never };
    const waiting = { ...last, digest: 'waiting', recorded, firedAt: first[0]?.firedAt ?? '' };
    const { frameOf, open, strays, decisions } = through(
      PLANNED,
      [[waiting, ...first], ...passes.slice(1)],
      rhythm,
      {
        waited: 1,
      },
    );
    const { [last.digest ?? '']: number, ...others } = truth(PLANNED);
    expect(frameOf).toEqual({ ...others, waiting: null });
    expect([open, strays]).toEqual([[number], [number]]);
    expect(decisions[0]).toMatchObject({ is: 'from-before', anew: FROM_BEFORE });
  });

  it('a file that comes twice is once a frame', () => {
    const passes = passesOf(PLANNED);
    const [, second = []] = passes;
    const [one, two] = second as [File, File, File];
    const third = (second as File[]).pop() as File;
    const again = { ...one, digest: 'again', storedAt: two.storedAt, firedAt: two.firedAt };
    const { frameOf, open } = through(PLANNED, [passes[0] ?? [], [one, again, two], passes[2] ?? []], rhythm);
    const { [third.digest ?? '']: number, ...others } = truth(PLANNED);
    expect(frameOf).toEqual({ ...others, again: null });
    expect(open).toEqual([number]);
  });

  it('in aperture priority the first frame says the base, and a moved one is told', () => {
    const { decisions, soFar } = through(APERTURE, passesOf(APERTURE), rhythm);
    const moved = decisions.flatMap((one) =>
      one.is === 'frame' && one.baseMoved !== null ? [one.baseMoved] : [],
    );
    // The light changed by 2/3 EV at the fifth of nine files.
    expect(moved).toHaveLength(5);
    for (const ev of moved) expect(Math.abs(ev)).toBeCloseTo(2 / 3, 6);
    expect(soFar.baseTv).not.toBeNull();
  });

  it('in aperture priority two equal biases in one bracket tell nothing, unless the order was learnt', () => {
    const passes = passesOf(APERTURE).map((pass) =>
      pass.map((file) => ({
        ...file,
        recorded: { ...(file.recorded as NonNullable<File['recorded']>), bias: 0 },
      })),
    );
    expect(through(APERTURE, passes, rhythm).decisions.some(({ is }) => is === 'untold')).toBe(true);
    expect(
      through(APERTURE, passes, rhythm, { knowsOrder: true }).decisions.some(({ is }) => is === 'untold'),
    ).toBe(false);
  });
});

describe('both rhythms agree', () => {
  it.each(Object.keys(SETS))('on every order of the files of a pass: %s', (name) => {
    const set = named(name);
    // Without parts of a second nothing can be told from the order in which they were taken.
    for (const order of orders(set.passes[0]?.turns.length ?? 1)) {
      const passes = passesOf(set).map((pass) => order.flatMap((at) => pass[at] ?? []).map(withoutTime));
      const [one, other] = RHYTHMS.map((rhythm) => through(set, passes, rhythm));
      expect(one?.frameOf).toEqual(other?.frameOf);
      expect(one?.open).toEqual(other?.open);
      expect(one?.open).toEqual([]);
    }
  });
});

const withoutTime = (file: File): File => ({
  ...file,
  recorded: file.recorded === null ? null : { ...file.recorded, takenAt: null },
});

/** All orders of a few files; of many, some: each rotated, and turned round. */
function orders(length: number): number[][] {
  const all = Array.from({ length }, (_, at) => at);
  if (length > 4)
    return all.flatMap((by) => {
      const turned = [...all.slice(by), ...all.slice(0, by)];
      return [turned, [...turned].reverse()];
    });
  return all.reduce<number[][]>(
    (some, next) =>
      some.flatMap((order) =>
        Array.from({ length: order.length + 1 }, (_, at) => [
          ...order.slice(0, at),
          next,
          ...order.slice(at),
        ]),
      ),
    [[]],
  );
}

/** Nine frames one by one, the darkest first; of the file of any of them, what it records. */
describe('one release at a time', () => {
  const set = named('frame by frame');
  const files = passesOf(set).flat();
  const fileOf = (number: number): File => {
    const file = files.find(({ digest }) => truth(set)[digest ?? ''] === number);
    if (file === undefined) throw new Error(`There is no file of frame ${number}.`);
    return file;
  };
  const states = (given: Record<number, FrameAtHand['state']>): FrameAtHand[] =>
    framesOf(set).map((frame) => {
      const state = given[frame.number] ?? 'planned';
      return { ...frame, state, wasFired: state !== 'planned' };
    });
  const known = (frames: FrameAtHand[], more: Partial<Known> = {}): Known => ({
    ...{ frames, strays: [], soFar: NOTHING_SO_FAR, clockDifference: 0, countsWaiting: false },
    ...{ setStartedAt: files[0]?.firedAt ?? '', knowsOrder: false },
    asked: { mode: 'manual', step: ONE_EV, fNumber: 8, iso: 100, longestTv: null, shortestTv: null },
    ...more,
  });
  const release = (number: number | null, firedAt: string, isSingle = true): Released => ({
    ...{ expects: [number], pass: number === null ? [] : [number], isSingle, firedAt },
  });
  const first = (result: Assigned): Decision => {
    const [decision] = result.decisions;
    if (decision === undefined) throw new Error('Nothing was decided.');
    return decision;
  };

  it('a turn that is fired for nothing: its file is a repeat of what is there, or not needed', () => {
    const file = fileOf(3);
    const there = known(states({ 3: 'verified' }));
    const turn: Released = { expects: [null], pass: [3, 4], isSingle: false, firedAt: file.firedAt };
    expect(first(assign([file], turn, there))).toMatchObject({
      ...{ is: 'no-frame', reason: 'A repeat of frame 3, which was good already.', frame: 3 },
      ...{ displaced: null, anew: null },
    });
    expect(first(assign([fileOf(7)], turn, there))).toMatchObject({
      ...{ is: 'no-frame', reason: 'Not needed: the frame came with its pass.', frame: null },
    });
    const broken = { ...file, recorded: null, broken: 'It is no picture.' };
    expect(first(assign([broken], turn, there))).toMatchObject({
      is: 'no-frame',
      reason: 'It is no picture.',
    });
  });

  it('a wrong single frame: the connection begins anew, and nothing is owed', () => {
    const file = fileOf(3);
    const wrong = { ...file, recorded: { ...(file.recorded as NonNullable<File['recorded']>), iso: 400 } };
    const { decisions, missing, soFar } = assign(
      [wrong],
      release(3, file.firedAt),
      known(states({ 3: 'fired' })),
    );
    expect(decisions).toMatchObject([
      {
        ...{ is: 'no-frame', frame: 3, strayOf: null, anew: 'The ISO is 400, but 100 was set.' },
        displaced: { frame: 3, owed: null },
      },
    ]);
    expect(missing).toEqual([]);
    expect(soFar.comesLate).toBe(false);
  });

  it('a repeat of an earlier frame in place of a single one: its own file may still come, unless the body counts what waits', () => {
    const file = { ...fileOf(2), firedAt: fileOf(3).firedAt };
    const frames = states({ 2: 'verified', 3: 'fired' });
    const asTold = first(assign([file], release(3, file.firedAt), known(frames)));
    expect(asTold).toMatchObject({
      is: 'no-frame',
      displaced: { frame: 3, owed: 'The file of an earlier frame came in its place.' },
    });
    expect(asTold.anew).not.toBeNull();
    const counted = assign([file], release(3, file.firedAt), known(frames, { countsWaiting: true }));
    expect(first(counted).displaced?.owed).toBeNull();
    expect(counted.soFar.comesLate).toBe(true);
  });

  it('within a bracket a wrong frame proves nothing of the settings: the connection stays', () => {
    const file = fileOf(3);
    const wrong = { ...file, recorded: { ...(file.recorded as NonNullable<File['recorded']>), iso: 400 } };
    const frames = states({ 3: 'fired' }).map((frame) => ({ ...frame, isBracketed: true }));
    const decision = first(assign([wrong], release(3, file.firedAt, false), known(frames)));
    expect([decision.is, decision.anew]).toEqual(['no-frame', null]);
  });

  it('a late file takes the stray of its own frame away, and no other', () => {
    const file = { ...fileOf(2), firedAt: fileOf(4).firedAt };
    const strays = [5, 2, 3].map((frame) => ({ frame, releasedAt: file.firedAt }));
    const frames = states({ 2: 'rejected', 3: 'rejected', 4: 'fired', 5: 'rejected' });
    const { decisions, soFar } = assign([file], release(4, file.firedAt), known(frames, { strays }));
    expect(decisions).toMatchObject([
      {
        ...{ is: 'frame', frame: 2, isLate: true, isExpected: false, strayOf: 2, perhapsEarlyMs: null },
        displaced: {
          ...{ frame: 4, reason: 'Its file turned out to be frame 2.' },
          owed: 'The file of an earlier frame came in its place.',
        },
      },
    ]);
    expect(soFar.comesLate).toBe(true);
  });

  it('the frame itself ends the lateness', () => {
    const file = fileOf(3);
    const soFar = { ...NOTHING_SO_FAR, comesLate: true };
    const result = assign([file], release(3, file.firedAt), known(states({ 3: 'fired' }), { soFar }));
    expect(first(result)).toMatchObject({ is: 'frame', frame: 3, isExpected: true, isLate: false });
    expect(result.soFar.comesLate).toBe(false);
    expect(result.soFar.before).toEqual({ number: 3, takenAt: file.recorded?.takenAt });
  });

  it('what waited comes first, as many as were told; then each is judged by its time', () => {
    const soFar = { ...NOTHING_SO_FAR, waited: 1 };
    const file = fileOf(3);
    const one = assign(
      [file],
      release(3, file.firedAt),
      known(states({ 3: 'fired' }), { soFar, countsWaiting: true }),
    );
    expect(first(one)).toMatchObject({
      ...{ is: 'from-before', anew: null, displaced: { frame: 3, reason: FROM_BEFORE, owed: FROM_BEFORE } },
    });
    expect(one.soFar).toMatchObject({ waited: 0, fromBefore: 1, comesLate: true });
    const two = assign(
      [file],
      release(3, file.firedAt),
      known(states({ 3: 'fired' }), { soFar: { ...one.soFar, came: soFar.came } }),
    );
    expect(first(two)).toMatchObject({ is: 'frame', frame: 3 });
    expect(two.soFar).toMatchObject({ waited: 0, fromBefore: 1 });
  });

  it('the same file once more is from before; of more than four, the clock is not believed', () => {
    const file = fileOf(3);
    const { soFar } = assign([file], release(3, file.firedAt), known(states({ 3: 'fired' })));
    const again = (fromBefore: number) =>
      first(
        assign(
          [file],
          release(4, file.firedAt),
          known(states({ 3: 'verified', 4: 'fired' }), { soFar: { ...soFar, fromBefore } }),
        ),
      ).is;
    expect([0, 3].map(again)).toEqual(['from-before', 'from-before']);
    expect(again(4)).toBe('no-frame');
  });

  it('without a clock, a file that may be older than its release is taken, and said to be doubtful', () => {
    const earlier = fileOf(2);
    const { soFar } = assign(
      [earlier],
      release(2, earlier.firedAt),
      known(states({ 2: 'fired' }), { clockDifference: null }),
    );
    expect(soFar.came.anchor).toMatchObject({ firedAt: earlier.firedAt, storedAt: earlier.storedAt });
    const file = fileOf(3);
    // By its own time it was taken 2 s after the one before; it was released 4 s after that.
    const firedAt = new Date(Date.parse(earlier.firedAt) + 6000).toISOString();
    const storedAt = new Date(Date.parse(firedAt) + 1000).toISOString();
    const result = assign(
      [{ ...file, storedAt }],
      release(3, firedAt),
      known(states({ 2: 'verified', 3: 'fired' }), { soFar, clockDifference: null }),
    );
    const decision = first(result);
    expect(decision.is).toBe('frame');
    expect(decision.is === 'frame' ? decision.perhapsEarlyMs : null).toBeGreaterThan(3000);
  });

  it('since when a file is owed: the first release of this set that brought none; all of the set while files come late', () => {
    const strays = ['10', '12', '08'].map((minute) => ({ releasedAt: `2026-11-25T16:${minute}:00.000Z` }));
    const set = '2026-11-25T16:09:00.000Z';
    expect(owedSinceIn(strays, set, false)).toBe('2026-11-25T16:10:00.000Z');
    expect(owedSinceIn(strays, set, true)).toBe(set);
    expect(owedSinceIn([], set, false)).toBeNull();
    expect(owedSinceIn(strays, '2026-11-25T16:12:00.000Z', false)).toBe('2026-11-25T16:12:00.000Z');
  });

  it('of a burst, each file has its turn: one of an earlier release in place of the second makes the next ones late', () => {
    const [own, late] = [fileOf(3), { ...fileOf(2), firedAt: fileOf(3).firedAt }];
    const frames = states({ 2: 'rejected', 3: 'fired', 4: 'fired' });
    const both: Released = { expects: [3, 4], pass: [3, 4], isSingle: false, firedAt: own.firedAt };
    const { decisions, soFar } = assign([own, late], both, known(frames));
    expect(decisions.map((one) => [one.is, one.displaced?.frame ?? null])).toEqual([
      ['frame', null],
      ['frame', 4],
    ]);
    expect(soFar.comesLate).toBe(true);
  });

  it('of a burst that brings all of its own, one from before costs nothing; a turn for nothing begins anew', () => {
    const file = fileOf(3);
    const old = { ...file, digest: 'old' };
    const soFar = { ...NOTHING_SO_FAR, waited: 1 };
    const turns = (expects: (number | null)[]): Released => ({
      ...{ expects, pass: [3], isSingle: false, firedAt: file.firedAt },
    });
    const fired = known(states({ 3: 'fired' }), { soFar });
    const anew = (files: readonly File[], expects: (number | null)[]) =>
      assign(files, turns(expects), fired).decisions[0]?.anew;
    expect(anew([old, file], [3])).toBeNull();
    expect(anew([old, file], [3, null])).toBeNull();
    expect(anew([old], [null])).toBe(FROM_BEFORE);
    expect(anew([old], [3])).toBe(FROM_BEFORE);
  });

  it('of a burst, only the first file was taken right after the release', () => {
    const [one, two] = [fileOf(3), fileOf(4)];
    const both: Released = { expects: [3, 4], pass: [3, 4], isSingle: false, firedAt: one.firedAt };
    const anchor = (files: readonly File[]) =>
      assign(files, both, known(states({ 3: 'fired', 4: 'fired' }))).soFar.came.anchor;
    expect(anchor([one])).toMatchObject({ firedAt: one.firedAt, storedAt: one.storedAt });
    expect(anchor([one, two])).toMatchObject({ firedAt: null, storedAt: two.storedAt });
  });

  it('two files that come late in one burst take a stray away each', () => {
    const files = [fileOf(2), fileOf(5)];
    const firedAt = fileOf(6).firedAt;
    const strays = [2, 5].map((frame) => ({ frame, releasedAt: firedAt }));
    const frames = states({ 2: 'rejected', 5: 'rejected', 6: 'fired', 7: 'fired' });
    const both: Released = { expects: [6, 7], pass: [6, 7], isSingle: false, firedAt };
    const { decisions } = assign(files, both, known(frames, { strays }));
    expect(decisions.map(({ strayOf }) => strayOf)).toEqual([2, 5]);
  });

  it('a frame that the set has not is a defect', () => {
    const file = fileOf(3);
    expect(() => assign([file], release(99, file.firedAt), known(states({})))).toThrow(/no frame 99/);
  });
});
