// Whether neighbouring frames differ in light as much as their offsets say. Exif proves settings; this looks
// at the pixels. The result is a mark for a person to look at, never a reason to reject a frame. Pure.
import { codedOf } from '../../../shared/srgb.js';
import type { LightGrid } from '../read/light-grid.js';

export interface LitFrame {
  readonly number: number;
  readonly offsetEv: number;
  /** Null if the frame has no small copy. */
  readonly light: LightGrid | null;
}

export interface LightRatio {
  /** The numbers of the two frames. */
  readonly darker: number;
  readonly lighter: number;
  /** EV, from the offsets. */
  readonly expected: number;
  /** EV, from the pixels; null if too few can be compared. */
  readonly ev: number | null;
  readonly mark: boolean;
}

/** The values that marks are based on. */
export interface OddLight {
  /** One for each pair of neighbours, the darkest first. */
  readonly ratios: readonly LightRatio[];
  /**
   * Frames that differ from both of their neighbours, or from the only one that they have while the others agree. A mark
   * between two frames that names neither says that the light changed from there on.
   */
  readonly suspects: readonly number[];
}

export interface LightComparison extends OddLight {
  /**
   * EV by which each pair differs from the plan, with the camera's curve allowed for; null if too few cells
   * can be compared.
   */
  readonly off: readonly (number | null)[];
}

/** Fewer cells than this tell nothing: a per cent of the picture. */
const FEWEST_CELLS = 30;

/**
 * A camera's tone curve is not the sRGB curve: contrast makes a step look larger in the middle tones, and the
 * shoulder makes it look smaller near white. Both affect all pairs of a set alike, so their median shows how
 * far the curve bends the steps, and pairs are compared with it. No camera has a curve beyond these values
 * (common practice, no source).
 */
const LEAST_BEND = 0.6;
const MOST_BEND = 1.7;
/** With fewer pairs one wrong frame could be taken for the curve. */
const FEWEST_PAIRS = 3;

/**
 * EV that a pair may be off, and how much more for each EV that it should differ. Measured on the practice body's frames from -6
 * to +6 EV: as they are, no pair is off by more than 0.01 EV; bent with seven curves of our own, from flat to steep (median 0.8
 * to 1.6 of the step), by 0.10 at 1/3 EV, 0.22 at 1 EV, 0.36 at 2 EV and 0.35 at 3 EV at most. A frame that is 1 EV off is off by
 * 0.8 or more with all of them.
 */
const TOLERANCE = { fixed: 0.25, perEv: 0.15 };
/** If nothing shows how far the curve bends, the bend itself has to be tolerated, up to 1.6 of the step. */
const TOLERANCE_ALONE = { fixed: 0.25, perEv: 0.55 };

/**
 * @param frames those that were made, the darkest first
 */
export function compareLight(frames: readonly LitFrame[]): LightComparison {
  const pairs = frames.slice(1).map((lighter, index) => {
    const darker = frames[index] as LitFrame;
    const ev = darker.light && lighter.light ? lightRatio(darker.light, lighter.light) : null;
    return { darker, lighter, ev, expected: lighter.offsetEv - darker.offsetEv };
  });
  const bends = pairs.flatMap(({ ev, expected }) => (ev === null || expected <= 0 ? [] : [ev / expected]));
  const known = bends.length >= FEWEST_PAIRS;
  const bend = known ? Math.min(MOST_BEND, Math.max(LEAST_BEND, median(bends))) : 1;
  const { fixed, perEv } = known ? TOLERANCE : TOLERANCE_ALONE;
  const errors = pairs.map(({ ev, expected }) => (ev === null ? null : ev - bend * expected));
  const marks = errors.map((error, index) => {
    const { expected } = pairs[index] as (typeof pairs)[number];
    return error !== null && Math.abs(error) > fixed + perEv * expected;
  });
  return {
    ratios: pairs.map(({ darker, lighter, ev, expected }, index) => ({
      darker: darker.number,
      lighter: lighter.number,
      expected,
      ev,
      mark: marks[index] as boolean,
    })),
    suspects: frames.filter((_, index) => isSuspect(index, marks, errors)).map(({ number }) => number),
    off: errors,
  };
}

/** The frame at `index` lies between pair `index - 1` and pair `index`. */
function isSuspect(index: number, marks: readonly boolean[], errors: readonly (number | null)[]): boolean {
  const below = marks[index - 1];
  const above = marks[index];
  // Too light against the darker neighbour and too dark against the brighter one would be light that changed twice.
  if (below && above) return (errors[index - 1] as number) * (errors[index] as number) < 0;
  // At an end there is one neighbour; it is to blame if it also differs from its other one.
  if (below === undefined) return above === true && marks[1] === false && errors[1] !== null;
  if (above === undefined) return below && marks[index - 2] === false && errors[index - 2] !== null;
  return false;
}

/**
 * @returns EV by which the second grid has more light than the first, over the cells that tell in both: the
 *   weighted median, in which a cell weighs more the nearer it is to the middle tones in both (Debevec and
 *   Malik 1997 weigh pixels so); null if there are too few cells, or if the grids differ in size
 */
export function lightRatio(darker: LightGrid, lighter: LightGrid): number | null {
  if (darker.width !== lighter.width || darker.height !== lighter.height) return null;
  const samples: { ev: number; weight: number }[] = [];
  for (const [cell, dark] of darker.cells.entries()) {
    const light = lighter.cells[cell] as number;
    const weight = weightOf(dark) * weightOf(light);
    if (weight > 0) samples.push({ ev: Math.log2(light / dark), weight });
  }
  return samples.length < FEWEST_CELLS ? null : weightedMedian(samples);
}

/** 1 in the middle of the sRGB scale, 0 at both ends and for a cell that tells nothing. */
function weightOf(linear: number): number {
  if (!(linear > 0)) return 0;
  return Math.max(0, 1 - Math.abs(2 * codedOf(linear) - 1));
}

function weightedMedian(samples: { ev: number; weight: number }[]): number {
  samples.sort((a, b) => a.ev - b.ev);
  const half = samples.reduce((sum, { weight }) => sum + weight, 0) / 2;
  let sum = 0;
  for (const { ev, weight } of samples) {
    sum += weight;
    if (sum >= half) return ev;
  }
  return Number.NaN;
}

const median = (values: readonly number[]): number => {
  const sorted = values.toSorted((a, b) => a - b);
  const middle = sorted.length / 2;
  return sorted.length % 2 === 1
    ? (sorted[Math.floor(middle)] as number)
    : ((sorted[middle - 1] as number) + (sorted[middle] as number)) / 2;
};
