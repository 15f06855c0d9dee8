// The response of a camera: how much light each level of its pictures stands for. Recovered from one set
// (Debevec and Malik, "Recovering High Dynamic Range Radiance Maps from Photographs", SIGGRAPH 1997, equation
// 3), or given from before.
import type { Copy } from '../copy.js';
import { type Cv, scoped } from '../process/opencv.js';

/** For each level, 0 to 255, of red, green and blue: log2 of the exposure, 0 at level 128. */
export type Response = readonly [red: number[], green: number[], blue: number[]];

export interface ExposedCopy {
  /** EV from the base, exact. */
  readonly offsetEv: number;
  readonly copy: Copy;
}

const LEVELS = 256;
const MIDDLE = 128;
/** How smooth the curve is to be: the paper's lambda, for its weights of up to 127. */
const SMOOTHNESS = 60;
/** Cells that are looked at, and frames: the equations grow with both. */
const SAMPLES = 150;
const MOST_FRAMES = 13;
/**
 * Levels by which the neighbours of a cell may differ in any frame, so that the cell stands for one light.
 */
const FLAT = 14;

/** The paper's hat (equation 4): the middle of the scale counts most. */
export const weightOf = (level: number): number => Math.min(level, LEVELS - 1 - level);

/**
 * @param frames of one shape, at least two, an EV apart or so
 * @returns null if they do not tell it: too few, too much alike, or nothing flat in them
 */
export function recoveredResponse(cv: Cv, frames: readonly ExposedCopy[]): Response | null {
  const used = thinnedOut(frames.toSorted((one, other) => one.offsetEv - other.offsetEv));
  if (used.length < 2) return null;
  const cells = samplesOf(used);
  if (cells.length < SAMPLES / 5) return null;
  const curves = [0, 1, 2].map((channel) => curveOf(cv, used, cells, channel));
  const [red, green, blue] = curves;
  return red && green && blue ? [red, green, blue] : null;
}

function thinnedOut(frames: readonly ExposedCopy[]): readonly ExposedCopy[] {
  if (frames.length <= MOST_FRAMES) return frames;
  const every = (frames.length - 1) / (MOST_FRAMES - 1);
  return Array.from({ length: MOST_FRAMES }, (_, index) => frames[Math.round(index * every)] as ExposedCopy);
}

/** @returns flat cells from all tones: as many of each tone of the scene as there are, up to its part */
function samplesOf(frames: readonly ExposedCopy[]): number[] {
  const [first] = frames;
  if (first === undefined) return [];
  const { width, height } = first.copy;
  const tones = new Map<number, number[]>();
  // Every third cell in both directions, in a fixed order: the same set gives the same response.
  for (let row = 1; row < height - 1; row += 3)
    for (let column = 1; column < width - 1; column += 3) {
      const cell = row * width + column;
      if (!frames.every(({ copy }) => isFlat(copy, cell))) continue;
      const tone = Math.round(
        (frames.reduce((sum, { copy }) => sum + (copy.pixels[3 * cell + 1] as number), 0) /
          (16 * frames.length)) *
          4,
      );
      tones.set(tone, [...(tones.get(tone) ?? []), cell]);
    }
  const each = Math.ceil(SAMPLES / Math.max(1, tones.size));
  return [...tones.values()].flatMap((cells) =>
    Array.from(
      { length: Math.min(each, cells.length) },
      (_, index) => cells[Math.floor((index * cells.length) / Math.min(each, cells.length))] as number,
    ),
  );
}

function isFlat({ pixels, width }: Copy, cell: number): boolean {
  for (let channel = 0; channel < 3; channel += 1) {
    const here = pixels[3 * cell + channel] as number;
    for (const away of [-1, 1, -width, width])
      if (Math.abs((pixels[3 * (cell + away) + channel] as number) - here) > FLAT) return false;
  }
  return true;
}

/** The least squares of the paper's equation 3, by its normal equations. Unknown are the curve, then log2 of the light of each cell. */
function curveOf(
  cv: Cv,
  frames: readonly ExposedCopy[],
  cells: readonly number[],
  channel: number,
): number[] | null {
  const count = LEVELS + cells.length;
  const normal = new Float64Array(count * count);
  const sides = new Float64Array(count);
  const add = (terms: readonly (readonly [at: number, factor: number])[], value: number) => {
    for (const [row, factor] of terms) {
      sides[row] = (sides[row] as number) + factor * value;
      for (const [column, other] of terms)
        normal[row * count + column] = (normal[row * count + column] as number) + factor * other;
    }
  };
  for (const { offsetEv, copy } of frames)
    for (const [index, cell] of cells.entries()) {
      const level = copy.pixels[3 * cell + channel] as number;
      const weight = weightOf(level) / MIDDLE;
      add([[level, weight], [LEVELS + index, -weight]], weight * offsetEv); // biome-ignore format: two terms
    }
  add([[MIDDLE, 1]], 0);
  for (let level = 1; level < LEVELS - 1; level += 1) {
    const stiff = (SMOOTHNESS * Math.max(1, weightOf(level))) / MIDDLE;
    add([[level - 1, stiff], [level, -2 * stiff], [level + 1, stiff]], 0); // biome-ignore format: three terms
  }
  // A cell that is black or white in every frame has no equation of its own.
  for (let at = LEVELS; at < count; at += 1)
    normal[at * count + at] = (normal[at * count + at] as number) + 1e-9;
  return solve(cv, normal, sides)?.slice(0, LEVELS) ?? null;
}

function solve(cv: Cv, normal: Float64Array, sides: Float64Array): number[] | null {
  return scoped((scope) => {
    const count = sides.length;
    const left = scope.keep(new cv.Mat(count, count, cv.CV_64FC1));
    left.data64F.set(normal);
    const right = scope.keep(new cv.Mat(count, 1, cv.CV_64FC1));
    right.data64F.set(sides);
    const found = scope.keep(new cv.Mat());
    const isSolved = cv.solve(left, right, found, cv.DECOMP_CHOLESKY);
    const values = [...found.data64F];
    return isSolved && values.every(Number.isFinite) ? values : null;
  });
}

/**
 * @returns whether more light never means a lower level, in the middle of the scale; if it does, this is
 *   not a camera's response
 */
export const isRising = (response: Response): boolean =>
  response.every((curve) => {
    for (let level = 24; level < 232; level += 8)
      if (!((curve[level + 8] as number) > (curve[level] as number))) return false;
    return true;
  });
