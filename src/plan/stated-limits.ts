// Body limits as a person states them if no body is asked: `--max-frames 3,5`, `--body-steps 1/3,1`,
// `30..1/8000`, `--in-one-go 9`.
import { EvenrungError } from '../../shared/errors.js';
import { shortened } from '../../shared/plain-words.js';
import { LARGEST_STEP, SMALLEST_STEP } from '../../shared/request.js';
import {
  type ApartTiming,
  type BodyLimits,
  nearestSetting,
  parseEv,
  parseShutter,
  SHUTTER_SCALES,
  type ShutterSetting,
  type Sixths,
  sixths,
} from '../exposure/index.js';

export interface StatedLimits {
  readonly maxFrames: string;
  readonly bodySteps: string;
  readonly compRange: string;
  readonly shutterRange: string;
  /** Frames that one release may fire; with more than 1 the body is on a link that takes release and fetch apart. */
  readonly inOneGo: string;
}

/** Bracket steps from 1/3 to 3 EV in thirds, at most three frames, 30 s to 1/8000 s, each frame a release. */
export const STATED_DEFAULTS: StatedLimits = {
  maxFrames: '3',
  bodySteps: '1/3,2/3,1,1 1/3,1 2/3,2,2 1/3,2 2/3,3',
  compRange: '3',
  shutterRange: '30..1/8000',
  inOneGo: '1',
};

// Times of an average body; from memory. For a body that is attached, they are reported or measured. The
// times of a frame with release and fetch apart add up to its time with both at once. A piece is as large and
// as quick as direct/ assumes: 8 MiB at 30 MB/s.
const SECONDS_PER_CHANGE = 0.3;
const SECONDS_PER_FRAME = 0.5;
const APART: Omit<ApartTiming, 'mostInOneGo'> = {
  secondsBeforeExposure: 0.05,
  secondsAfterExposure: 0.15,
  secondsPerTransfer: 0.3,
  secondsPerPiece: 0.28,
};
const MOST_IN_ONE_GO = 99;

/** @throws EvenrungError limits-contradict, unreadable-ev, unreadable-shutter */
export function limitsFromStated(stated: StatedLimits): BodyLimits {
  const steps = readSteps(stated.bodySteps);
  const counts = readCounts(stated.maxFrames);
  const mostInOneGo = readInOneGo(stated.inOneGo);
  const brackets = steps.flatMap((step) => counts.map((count) => ({ step, pattern: meteredFirst(count) })));
  const isApart = mostInOneGo > 1;
  return {
    shutters: readShutterRange(stated.shutterRange, steps),
    brackets: isApart
      ? [...brackets, ...brackets.map((shape) => ({ ...shape, isOneRelease: true }))]
      : brackets,
    compensation: { range: readRange(stated.compRange), grid: sixths(2) },
    longestSeconds: Number.POSITIVE_INFINITY,
    secondsPerChange: SECONDS_PER_CHANGE,
    secondsPerSetting: 0,
    secondsPerFrame: SECONDS_PER_FRAME,
    ...(isApart ? { apart: { ...APART, mostInOneGo } } : {}),
  };
}

/**
 * @param count of frames, odd numbers symmetric; with two the second is the brighter one
 * @returns the commonest firing order: the metered frame, then darker and brighter in turn (common practice, no source)
 */
export function meteredFirst(count: number): number[] {
  if (count === 2) return [0, 1];
  const pairs = Array.from({ length: (count - 1) / 2 }, (_, index) => [-index - 1, index + 1]);
  return [0, ...pairs.flat()];
}

function readCounts(written: string): number[] {
  return written
    .split(',')
    .map((part) => {
      const count = /^\s*\d{1,2}\s*$/.test(part) ? Number(part) : Number.NaN;
      if (![1, 2, 3, 5, 7, 9].includes(count)) {
        throw new EvenrungError(
          'limits-contradict',
          `--max-frames cannot be '${shortened(part.trim())}': give 1, 2, 3, 5, 7 or 9, or several with commas.`,
        );
      }
      return count;
    })
    .filter((count) => count > 1);
}

/** @returns frames that one release may fire */
export function readInOneGo(written: string): number {
  const frames = /^\s*\d{1,2}\s*$/.test(written) ? Number(written) : 0;
  if (frames >= 1) return frames;
  throw new EvenrungError(
    'limits-contradict',
    `--in-one-go cannot be '${shortened(written.trim())}': give 1 to ${MOST_IN_ONE_GO} frames.`,
  );
}

function readSteps(written: string): Sixths[] {
  return written.split(',').map((part) => {
    const step = parseEv(part);
    if (step === undefined)
      throw new EvenrungError(
        'unreadable-ev',
        `--body-steps cannot be '${shortened(part.trim())}': give EV such as 1, 1/2 or 2/3.`,
      );
    if (step < SMALLEST_STEP || step > LARGEST_STEP) {
      throw new EvenrungError(
        'limits-contradict',
        `--body-steps cannot be '${part.trim()}': give 1/3 to 3 EV.`,
      );
    }
    return step;
  });
}

function readRange(written: string): Sixths {
  const range = parseEv(written);
  if (range === undefined)
    throw new EvenrungError(
      'unreadable-ev',
      `--comp-range cannot be '${shortened(written)}': give EV such as 1, 1/2 or 2/3.`,
    );
  if (range < 0)
    throw new EvenrungError('limits-contradict', '--comp-range counts both ways: give it without a sign.');
  return range;
}

/**
 * Bodies set shutter and bracket on the same grid: halves if a half step was stated, thirds if any other was.
 */
function readShutterRange(written: string, steps: readonly Sixths[]): ShutterSetting[] {
  const isHalf = (step: Sixths) => step % 6 === 3;
  const scales = [
    ...(steps.some((step) => !isHalf(step)) ? SHUTTER_SCALES.third : []),
    ...(steps.some(isHalf) ? SHUTTER_SCALES.half : []),
  ];
  const all = [...new Map(scales.map((setting) => [setting.tv, setting])).values()].sort(
    (a, b) => a.tv - b.tv,
  );
  const [from, to, more] = written.split('..');
  if (from === undefined || to === undefined || more !== undefined) {
    throw new EvenrungError(
      'unreadable-shutter',
      `--shutter-range cannot be '${shortened(written)}': write it like 30..1/8000.`,
    );
  }
  const longest = readEnd(from, all);
  const shortest = readEnd(to, all);
  if (longest.tv > shortest.tv) {
    throw new EvenrungError(
      'limits-contradict',
      `--shutter-range ${written} runs the wrong way round: put the longest time first.`,
    );
  }
  return all.filter((setting) => setting.tv >= longest.tv && setting.tv <= shortest.tv);
}

function readEnd(written: string, settings: readonly ShutterSetting[]): ShutterSetting {
  const time = parseShutter(written);
  const setting = time?.kind === 'time' ? nearestSetting(time.seconds, settings) : undefined;
  if (setting === undefined)
    throw new EvenrungError(
      'unreadable-shutter',
      `--shutter-range cannot have the time '${shortened(written)}': write it like 1/60, 0.5 or 30.`,
    );
  return setting;
}
