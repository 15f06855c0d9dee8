// The picture of what a set holds: the scene in dim grey, and over it the cells that no frame holds, and
// those that only one does. Pure.
import { LINEAR_OF_LEVEL } from '../../../shared/srgb.js';
import { type Copy, FLOOR, SHOULDER } from '../copy.js';
import { CELL, type Cells, type Exposed, highestOf } from './exposed.js';

/**
 * Okabe and Ito, "Color Universal Design" (2008): people with any kind of colour vision can tell orange from
 * sky blue.
 */
const NONE = [230, 159, 0] as const;
const ONE = [86, 180, 233] as const;
/**
 * Cells that no frame holds are hatched as well, so that not only colour shows them: stripes of so many
 * cells.
 */
const STRIPE = 3;
/** What one alone holds is dotted for the same reason: a square of so many cells every so many, in rows that stand between each other. */
const DOT = { side: 2, every: 6 } as const;
/** How much of the colour is laid over, and how bright the scene beneath is at most. */
const TINT = { none: 0.9, stripe: 0.35, dot: 0.8, one: 0.3 } as const;
const DIM = 150;

/**
 * @param frames all of one shape, as the cells
 * @returns as large as the cells
 */
export function coverageMap(frames: readonly Exposed[], cells: Cells): Copy {
  const { width, height, of } = cells;
  const scene = sceneOf(frames, of.length);
  const pixels = new Uint8Array(of.length * 3);
  for (let cell = 0; cell < of.length; cell += 1) {
    const { colour, tint } = coverOf(of[cell] as number, cell % width, Math.floor(cell / width));
    for (const [channel, level] of colour.entries())
      pixels[cell * 3 + channel] = Math.round(tint * level + (1 - tint) * (scene[cell] as number));
  }
  return { pixels, width, height };
}

function coverOf(
  kind: number,
  column: number,
  row: number,
): { readonly colour: readonly number[]; readonly tint: number } {
  if (kind === CELL.two) return { colour: NONE, tint: 0 };
  if (kind === CELL.one) return { colour: ONE, tint: isDot(column, row) ? TINT.dot : TINT.one };
  const isStripe = Math.floor((column + row) / STRIPE) % 2 === 0;
  return { colour: NONE, tint: isStripe ? TINT.none : TINT.stripe };
}

function isDot(column: number, row: number): boolean {
  const { side, every } = DOT;
  const along = column + (Math.floor(row / every) % 2) * (every / 2);
  return row % every < side && along % every < side;
}

/** The whole scene in grey: the logarithm of its light, from the frame that shows each cell best, so that beams and sky are both seen. */
function sceneOf(frames: readonly Exposed[], count: number): Float64Array {
  const light = new Float64Array(count);
  for (let cell = 0; cell < count; cell += 1) {
    let best = Number.POSITIVE_INFINITY;
    for (const { offsetEv, copy } of frames) {
      const level = highestOf(copy, cell);
      const off = Math.abs(level - (FLOOR + SHOULDER) / 2);
      if (off >= best) continue;
      best = off;
      light[cell] = Math.log2(Math.max(1e-4, LINEAR_OF_LEVEL[level] as number)) - offsetEv;
    }
  }
  const sorted = light.toSorted();
  const darkest = sorted[Math.floor(count * 0.005)] as number;
  const brightest = sorted[Math.floor(count * 0.995)] as number;
  const span = Math.max(1, brightest - darkest);
  return light.map((ev) => DIM * Math.min(1, Math.max(0.04, (ev - darkest) / span)));
}
