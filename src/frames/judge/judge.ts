// Compares what a file recorded with the settings that were asked for. Pure.
import {
  APERTURE_SCALES,
  evInWords,
  fromEv,
  nearestSetting,
  parseShutter,
  SHUTTER_SCALES,
  type ShutterSetting,
  type Sixths,
  toEv,
} from '../../exposure/index.js';
import type { RecordedExposure } from '../read/recorded-exposure.js';

/** The exposure that was asked of a frame; null for each value that the body does not tell. */
export interface AskedExposure {
  readonly shutter: ShutterSetting;
  readonly fNumber: number | null;
  readonly iso: number | null;
}

export type Verdict =
  | { readonly right: true }
  /** One sentence a mismatch. */
  | { readonly right: false; readonly reasons: readonly string[] };

/** Bodies round what they record: 0.0008 s for 1/1250 s. Neighbouring settings are 9 % or more apart. */
const RELATIVE_TOLERANCE = 0.025;

export const close = (a: number, b: number): boolean => Math.abs(a / b - 1) <= RELATIVE_TOLERANCE;

/**
 * How late process, cable and shutter may be when a time is held, and how much files round (common practice,
 * no source): 2 % are 0.03 EV. Settings are 26 % apart there.
 */
const HELD_TOLERANCE = 0.02;
const HELD_TOLERANCE_SECONDS = 0.2;
/** Some bodies may write a long time in whole seconds (from memory). */
const ROUNDED_SECONDS = 0.5;
const ROUNDED_FROM_SECONDS = 10;

function isHeldTime(seconds: number, asked: number): boolean {
  const rounded = Number.isInteger(seconds) && asked >= ROUNDED_FROM_SECONDS ? ROUNDED_SECONDS : 0;
  return Math.abs(seconds - asked) <= Math.max(HELD_TOLERANCE_SECONDS, asked * HELD_TOLERANCE) + rounded;
}

/** Nominal times of a setting besides its label's own: 0.3 s and 1/3 s are one setting, as are 1.3 s and 13/10 s. */
function nominalSeconds(setting: ShutterSetting): number[] {
  const named = [...SHUTTER_SCALES.third, ...SHUTTER_SCALES.half].filter(({ tv }) => tv === setting.tv);
  const thirds = setting.tv === 10 ? [1 / 3] : [];
  return [setting.nominalSeconds, ...named.map((twin) => twin.nominalSeconds), ...thirds];
}

/**
 * Time, aperture and ISO are checked each by itself; a time is right when it is the nominal or the exact value of the
 * setting that was asked for, or, of a bulb exposure, close to the time that it was held for. A value that the body did not tell beforehand cannot be wrong; a time that is missing is.
 */
export function judge(
  recorded: Pick<RecordedExposure, 'exposureTime' | 'fNumber' | 'iso'>,
  asked: AskedExposure,
): Verdict {
  const reasons = [
    timeMismatch(recorded.exposureTime, asked.shutter),
    apertureMismatch(recorded.fNumber, asked.fNumber),
    isoMismatch(recorded.iso, asked.iso),
  ].filter((reason) => reason !== null);
  return reasons.length === 0 ? { right: true } : { right: false, reasons };
}

/** What was asked of a frame in aperture priority, where the body meters the base itself. */
export interface AskedOffset {
  readonly offset: Sixths;
  /** The compensation that was set for its pass. Some bodies record that alone, without the bracket's part. */
  readonly compensation: Sixths;
  /** EV between neighbouring frames of the set. */
  readonly step: Sixths;
  /** Tv in EV of the base, as the first verified frame showed it; null before there is one. */
  readonly baseTv: number | null;
  /** Tv in EV of the longest and of the shortest time that the body has; null if that is not known. */
  readonly longestTv: number | null;
  readonly shortestTv: number | null;
  readonly fNumber: number | null;
  readonly iso: number | null;
}

export type MeteredVerdict =
  | {
      readonly right: true;
      /** Tv in EV of the base that this frame implies. */
      readonly baseTv: number;
      /**
       * EV by which that differs from the base so far; + is more light let in. Null if it is less than a
       * sixth.
       */
      readonly moved: number | null;
    }
  | { readonly right: false; readonly reasons: readonly string[] };

/** Farther than this from the base of the first frame is said: the light moved. */
const MOVED_EV = 1 / 6 - 0.005;

/**
 * In aperture priority the time is the body's own choice. A frame is recognised by the bias that its file
 * records. If there is none, or the bracket's part is not in it, the time decides: it must be nearer to this
 * offset than to its neighbours.
 */
export function judgeMetered(
  recorded: Pick<RecordedExposure, 'exposureTime' | 'fNumber' | 'iso' | 'bias'>,
  asked: AskedOffset,
): MeteredVerdict {
  const tv = recordedTv(recorded.exposureTime);
  const reasons = [
    tv === null ? 'The file does not record its exposure time.' : null,
    apertureMismatch(recorded.fNumber, asked.fNumber),
    isoMismatch(recorded.iso, asked.iso),
  ].filter((reason) => reason !== null);
  if (tv === null || reasons.length > 0) return { right: false, reasons };
  const baseTv = tv + toEv(asked.offset);
  const moved = asked.baseTv === null ? 0 : asked.baseTv - baseTv;
  if (!isTold(recorded.bias, moved, asked)) {
    const said = recorded.bias === null ? '' : ` (it records ${evInWords(fromEv(recorded.bias))} EV)`;
    return { right: false, reasons: [`The file is not the frame at ${evInWords(asked.offset)} EV${said}.`] };
  }
  const isLongest = asked.longestTv !== null && tv <= asked.longestTv;
  const isShortest = asked.shortestTv !== null && tv >= asked.shortestTv;
  // At the end of its range the body may not have been free to choose: such a frame counts only if it agrees
  // with a base that other frames showed.
  const agrees = asked.baseTv !== null && Math.abs(moved) < MOVED_EV;
  if ((isLongest || isShortest) && !agrees) {
    const remedy = isLongest ? 'open up, or raise the ISO' : 'stop down, or lower the ISO';
    return {
      right: false,
      reasons: [
        `Its time is at the end of the camera's range, and the light may need a ${isLongest ? 'longer' : 'shorter'} one: ${remedy}.`,
      ],
    };
  }
  return { right: true, baseTv, moved: Math.abs(moved) >= MOVED_EV ? moved : null };
}

/** A third of an EV, cut or rounded to two decimals. */
export const SAME_BIAS_EV = 0.05;

function isTold(
  bias: number | null,
  moved: number,
  { offset, compensation, step, baseTv }: AskedOffset,
): boolean {
  const records = (ev: Sixths) => bias !== null && Math.abs(bias - toEv(ev)) <= SAME_BIAS_EV;
  if (records(offset)) return true;
  if (bias !== null && !records(compensation)) return false;
  return baseTv === null || Math.abs(moved) < toEv(step) / 2;
}

/**
 * @returns Tv in EV: of the setting whose nominal time this is, otherwise of the time itself; null if there
 *   is none
 */
export function recordedTv(seconds: number | null): number | null {
  if (seconds === null) return null;
  const nominal = [...SHUTTER_SCALES.third, ...SHUTTER_SCALES.half].find((setting) =>
    nominalSeconds(setting).some((time) => close(seconds, time)),
  );
  return nominal === undefined ? -Math.log2(seconds) : toEv(nominal.tv);
}

function timeMismatch(seconds: number | null, shutter: ShutterSetting): string | null {
  if (seconds === null) return 'The file does not record its exposure time.';
  if (shutter.bulb === true) {
    if (isHeldTime(seconds, shutter.seconds)) return null;
  } else if ([shutter.seconds, ...nominalSeconds(shutter)].some((right) => close(seconds, right)))
    return null;
  return `The time is ${shutterWords(seconds)}, but ${secondsWords(shutter.label)} was set.`;
}

function apertureMismatch(fNumber: number | null, asked: number | null): string | null {
  if (fNumber === null || asked === null) return null;
  const exact = [...APERTURE_SCALES.third, ...APERTURE_SCALES.half].filter(
    (setting) => setting.nominalFNumber === asked,
  );
  if ([asked, ...exact.map((setting) => setting.fNumber)].some((right) => close(fNumber, right))) return null;
  return `The aperture is f/${fNumber}, but f/${asked} was set.`;
}

function isoMismatch(iso: number | null, asked: number | null): string | null {
  if (iso === null || asked === null || close(iso, asked)) return null;
  return `The ISO is ${iso}, but ${asked} was set.`;
}

/** @returns the nominal label of a time if it has one, otherwise the number: `1/60 s` */
export function shutterWords(seconds: number): string {
  const nominal = nearestSetting(seconds, SHUTTER_SCALES.third);
  const plain = `${Number(seconds.toPrecision(3))} s`;
  return nominal !== undefined && close(seconds, nominal.nominalSeconds)
    ? secondsWords(nominal.label)
    : plain;
}

const secondsWords = (label: string): string =>
  parseShutter(label) === undefined || label.endsWith('s') ? label : `${label} s`;
