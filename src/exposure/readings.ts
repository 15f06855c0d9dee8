// Spot readings: which shutter time puts the metered part on middle grey, and how few frames hold two of them. Pure.
//
// A reading puts its part on middle grey, so a frame's room is not the same above and below: up to where it clips, down to where detail
// drowns.
//
// Above, by ISO 12232: a digital still camera of speed S is metered to a mean exposure of H = 10 / S lux seconds. The
// saturation-based speed 78 / H has its clipping point at 78 / S, so a raw file clips 7.8 times above, log2(7.8) = 2.96 EV. By the
// standard output sensitivity the same 10 / S comes out at level 118 of 255 in an sRGB picture, which is 0.181 of white in linear light
// (IEC 61966-2-1), so a JPEG clips log2(1 / 0.181) = 2.46 EV above. (The constants of ISO 12232 and the curve of sRGB from memory.)
// A meter with K = 12.5 cd/m2 gives the sensor about 8.1 / S instead of 10 / S (H = q L t / N^2 with q = 0.65, ISO 12232, from memory),
// some 0.3 EV more room; that is not counted, and covers the rounding to sixths.
//
// Below, from noise: ISO 12232 calls a signal of 10 times its noise the first acceptable one (from memory). A sensor that holds 30000
// electrons at ISO 100 (a usual size; from memory) has 30000 / 7.8 = 3846 at middle grey; with 3 electrons of read noise 10 times the noise is
// 108 electrons, the root of e^2 = 100 (e + 9), so detail drowns log2(3846 / 108) = 5.15 EV below. Each doubling of ISO halves the light, and
// takes one EV of that. No more than 4 EV are counted in a raw file, because stray light in the lens fills the deepest shadows of scenes like
// these, and no more than 3 in a JPEG, whose curve presses them together (both common practice, no source).
import type { FileKind, Reading } from '../../shared/reading.js';
import { linearOf } from '../../shared/srgb.js';
import { apertureValue, exposureValueOfLuminance, speedValue } from './apex.js';
import { fromEv, minusSixths, plusSixths, type Sixths, toEv } from './ev.js';
import { nearestSetting, SHUTTER_SCALES, timeAt } from './shutter.js';

/** How far middle grey lies from clipping in a frame, and from where detail drowns; both above 0. */
export interface Room {
  readonly above: Sixths;
  readonly below: Sixths;
}

/** Clipping over metered mean in a raw file: 78 / S over 10 / S (ISO 12232). */
export const RAW_CLIPS_AT = 7.8;
/** Level of the metered mean in an sRGB picture, of 255 (ISO 12232, standard output sensitivity). */
export const GREY_LEVEL = 118;

/** EV from middle grey up to clipping. */
export const EV_ABOVE: Readonly<Record<FileKind, number>> = {
  raw: Math.log2(RAW_CLIPS_AT),
  jpeg: -Math.log2(linearOf(GREY_LEVEL / 255)),
};

const FULL_AT_ISO_100 = 30_000;
const READ_NOISE = 3;
const ACCEPTABLE = 10;
const MOST_BELOW: Readonly<Record<FileKind, number>> = { raw: 4, jpeg: 3 };
/** At the highest speeds detail is poor wherever it lies; a frame is still worth one EV. */
const LEAST_BELOW = 1;

/** @param iso above 0 @returns EV from middle grey down to where a sensor's noise drowns detail */
export function evToNoise(iso: number): number {
  // The signal e that is ACCEPTABLE times its noise, the root of e + READ_NOISE^2.
  const squared = ACCEPTABLE ** 2;
  const signal = (squared + Math.sqrt(squared ** 2 + 4 * squared * READ_NOISE ** 2)) / 2;
  return Math.log2(FULL_AT_ISO_100 / RAW_CLIPS_AT / signal) - (speedValue(iso) - speedValue(100));
}

/**
 * @param iso null if nobody tells it; then it counts as 100
 * @returns the room that such files usually have, to the nearest sixth
 */
export function usualRoom(files: FileKind, iso: number | null): Room {
  const below = Math.max(LEAST_BELOW, Math.min(MOST_BELOW[files], evToNoise(iso ?? 100)));
  return { above: fromEv(EV_ABOVE[files]), below: fromEv(below) };
}

/** Aperture and ISO of a set; null if nobody tells them. */
export interface Standing {
  readonly fNumber: number | null;
  readonly iso: number | null;
}

/**
 * A time that is the nominal one of a setting counts as its exact time: 1/60 is 1/64.
 * @returns Tv of the exposure that puts the reading on middle grey, to the nearest sixth, which is finer
 *   than any meter tells; undefined if that takes an aperture and an ISO, and one of them is not known
 */
export function greyTv(reading: Reading, standing: Standing): Sixths | undefined {
  if (reading.kind === 'time') return tvOf(reading.seconds);
  const shift = shiftOf(standing);
  return shift === undefined ? undefined : fromEv(ev100In(reading) + shift);
}

function tvOf(seconds: number): Sixths {
  const nominal = nearestSetting(seconds, [...SHUTTER_SCALES.third, ...SHUTTER_SCALES.half]);
  return nominal?.tv ?? fromEv(-Math.log2(seconds));
}

/** @returns EV at ISO 100 (ISO 2720), unrounded; null for a time where aperture or ISO is not known */
export function ev100Of(reading: Reading, standing: Standing): number | null {
  if (reading.kind !== 'time') return ev100In(reading);
  const shift = shiftOf(standing);
  return shift === undefined ? null : toEv(tvOf(reading.seconds)) - shift;
}

const ev100In = (reading: Exclude<Reading, { kind: 'time' }>): number =>
  reading.kind === 'ev' ? reading.ev100 : exposureValueOfLuminance(reading.luminance);

/**
 * @param tv in EV
 * @returns EV at ISO 100 from which on a part is white in the JPEG of such a frame; null if aperture or ISO is not known
 */
export function whiteFromEv100(tv: number, standing: Standing): number | null {
  const shift = shiftOf(standing);
  return shift === undefined ? null : tv - shift + EV_ABOVE.jpeg;
}

/** Tv is EV at ISO 100 and this: Tv = EV100 + (Sv - Sv of ISO 100) - Av (APEX). */
function shiftOf({ fNumber, iso }: Standing): number | undefined {
  if (fNumber === null || iso === null) return undefined;
  return speedValue(iso) - speedValue(100) - apertureValue(fNumber);
}

/** @returns the nominal label of a time that need be no setting of any body */
export const labelOf = (tv: Sixths): string => timeAt(tv).label;

/**
 * With a scene range R between two readings, a usable range r of one frame and a step s, at most r: n =
 * max(1, ceil((R - r) / s) + 1). The darkest frame holds the bright reading just below clipping, each further
 * frame reaches s deeper, and the last has to reach the dark reading: r + (n - 1) s >= R. Compare Barakat et
 * al., "Minimal-Bracketing Sets for High-Dynamic-Range Image Capture", IEEE Transactions on Image Processing
 * 17 (2008).
 * @param range R, 0 and above
 * @param room r is the room above and below together
 * @param step above 0
 */
export function fewestFrames(range: Sixths, { above, below }: Room, step: Sixths): number {
  return Math.max(1, Math.ceil((range - above - below) / step) + 1);
}

/** The limits of a frame's Tv so that it holds a part that is metered at `tv`. */
export const slowestThatHolds = (tv: Sixths, { above }: Room): Sixths => minusSixths(tv, above);
export const fastestThatHolds = (tv: Sixths, { below }: Room): Sixths => plusSixths(tv, below);

/** No place on earth is darker than a starless, moonless night under trees: some 0.00003 cd/m2, EV -12. From memory. */
export const DARKEST_EV100 = -12;
/** The sun's disc at the zenith has 1.6e9 cd/m2, EV 33.6. From memory. */
export const BRIGHTEST_EV100 = 34;
/**
 * Brighter than this only the sun itself is, or its mirror image: a frosted lamp has some 120000 cd/m2 (EV 19.9), white paper in full
 * sun 32000 (EV 18), the sun's disc on the horizon 600000 (EV 22.2). From memory. A bare filament lies above too; the caution does no
 * harm there.
 */
export const SUN_METERED_EV100 = 21;
