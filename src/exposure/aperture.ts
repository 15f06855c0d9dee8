// Aperture scales: exact f-numbers as powers of the square root of two, nominal labels as lenses and bodies write them.
// Full stops as in Exif 2.32 (CIPA DC-008-2019), annex C; half and third stops are common practice, no source.
import { SIXTHS_PER_EV, type Sixths, sixths, timesSixths, toEv } from './ev.js';
import type { StopScale } from './shutter.js';

/** One position of an aperture scale. */
export interface ApertureSetting {
  /** The nominal f-number without the f: `5.6`. */
  readonly label: string;
  /** APEX aperture value, Av = 2 log2(N), in sixths: f/8 is 36. */
  readonly av: Sixths;
  /** The exact f-number, 2^(Av/2). */
  readonly fNumber: number;
  /** The f-number that the label says. */
  readonly nominalFNumber: number;
}

// Position by position from f/1 (Av 0) to f/32 (Av 10).
const THIRDS =
  '1 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22 25 29 32';
const HALVES = '1 1.2 1.4 1.7 2 2.4 2.8 3.3 4 4.8 5.6 6.7 8 9.5 11 13 16 19 22 27 32';

const scale = (labels: string, stepSize: Sixths): readonly ApertureSetting[] =>
  labels.split(' ').map((label, index) => {
    const av = timesSixths(stepSize, index);
    return { label, av, fNumber: 2 ** (toEv(av) / 2), nominalFNumber: Number(label) };
  });

const third = scale(THIRDS, sixths(2));

/** The nominal aperture scales, widest first. */
export const APERTURE_SCALES: Readonly<Record<StopScale, readonly ApertureSetting[]>> = {
  full: third.filter((setting) => setting.av % SIXTHS_PER_EV === 0),
  half: scale(HALVES, sixths(3)),
  third,
};

/** No label is longer; a longer text need not be read. */
const LONGEST_TEXT = 64;
/** Codes for "no lens" and the like come printed as f-numbers: 0xFFFF as `f/655.35`. */
const LARGEST_F_NUMBER = 500;

/**
 * @returns the f-number as written in `f/8`, `f8`, `F8.0`, `8`, or undefined if the text names none:
 *   `auto`, `f/0`
 */
export function parseAperture(text: string): number | undefined {
  if (text.length > LONGEST_TEXT) return undefined;
  const [, digits] = /^(?:f\s*\/?\s*)?(\d+(?:\.\d+)?)$/i.exec(text.trim()) ?? [];
  const fNumber = digits === undefined ? 0 : Number(digits);
  return fNumber > 0 && fNumber <= LARGEST_F_NUMBER ? fNumber : undefined;
}
