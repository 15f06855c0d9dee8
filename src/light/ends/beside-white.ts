// Cells at the edge of a white part are a mixture of white, which gets no whiter in a brighter frame, and of
// whatever is beside it. Pure.
import { linearOf } from '../../../shared/srgb.js';
import { type Copy, SHOULDER } from '../copy.js';
import { highestOf } from '../coverage/exposed.js';

const WHITE = 255;
/** As far around a cell as one is looked for that white has no part in. */
const AROUND = 2;

/**
 * A copy of a picture averages levels, so a cell of which a share w is white and the rest has the level u is at 255 w + (1 - w) u. In a frame
 * brighter by x EV the rest is at the level of 2^x its light, and white stays white.
 * @returns for each cell at such an edge, EV from this frame to that in which it is on the shoulder; for no other
 */
export function shoulderBesideWhite(copy: Copy): ReadonlyMap<number, number> {
  const { width, height } = copy;
  const isWhite = Uint8Array.from({ length: width * height }, (_, cell) =>
    highestOf(copy, cell) > SHOULDER ? 1 : 0,
  );
  const isBeside = isWhite.map((white, cell) => (white === 0 && touches(isWhite, cell, copy) ? 1 : 0));
  const found = new Map<number, number>();
  for (const [cell, beside] of isBeside.entries()) {
    if (beside === 0) continue;
    const rest = around(cell, AROUND, copy).filter((near) => isBeside[near] === 0 && isWhite[near] === 0);
    const level = highestOf(copy, cell);
    const restLevel = median(rest.map((near) => highestOf(copy, near)));
    if (restLevel === undefined || restLevel < 1 || restLevel >= level) continue;
    const share = (level - restLevel) / (WHITE - restLevel);
    const wanted = (SHOULDER - WHITE * share) / (1 - share);
    found.set(cell, Math.log2(linearOf(wanted / WHITE) / linearOf(restLevel / WHITE)));
  }
  return found;
}

function touches(isWhite: Uint8Array, cell: number, { width, height }: Copy): boolean {
  const [column, row] = [cell % width, Math.floor(cell / width)];
  for (let y = Math.max(0, row - 1); y <= Math.min(height - 1, row + 1); y += 1)
    for (let x = Math.max(0, column - 1); x <= Math.min(width - 1, column + 1); x += 1)
      if (isWhite[y * width + x] === 1) return true;
  return false;
}

function around(cell: number, by: number, { width, height }: Copy): number[] {
  const [column, row] = [cell % width, Math.floor(cell / width)];
  const cells: number[] = [];
  for (let y = Math.max(0, row - by); y <= Math.min(height - 1, row + by); y += 1)
    for (let x = Math.max(0, column - by); x <= Math.min(width - 1, column + by); x += 1)
      cells.push(y * width + x);
  return cells;
}

const median = (levels: readonly number[]): number | undefined =>
  levels.toSorted((a, b) => a - b)[Math.floor(levels.length / 2)];
