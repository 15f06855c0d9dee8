// What moved by itself between two frames that lie over each other, in the same tones: cells that differ by
// more than noise, and by more than a small misfit of edges explains.
import type { Laid } from './laid.js';
import { scratch } from './scratch.js';

export interface Moved {
  /** Share of the compared part, 0 to 1. */
  readonly share: number;
  /** The box around the cells that moved, as shares of the picture's width and height; null if none did. */
  readonly box: {
    readonly left: number;
    readonly top: number;
    readonly right: number;
    readonly bottom: number;
  } | null;
}

const NONE: Moved = { share: 0, box: null };

/** Pixels of a cell's side. */
const CELL = 16;
/** Of a cell, that both hold. */
const LEAST_HELD = 0.4;
/** Pixels by which edges may lie beside each other after one frame was laid over the other. */
const MISFIT = 0.35;
/** How much of the finest detail, such as glints on water, laying over may take, as blur does: s of misfit.ts. */
const SOFTENED = 0.3;
/** Levels that nobody sees, from rounding, from packing, from light that changes by degrees. */
const UNSEEN = 3;
/** A cell has moved if its mean square is so many times the expected one. */
const BEYOND = 9;
/** Cells that have to hang together. */
const FEWEST = 4;

/** @param spread by how much the second is blurred more, in square pixels (misfit.ts): that is no movement */
export function movedBetween(over: Laid, spread: number): Moved {
  const { first, second, across, along, laplacian } = over;
  const off = scratch('off', first.length);
  for (let at = 0; at < off.length; at += 1)
    off[at] = (second[at] as number) - (first[at] as number) - spread * (laplacian[at] as number);
  const noise = noiseOf(off, over.mask);
  const expected = scratch('expected', first.length);
  for (let at = 0; at < off.length; at += 1)
    expected[at] =
      noise ** 2 +
      UNSEEN ** 2 +
      MISFIT ** 2 * ((across[at] as number) ** 2 + (along[at] as number) ** 2) +
      (SOFTENED * (laplacian[at] as number)) ** 2;
  return movedCells(over, off, expected);
}

/** Standard deviation by the median of the differences, which a part that moved does not raise. */
function noiseOf(off: Float32Array, mask: Uint8Array): number {
  const some: number[] = [];
  for (let at = 0; at < off.length; at += 23) if (mask[at] !== 0) some.push(Math.abs(off[at] as number));
  some.sort((a, b) => a - b);
  // Of a normal distribution the median of the absolute deviations is 0.6745 of the standard deviation.
  return (some[Math.floor(some.length / 2)] ?? 0) / 0.6745;
}

function movedCells(over: Laid, off: Float32Array, expected: Float32Array): Moved {
  const columns = Math.ceil(over.width / CELL);
  const rows = Math.ceil(over.height / CELL);
  const isMoved = new Uint8Array(columns * rows);
  let cells = 0;
  for (let row = 0; row < rows; row += 1)
    for (let column = 0; column < columns; column += 1) {
      const score = scoreOf(over, row * CELL, column * CELL, over.mask, off, expected);
      if (score === null) continue;
      cells += 1;
      if (score > BEYOND) isMoved[row * columns + column] = 1;
    }
  return boxed(isMoved, columns, rows, cells);
}

/** @returns how many times the expected value the cell is off; null if too little of it is held */
function scoreOf(
  { width, height }: { readonly width: number; readonly height: number },
  top: number,
  left: number,
  mask: Uint8Array,
  off: Float32Array,
  expected: Float32Array,
): number | null {
  let [count, sum, pixels] = [0, 0, 0];
  for (let row = top; row < Math.min(height, top + CELL); row += 1)
    for (let column = left; column < Math.min(width, left + CELL); column += 1) {
      const at = row * width + column;
      pixels += 1;
      if (mask[at] === 0) continue;
      count += 1;
      sum += (off[at] as number) ** 2 / (expected[at] as number);
    }
  return count < LEAST_HELD * pixels ? null : sum / count;
}

/** Leaves out cells that hang together with too few others. */
function boxed(isMoved: Uint8Array, columns: number, rows: number, cells: number): Moved {
  let [count, left, top, right, bottom] = [0, columns, rows, 0, 0];
  for (const group of groupsOf(isMoved, columns, rows)) {
    if (group.length < FEWEST) continue;
    count += group.length;
    for (const cell of group) {
      const [column, row] = [cell % columns, Math.floor(cell / columns)];
      [left, right] = [Math.min(left, column), Math.max(right, column + 1)];
      [top, bottom] = [Math.min(top, row), Math.max(bottom, row + 1)];
    }
  }
  if (count === 0) return NONE;
  return {
    share: count / cells,
    box: { left: left / columns, top: top / rows, right: right / columns, bottom: bottom / rows },
  };
}

function groupsOf(isMoved: Uint8Array, columns: number, rows: number): number[][] {
  const open = isMoved.slice();
  const groups: number[][] = [];
  for (let start = 0; start < open.length; start += 1) {
    if (open[start] === 0) continue;
    open[start] = 0;
    const group = [start];
    for (const cell of group) {
      const [column, row] = [cell % columns, Math.floor(cell / columns)];
      for (let y = Math.max(0, row - 1); y <= Math.min(rows - 1, row + 1); y += 1)
        for (let x = Math.max(0, column - 1); x <= Math.min(columns - 1, column + 1); x += 1)
          if (open[y * columns + x] === 1) {
            open[y * columns + x] = 0;
            group.push(y * columns + x);
          }
    }
    groups.push(group);
  }
  return groups;
}
