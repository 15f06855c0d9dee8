// In how many frames of a set each cell of the picture is well exposed. Pure; knows pictures and offsets, and no words.
import { type Copy, FLOOR, isSameShape, SHOULDER } from '../copy.js';

/** A picture as coverage sees it: a small copy, each pixel of which is a cell. */
export interface Exposed {
  /** EV from the base, exact; + is more light. */
  readonly offsetEv: number;
  readonly copy: Copy;
}

/** A frame of a set. */
export interface ExposedFrame extends Exposed {
  readonly number: number;
}

/** The class of a cell in the whole set. */
export const CELL = { two: 0, one: 1, bright: 2, dark: 3, between: 4 } as const;
export type Cell = (typeof CELL)[keyof typeof CELL];

export interface Cells {
  readonly width: number;
  readonly height: number;
  /** One of CELL for each cell, row by row. */
  readonly of: Uint8Array;
}

/** A cell by its highest channel: a colour that is blown out in one channel is lost, one that is black in one is not. */
export const highestOf = ({ pixels }: Copy, cell: number): number =>
  Math.max(pixels[cell * 3] as number, pixels[cell * 3 + 1] as number, pixels[cell * 3 + 2] as number);

/**
 * @param frames at least one, the darkest first, all of one shape
 * @throws RangeError if there is none, or if their shapes differ
 */
export function cellsOf(frames: readonly Exposed[]): Cells {
  const [first] = frames;
  if (first === undefined) throw new RangeError('Cells of no frame.');
  const { width, height } = first.copy;
  if (!frames.every(({ copy }) => isSameShape(copy, first.copy)))
    throw new RangeError('Frames of different shapes.');
  const count = width * height;
  const held = new Uint8Array(count);
  // Whether the cell was too dark in one frame and too bright in another: then no end of the set is to blame.
  const tooDark = new Uint8Array(count);
  const tooBright = new Uint8Array(count);
  for (const { copy } of frames)
    for (let cell = 0; cell < count; cell += 1) {
      const level = highestOf(copy, cell);
      if (level < FLOOR) tooDark[cell] = 1;
      else if (level > SHOULDER) tooBright[cell] = 1;
      else if ((held[cell] as number) < 2) held[cell] = (held[cell] as number) + 1;
    }
  const of = held.map((times, cell) => {
    if (times > 0) return times === 1 ? CELL.one : CELL.two;
    if (tooDark[cell] === 0) return CELL.bright;
    return tooBright[cell] === 0 ? CELL.dark : CELL.between;
  });
  return { width, height, of };
}

/** @returns share of the cells, 0 to 1, that are well exposed in this frame, and of those that are so in no other one */
export function heldBy(
  { copy }: Exposed,
  cells: Cells,
): { readonly exposed: number; readonly alone: number } {
  const count = cells.of.length;
  let exposed = 0;
  let alone = 0;
  for (let cell = 0; cell < count; cell += 1) {
    const level = highestOf(copy, cell);
    if (level < FLOOR || level > SHOULDER) continue;
    exposed += 1;
    if (cells.of[cell] === CELL.one) alone += 1;
  }
  return { exposed: exposed / count, alone: alone / count };
}

/** @returns share of the cells, 0 to 1, in which a frame is too bright (`bright`) or too dark, leaving out some */
export function lostShare(
  { copy }: Exposed,
  end: 'bright' | 'dark',
  isLeftOut: (cell: number) => boolean,
): number {
  const count = copy.width * copy.height;
  let lost = 0;
  for (let cell = 0; cell < count; cell += 1) {
    const level = highestOf(copy, cell);
    if ((end === 'bright' ? level > SHOULDER : level < FLOOR) && !isLeftOut(cell)) lost += 1;
  }
  return lost / count;
}
