// Everything that a practice body can be: its settings, its timing, its abilities and faults, and the shapes
// that it comes in. In physical terms, as in model.ts.
import { NO_EV, ONE_EV, type Sixths, sixths, timesSixths } from '../../exposure/index.js';
import type { PictureSize } from './scene.js';
import type { View } from './view.js';

/** How the body says "bracket": the shapes of dialects A, B, C and D. */
export const PRACTICE_SHAPES = ['amount', 'pattern', 'drive-entry', 'none'] as const;
export type PracticeShape = (typeof PRACTICE_SHAPES)[number];

/** One auto-bracket as an entry of the drive: `each` fires a frame a press, `all` the whole bracket at one press. */
export interface DriveEntry {
  readonly press: 'each' | 'all';
  readonly step: Sixths;
  /** Frames in firing order, in steps from the centre. */
  readonly pattern: readonly number[];
}

/** `bulb`: the shutter stays open as long as the release is held. */
export type PracticeShutter = Sixths | 'bulb';

/** Where the files of a frame are kept: on the card, or in the body's memory until they are fetched. */
export type Place = 'memory' | 'card';

/** Everything on the body that can be set. A setting that a shape does not have keeps its first value. */
export interface PracticeState {
  mode: 'manual' | 'aperture';
  /** Tv in sixths. In aperture priority the body chooses, and this is ignored. */
  shutter: PracticeShutter;
  /** Av in sixths. */
  aperture: Sixths;
  iso: number;
  compensation: Sixths;
  /** Switches the bracket of the shape `pattern`; that of `amount` is on if the step is not 0. */
  bracket: 'off' | 'on';
  /**
   * What the bracket of the shape `pattern` changes: exposure, or white balance, which leaves the exposure
   * alone.
   */
  bracketOf: 'exposure' | 'white-balance';
  /** EV between the frames of the auto-bracket. */
  bracketStep: Sixths;
  /** Which of the option's patterns. */
  bracketPattern: number;
  /** The order in which the shape `pattern` fires: as in the option's patterns, or from dark to light. */
  bracketOrder: 'as-listed' | 'dark-first';
  /** `continuous`: frames follow each other while the release is held. */
  drive: 'single' | 'continuous' | DriveEntry;
  /** The most frames of one release over the wire with `continuous`, if the wire cannot hold the release. */
  burstNumber: number;
  /** Where a frame is kept in addition to being sent over the wire. */
  target: Place;
  whiteBalance: 'auto' | 'daylight';
  focus: 'manual' | 'single';
  /** Which files a frame becomes. */
  format: 'jpeg' | 'raw-and-jpeg' | 'raw';
  /** A dark frame after each exposure of a second and more, as long as the exposure itself. */
  noiseReduction: 'off' | 'on';
  /** With it, a release raises the mirror and brings nothing; the next one opens the shutter. */
  mirrorLock: 'off' | 'on';
}

export type Choices = { readonly [K in keyof PracticeState]: readonly PracticeState[K][] };

/** Seconds that the body takes, each in addition to the exposure itself. */
export interface PracticeTiming {
  readonly change: number;
  /** Additional seconds for every setting that it passes on its way to the new one; 0 if the body jumps. */
  readonly changePerSetting: number;
  /** From the release to the opening of the shutter; there is none between the frames of one release. */
  readonly releaseLag: number;
  /** From the closing of the shutter to the files being in the buffer, and the next frame; the rendering runs within it. */
  readonly cycle: number;
  /** From there to the files of the frame being on the card: one frame after the other. Left out, no time. */
  readonly write?: number;
  /** How long an exposure of one second takes: 1 as in life, 0 at once. */
  readonly exposureScale: number;
}

export const LIFELIKE: PracticeTiming = {
  change: 0.02,
  changePerSetting: 0,
  releaseLag: 0.06,
  cycle: 0.12,
  exposureScale: 1,
};
export const NO_TIME: PracticeTiming = {
  change: 0,
  changePerSetting: 0,
  releaseLag: 0,
  cycle: 0,
  exposureScale: 0,
};

export interface PracticeOptions {
  readonly shape: PracticeShape;
  readonly serial: string;
  /** The auto-brackets, each in firing order, in steps from the centre. The shape `amount` has the first one only. */
  readonly patterns: readonly (readonly number[])[];
  /** The steps that its bracket has, in sixths. */
  readonly steps: readonly Sixths[];
  /** Widest step at which the shape `drive-entry` has its brackets of more than five frames. */
  readonly widestLongBracket: Sixths;
  /** The shortest and the longest time of the shutter, as Tv in sixths. */
  readonly shortestTv: Sixths;
  readonly longestTv: Sixths;
  /** Whether setting the bracket, even to its present value, starts it at its first frame. */
  readonly restarts: boolean;
  /** Whether step and pattern of the shape `pattern` can be set while the bracket is on only. */
  readonly locksWhileOff: boolean;
  /** Whether the exposure bias in its files holds the bracket's part. */
  readonly recordsBracket: boolean;
  /**
   * How a bracket frame beyond the shutter range turns out: made with the time at the end of the range, or
   * not at all.
   */
  readonly beyondRange: 'clamped' | 'refused';
  /**
   * Whether frames stop following each other when the bracket is through; if not, it is gone through again
   * while the release is held.
   */
  readonly stopsAfterBracket: boolean;
  /** Whether a bracket that the drive fires at one press goes on to its end when the release is let go. */
  readonly bracketGoesOn: boolean;
  readonly timing: PracticeTiming;
  /** Which file of a pair is made, and told of, first. */
  readonly pairOrder: 'raw-first' | 'jpeg-first';
  /** Seconds by which the second file of a pair comes after the first. */
  readonly secondFileLater: number;
  /** Whether the shutter has `bulb`. */
  readonly bulb: boolean;
  /** Frames that it holds which are not on the card yet, or wait in its memory to be fetched. */
  readonly bufferFrames: number;
  /** Frames that the empty card has room for. */
  readonly cardFrames: number;
  /** Frames in one folder of the card. */
  readonly framesPerFolder: number;
  /** Seconds after a release in which it writes, and takes no other one. */
  readonly busyWhileWriting: number;
  /**
   * How a request for a file is answered while the shutter is open: the file is sent, sent once the shutter
   * is closed, or refused.
   */
  readonly whileExposing: 'sends' | 'waits' | 'refuses';
  /** Full, if nothing else is said. */
  readonly picture: PictureSize;
  /**
   * The view of the scene, and how it has moved: one view for every frame, or one for each, counted from 0.
   */
  readonly view: View | ((frame: number) => View);
  readonly now: () => Date;
}

/** A body that keeps nobody waiting, not for its pictures either. */
export const AT_ONCE = { timing: NO_TIME, picture: 'small' } as const satisfies Partial<PracticeOptions>;

export const evs = (count: number): Sixths => timesSixths(ONE_EV, count);
export const A_THIRD = sixths(2);
const upTo = (count: number, step: Sixths): Sixths[] =>
  Array.from({ length: count }, (_, index) => timesSixths(step, index + 1));

/** Two thirds and less, and whole EV. */
const COMMON_STEPS = [2, 4, 6, 12, 18].map(sixths);

const THREE_TO_NINE = [
  [0, -1, 1],
  [0, -2, -1, 1, 2],
  [0, -3, -2, -1, 1, 2, 3],
  [0, -4, -3, -2, -1, 1, 2, 3, 4],
];

/** The defaults of every shape. DCF has up to 9,999 numbers in a folder (CIPA DC-009, from memory). */
const EVERY_SHAPE = {
  restarts: true,
  locksWhileOff: false,
  recordsBracket: true,
  beyondRange: 'clamped',
  stopsAfterBracket: true,
  bracketGoesOn: false,
  pairOrder: 'raw-first',
  secondFileLater: 0,
  // 30 s.
  longestTv: evs(-5),
  bulb: true,
  bufferFrames: Number.POSITIVE_INFINITY,
  cardFrames: 20_000,
  framesPerFolder: 9999,
  busyWhileWriting: 0,
  whileExposing: 'sends',
} as const satisfies Partial<PracticeOptions>;

/**
 * The defaults of each shape in addition to those: invented bodies, each with its own counts, steps, order
 * and pace.
 */
export const SHAPES: Readonly<
  Record<PracticeShape, Omit<PracticeOptions, 'shape' | 'picture' | 'view' | 'now'>>
> = {
  amount: {
    ...EVERY_SHAPE,
    serial: 'PB-0001',
    patterns: [[0, -1, 1]],
    steps: upTo(9, A_THIRD),
    widestLongBracket: NO_EV,
    shortestTv: evs(13),
    timing: LIFELIKE,
  },
  pattern: {
    ...EVERY_SHAPE,
    serial: 'PB-0002',
    patterns: [[0, -1], [0, 1], [0, -2, -1], [0, 1, 2], ...THREE_TO_NINE],
    steps: COMMON_STEPS,
    widestLongBracket: evs(3),
    shortestTv: evs(13),
    timing: { ...LIFELIKE, change: 0.03, releaseLag: 0.05, cycle: 0.1 },
  },
  'drive-entry': {
    ...EVERY_SHAPE,
    serial: 'PB-0003',
    patterns: [
      [0, -1, 1],
      [0, -1, 1, -2, 2],
      [0, -1, 1, -2, 2, -3, 3, -4, 4],
    ],
    steps: COMMON_STEPS,
    widestLongBracket: ONE_EV,
    shortestTv: evs(12),
    timing: { ...LIFELIKE, change: 0.06, cycle: 0.09 },
  },
  none: {
    ...EVERY_SHAPE,
    serial: 'PB-0004',
    bulb: false,
    patterns: [],
    steps: [],
    widestLongBracket: NO_EV,
    shortestTv: evs(13),
    timing: { ...LIFELIKE, releaseLag: 0.08, cycle: 0.2 },
  },
};
