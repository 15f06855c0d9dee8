// The table of faults: which fault can occur at which point on which body, what is expected there, and which
// cells show a known defect. It makes nothing fail itself.
import {
  BODIES,
  type BodyName,
  type Outcome,
  POINTS,
  type Point,
  runCell,
  type Seen,
  WAYS,
  type Way,
} from './cell.js';
import { FAULTS, type FaultKey } from './faults.js';

export interface Cell {
  readonly fault: FaultKey;
  readonly body: BodyName;
  readonly way: Way;
  /** A number means that frame, counted in the order of firing. */
  readonly point: Point | number;
}

interface Expected {
  readonly outcome: Outcome | 'not begun';
  readonly sentence: RegExp;
}

const AT_FRAMES: readonly Point[] = [
  'first frame of a pass',
  'middle frame of a pass',
  'last frame of a pass',
];

/** Faults in what a body does with a frame, so they occur only at a frame. */
const OF_A_FRAME: ReadonlySet<FaultKey> = new Set<FaultKey>([
  'cardFull',
  'cardLocked',
  'noFocusOnce',
  'noFocus',
  'missing',
  'late',
  'clamped',
  'twice',
  'fileShort',
  'diskFillsWithin',
  'diskFillsWithinShort',
  'killedAtFetch',
  'killedAtRest',
  'killedInBurst',
  'killedInPair',
  'threeOnCard',
  'busyWriting',
  'oneTooMany',
  'outOfOrder',
  'cardFills',
]);
/** Faults in a body's answer to a release; a whole pass has only one release. */
const OF_A_RELEASE: ReadonlySet<FaultKey> = new Set<FaultKey>([
  'cardFull',
  'cardLocked',
  'noFocusOnce',
  'noFocus',
]);
/** These begin with a pass, and go on over its frames. */
const OVER_FRAMES: ReadonlySet<FaultKey> = new Set<FaultKey>([
  'killedInBurst',
  'threeOnCard',
  'busyWriting',
  'cardFills',
]);
/** These lie between two calls that are a single one over the binding. */
const OF_THE_DIRECT_WAY: ReadonlySet<FaultKey> = new Set<FaultKey>([
  'killedAtFetch',
  'killedAtRest',
  'killedInBurst',
  'killedInPair',
  'threeOnCard',
  'oneTooMany',
  'outOfOrder',
]);
/** These need files that come in pieces. */
const OF_PIECES: ReadonlySet<FaultKey> = new Set<FaultKey>(['killedAtRest', 'threeOnCard']);
const BEFORE_A_RUN: ReadonlySet<FaultKey> = new Set<FaultKey>(['claimedAtFirst', 'notAllowedAtFirst']);
/** Faults that can hit the practice body, which lives in the camera process. */
const WITHOUT_A_CABLE: ReadonlySet<FaultKey> = new Set<FaultKey>([
  'killed',
  'crashed',
  'diskFull',
  'stateDiskFull',
]);
const TELLS_PERCENT: ReadonlySet<BodyName> = new Set<BodyName>(['pattern', 'drive-entry']);

/** @returns why there is no such cell; null if there is one */
export function whyLeftOut(fault: FaultKey, point: Point, body: BodyName, way: Way): string | null {
  if (way === 'pass' && body === 'standard') return 'a body without a bracket has no pass from one release';
  if (way === 'pass' && body === 'practice') return 'passes from one release are tried on the virtual bodies';
  if (BEFORE_A_RUN.has(fault) && way === 'pass')
    return 'before a run it is no matter what a release is going to fire';
  if (body === 'practice' && !WITHOUT_A_CABLE.has(fault))
    return 'the practice body is reached without a cable and without containers';
  if (body === 'standard' && (point.startsWith('middle') || point.startsWith('last')))
    return 'a pass of a body without a bracket is one frame, which is its first';
  if (OF_A_FRAME.has(fault) && !AT_FRAMES.includes(point))
    return 'it happens to a frame, and none is fired here';
  if (BEFORE_A_RUN.has(fault) && point !== 'before the first frame') return 'no run begins';
  if (way === 'binding' && OF_THE_DIRECT_WAY.has(fault))
    return 'it lies between release and fetch, which are one call over the binding';
  if (OF_PIECES.has(fault) && body === 'drive-entry')
    return 'a body of vendor extension 0x11 sends its files whole, with the event that tells of them';
  if (fault === 'killedInBurst' && way !== 'pass') return 'a frame a release has no second file';
  if (OVER_FRAMES.has(fault) && point !== 'first frame of a pass')
    return 'it begins with a pass and goes on over its frames';
  if (way === 'pass' && OF_A_RELEASE.has(fault) && !point.startsWith('first'))
    return 'it happens to a release, which a whole pass has one of';
  if (fault === 'outOfStep' && body === 'standard') return 'a body without a bracket is never out of step';
  if (fault === 'outOfStep' && point !== 'first frame of a pass')
    return 'a bracket that starts in the middle shows from the first frame of its pass on';
  if (fault === 'otherSettings' && point === 'putting back')
    return 'what somebody changes after the last frame is theirs, and stays';
  if (fault === 'flat' && !TELLS_PERCENT.has(body))
    return 'this virtual body shows no level in percent; without one it is a body that is switched off';
  return null;
}

export const CELLS: readonly Cell[] = (Object.keys(FAULTS) as FaultKey[]).flatMap((fault) =>
  WAYS.flatMap((way) =>
    BODIES.flatMap((body) =>
      POINTS.filter((point) => whyLeftOut(fault, point, body, way) === null).map((point) => ({
        ...{ fault, body, way, point },
      })),
    ),
  ),
);

/** Each of the nine frames, in firing order, once with the camera process killed and once with the cable pulled. */
export const EVERY_FRAME: readonly Cell[] = (['killed', 'pulled'] as const).flatMap((fault) =>
  (['binding', 'direct'] as const).flatMap((way) =>
    Array.from({ length: 9 }, (_, index) => ({ fault, body: 'amount' as const, way, point: index + 1 })),
  ),
);

const WHOLE = /^All 9 frames are verified\.$/;
const HALTED = 'Failed after \\d of 9 frames\\. ';

const NOT_STORED =
  /The frame was taken, but could not be stored in .*: the disk is full\. It may still be on the card\./;

/**
 * Over the direct way, the next frame may be about to be fired before the rest of a file turns out not to
 * fit: there is no room for that frame, either.
 */
const NOT_STORED_DIRECTLY = new RegExp(
  `(?:${NOT_STORED.source}|Nothing can be stored in .*: the disk is full\\.)`,
);

const HALTS: Partial<Record<FaultKey, RegExp>> = {
  off: /(?:No camera was found on USB\. Switch it on|The camera no longer answers\. Check the cable)/,
  flat: /battery/,
  claimed: /Another program holds the camera.* eject the camera there, then try again\./,
  cardFull: /card.*(?:full|room)/,
  cardFills: /card.*(?:full|room)/,
  cardLocked: /card.*(?:full|write-protected|locked)/,
  noFocus: /Frame \d .*Set the lens to manual focus/,
  offDiskFull: /(?:No camera was found on USB\. Switch it on|The camera no longer answers\. Check the cable)/,
  otherSerial: /A different camera answers: .*Connect the one from before/,
  stateDiskFull:
    /What happens cannot be kept in the journal .*: (?:the disk is full|it is read-only)\. .*then fire again\./,
  diskFillsWithin: NOT_STORED,
  diskFillsWithinShort: NOT_STORED,
  diskFull: /(?:disk|folder).*(?:full|cannot be written|takes no files|permission)/,
};

/** The body plays no part in these: it takes its settings back at once. */
const NOT_THE_BODYS: ReadonlySet<FaultKey> = new Set<FaultKey>(['diskFillsWithin', 'diskFillsWithinShort']);

const REFUSED: Partial<Record<FaultKey, RegExp>> = {
  claimedAtFirst: /^Another program holds the camera.* eject the camera there/,
  notAllowedAtFirst: /^The camera is there, but cannot be opened\. .*udev rule/,
};

const OF_A_DISK: ReadonlySet<FaultKey> = new Set<FaultKey>(['diskFull', 'stateDiskFull']);

export function expectedOf({ fault, point, way }: Cell): Expected {
  const refused = REFUSED[fault];
  if (refused !== undefined) return { outcome: 'not begun', sentence: refused };
  const why = NOT_THE_BODYS.has(fault) && way !== 'binding' ? NOT_STORED_DIRECTLY : HALTS[fault];
  if (why === undefined) return { outcome: 'goes on', sentence: WHOLE };
  // By then all frames are here, and room for the record has been kept: the sentence adds what could not be
  // written. The last pictures are still being looked at; if their results are not kept yet when the
  // journal's disk fills up, that is said.
  if (point === 'putting back' && fault === 'stateDiskFull')
    return {
      outcome: 'goes on',
      sentence: /^All 9 frames are verified\.(?: What happens cannot be kept in the journal .*)?$/,
    };
  if (point === 'putting back' && OF_A_DISK.has(fault)) return { outcome: 'goes on', sentence: WHOLE };
  if (point === 'putting back')
    return { outcome: 'goes on', sentence: new RegExp(`^All 9 frames are verified\\. .*${why.source}`) };
  return { outcome: 'halts', sentence: new RegExp(`^${HALTED}.*${why.source}`) };
}

/** A defect that exists: the cells that show it, and what is seen in each of them. */
interface Known {
  readonly defect: string;
  readonly shows: (cell: Cell) => boolean;
  readonly seen: RegExp;
}

/** None at present. */
export const KNOWN: readonly Known[] = [];

/** Faults that are over at once: the time until the next frame is armed is the daemon's own. */
const OVER_AT_ONCE: ReadonlySet<FaultKey> = new Set<FaultKey>(['killed', 'crashed', 'pulled']);
export const ARMED_AGAIN_WITHIN_MS = 3000;

/** @returns milliseconds from the return of the body until the next frame is armed, the shortest first */
export const armedAgain = (judged: readonly Judged[]): number[] =>
  judged
    .filter(({ fault }) => OVER_AT_ONCE.has(fault))
    .flatMap(({ seen: { armedAgainMs } }) => (armedAgainMs === null ? [] : [armedAgainMs]))
    .sort((a, b) => a - b);

export interface Judged extends Cell {
  readonly seen: Seen;
  readonly expected: Expected;
  /** Whatever did not come out as expected; empty for a cell that is right. */
  readonly wrong: readonly string[];
  /** The known defects that it shows. */
  readonly known: readonly string[];
  /** Whether the cell is as it has to be at present: right, or wrong in the known way. */
  readonly isAsListed: boolean;
}

/** Far more than any cell takes: a cell that is still running waits for something that never comes. */
const GIVE_UP_MS = 180_000;

/** @throws Error if a cell does not end */
async function orGiveUp<T>(cell: Promise<T>): Promise<T> {
  let timer: NodeJS.Timeout | undefined;
  const never = new Promise<never>((_, reject) => {
    timer = setTimeout(() => reject(new Error('The cell does not end.')), GIVE_UP_MS);
  });
  try {
    return await Promise.race([cell, never]);
  } finally {
    clearTimeout(timer);
  }
}

/**
 * These spoil a file or a frame so that one more release is needed, or make the shutter take another exposure
 * than the one asked for.
 */
const TAKES_MORE: ReadonlySet<FaultKey> = new Set<FaultKey>(['clamped', 'outOfStep', 'fileShort']);

/**
 * A frame whose file is on the card is not fired again, so each frame that the shutter made is a verified
 * one.
 */
function firedAgain({ fault, way, body }: Cell, { made, verified, outcome }: Seen): string[] {
  // Over the binding nothing is fetched from the card, and a body of vendor extension 0x11 does not show its
  // card.
  const isFetchedLater = way !== 'binding' && body !== 'drive-entry' && !TAKES_MORE.has(fault);
  if (made === null || !isFetchedLater || outcome !== 'goes on' || made === verified) return [];
  return [`${made} frames were made, and ${verified} are verified: what is on the card was fired again.`];
}

export async function judgeCell(cell: Cell): Promise<Judged> {
  const expected = expectedOf(cell);
  const seen = await orGiveUp(runCell(cell.body, cell.way, FAULTS[cell.fault], cell.point));
  const wrong = [...seen.wrong];
  if (seen.outcome !== expected.outcome)
    wrong.push(`Expected is '${expected.outcome}', seen was '${seen.outcome}'.`);
  if (!expected.sentence.test(seen.sentence)) wrong.push(`It says: ${seen.sentence}`);
  if (seen.owes && HALTS[cell.fault] === undefined) wrong.push('Something was not put back.');
  if (NOT_THE_BODYS.has(cell.fault))
    wrong.push(...seen.puttingBackAgain.map((why) => `Settings were not put back at once: ${why}`));
  wrong.push(...firedAgain(cell, seen));
  const known = KNOWN.filter(({ shows }) => shows(cell));
  const isSeen = ({ seen: pattern }: Known) => wrong.some((one) => pattern.test(one));
  const isListed = (one: string) => known.some(({ seen: pattern }) => pattern.test(one));
  return {
    ...cell,
    seen,
    expected,
    wrong,
    known: known.map(({ defect }) => defect),
    isAsListed: known.every(isSeen) && wrong.every(isListed),
  };
}

export const inWords: Readonly<Record<Way, string>> = {
  binding: 'over the binding',
  direct: 'directly',
  pass: 'directly, passes from one release',
};

export const nameOf = ({ fault, body, way, point }: Cell): string =>
  `${FAULTS[fault].name}, ${typeof point === 'number' ? `frame ${point} fired` : point}, ${body}, ${inWords[way]}`;

const WIDTH = 13;

/**
 * A table for each way, with a row for each fault and point.
 * @param said one word for a cell; null if there is no such cell
 */
export function tables(
  faults: readonly FaultKey[],
  said: (cell: Cell & { readonly point: Point }) => string | null,
): string {
  const inColumns = (words: readonly string[]) => words.map((word) => word.padEnd(WIDTH)).join('');
  return WAYS.map((way) => {
    const bodies = BODIES.filter((body) => CELLS.some((cell) => cell.body === body && cell.way === way));
    const head = `${'fault'.padEnd(34)}${'point'.padEnd(25)}${inColumns(bodies)}`;
    const rows = faults.flatMap((fault) =>
      POINTS.flatMap((point) => {
        const words = bodies.map((body) => said({ fault, body, way, point }));
        if (words.every((word) => word === null)) return [];
        return [
          `${FAULTS[fault].name.padEnd(34)}${point.padEnd(25)}${inColumns(words.map((word) => word ?? '-'))}`,
        ];
      }),
    );
    return [`${inWords[way]}:`, head, ...rows].join('\n');
  }).join('\n\n');
}

/** The expectation for each cell; `-` if there is no such cell. */
export const expectations = (): string =>
  tables(Object.keys(FAULTS) as FaultKey[], (cell) =>
    whyLeftOut(cell.fault, cell.point, cell.body, cell.way) === null ? expectedOf(cell).outcome : null,
  );

/** A table with two columns for every body; rows are fault and point. */
export function printed(judged: readonly Judged[]): string {
  const lines = judged.map(
    ({ fault, point, body, way, seen, isAsListed, known }) =>
      `${FAULTS[fault].name.padEnd(33)} ${String(typeof point === 'number' ? `frame ${point} fired` : point).padEnd(23)} ${body.padEnd(12)} ${way.padEnd(8)} ${seen.outcome.padEnd(9)} ${seen.seconds.toFixed(1).padStart(5)} s  ${isAsListed ? (known.length === 0 ? 'as expected' : 'known defect') : 'WRONG'}`,
  );
  const head = `${'fault'.padEnd(33)} ${'point'.padEnd(23)} ${'body'.padEnd(12)} ${'way'.padEnd(8)} outcome      time`;
  return [head, ...lines].join('\n');
}

/**
 * Works through cells, a few at a time, since most of a cell is waiting.
 * @returns a promise for each cell
 */
export function inLanes<T>(
  lanes: number,
  cells: readonly Cell[],
  work: (cell: Cell) => Promise<T>,
): Promise<T>[] {
  const free: (() => void)[] = [];
  let busy = 0;
  return cells.map(async (cell) => {
    if (busy >= lanes) await new Promise<void>((resolve) => free.push(resolve));
    else busy += 1;
    try {
      return await work(cell);
    } finally {
      const next = free.shift();
      if (next === undefined) busy -= 1;
      else next();
    }
  });
}

/**
 * Seconds that a cell takes on an idle computer, if that is not the usual time: these wait for a body that
 * never comes.
 */
const SLOW: Partial<Record<FaultKey, number>> = {
  off: 14,
  offDiskFull: 14,
  otherSerial: 14,
  flat: 14,
  claimed: 14,
  hang: 9,
  late: 8,
  stateDiskFull: 7,
  missing: 7,
  busyWriting: 14,
};
/** The same over the direct way, which waits longer for a file that does not come. */
const SLOW_DIRECTLY: Partial<Record<FaultKey, number>> = { missing: 25, outOfOrder: 25 };
const USUAL_SECONDS = 4;
const costOf = ({ fault, way }: Cell): number =>
  (way === 'binding' ? undefined : SLOW_DIRECTLY[fault]) ?? SLOW[fault] ?? USUAL_SECONDS;

/** The same numbers for the same seed (mulberry32), from 0 up to, but not including, 1. */
export function numbers(seed: number): () => number {
  let state = seed;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

/**
 * @param seconds the time that the selection may take in all lanes together
 * @returns three frames of nine for each fault that is tried at every frame, then one cell of each fault,
 *   then others
 */
export function selection(seed: number, seconds: number): Cell[] {
  const random = numbers(seed);
  const shuffled = (cells: readonly Cell[]) =>
    cells
      .map((cell) => ({ cell, at: random() }))
      .sort((a, b) => a.at - b.at)
      .map(({ cell }) => cell);
  const three = (['killed', 'pulled'] as const).flatMap((fault) =>
    shuffled(EVERY_FRAME.filter((cell) => cell.fault === fault)).slice(0, 3),
  );
  const all = shuffled(CELLS);
  const ofEach = all.filter((cell, index) => all.findIndex(({ fault }) => fault === cell.fault) === index);
  // First the slow faults that tell most; of the others the quick ones first, so that as many faults as
  // possible are tried.
  const patient = ofEach.filter(({ fault }) => ['off', 'hang', 'missing', 'late'].includes(fault));
  const quick = ofEach.filter((cell) => !patient.includes(cell)).sort((a, b) => costOf(a) - costOf(b));
  const others = all.filter((cell) => !ofEach.includes(cell));
  const chosen: Cell[] = [...three];
  let left = seconds - three.reduce((sum, cell) => sum + costOf(cell), 0);
  for (const cell of [...patient, ...quick, ...others]) {
    if (costOf(cell) > left) continue;
    left -= costOf(cell);
    chosen.push(cell);
  }
  // The longest first, so that no lane is left with a long cell at the end.
  return chosen.sort((a, b) => costOf(b) - costOf(a));
}
