// Compares what a file recorded with the settings that were asked for. Pure.
import {
  APERTURE_SCALES,
  nearestSetting,
  parseShutter,
  SHUTTER_SCALES,
  type ShutterSetting,
} from '../exposure/index.js';
import type { RecordedExposure } from './recorded.js';

/** What a frame was asked to be; null where the body does not tell what it stands on. */
export interface AskedExposure {
  readonly shutter: ShutterSetting;
  readonly fNumber: number | null;
  readonly iso: number | null;
}

export type Verdict =
  | { readonly right: true }
  /** One sentence a mismatch. */
  | { readonly right: false; readonly reasons: readonly string[] };

/** Bodies round what they record: 0.0008 s for 1/1250 s. Neighbouring settings lie 9 % or more apart. */
const RELATIVE_TOLERANCE = 0.025;

const close = (a: number, b: number): boolean => Math.abs(a / b - 1) <= RELATIVE_TOLERANCE;

/** Nominal times of a setting besides its label's own: 0.3 s and 1/3 s are one setting, as are 1.3 s and 13/10 s. */
function nominalSeconds(setting: ShutterSetting): number[] {
  const named = [...SHUTTER_SCALES.third, ...SHUTTER_SCALES.half].filter(({ tv }) => tv === setting.tv);
  const thirds = setting.tv === 10 ? [1 / 3] : [];
  return [setting.nominalSeconds, ...named.map((twin) => twin.nominalSeconds), ...thirds];
}

/**
 * Time, aperture and ISO are checked each by itself; a time is right when it is the nominal or the exact value of the
 * setting that was asked for. A value that the body did not tell beforehand cannot be wrong; a time that is missing is.
 */
export function judge(recorded: RecordedExposure, asked: AskedExposure): Verdict {
  const reasons = [
    timeMismatch(recorded.exposureTime, asked.shutter),
    apertureMismatch(recorded.fNumber, asked.fNumber),
    isoMismatch(recorded.iso, asked.iso),
  ].filter((reason) => reason !== null);
  return reasons.length === 0 ? { right: true } : { right: false, reasons };
}

function timeMismatch(seconds: number | null, shutter: ShutterSetting): string | null {
  if (seconds === null) return 'The file does not tell its exposure time.';
  if ([shutter.seconds, ...nominalSeconds(shutter)].some((right) => close(seconds, right))) return null;
  return `The time is ${shutterWords(seconds)} where ${secondsWords(shutter.label)} was asked for.`;
}

function apertureMismatch(fNumber: number | null, asked: number | null): string | null {
  if (fNumber === null || asked === null) return null;
  const exact = [...APERTURE_SCALES.third, ...APERTURE_SCALES.half].filter(
    (setting) => setting.nominalFNumber === asked,
  );
  if ([asked, ...exact.map((setting) => setting.fNumber)].some((right) => close(fNumber, right))) return null;
  return `The aperture is f/${fNumber} where f/${asked} was asked for.`;
}

function isoMismatch(iso: number | null, asked: number | null): string | null {
  if (iso === null || asked === null || close(iso, asked)) return null;
  return `The ISO is ${iso} where ${asked} was asked for.`;
}

/** @returns the nominal label of a time where it has one, else the number: `1/60 s` */
function shutterWords(seconds: number): string {
  const nominal = nearestSetting(seconds, SHUTTER_SCALES.third);
  const plain = `${Number(seconds.toPrecision(3))} s`;
  return nominal !== undefined && close(seconds, nominal.nominalSeconds)
    ? secondsWords(nominal.label)
    : plain;
}

const secondsWords = (label: string): string =>
  parseShutter(label) === undefined || label.endsWith('s') ? label : `${label} s`;
