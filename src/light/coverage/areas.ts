// Divides what is lost at one end of a scene into areas and small parts, such as lamps or glints. Pure.
import type { Cell, Cells } from './exposed.js';
import { partsOf } from './parts.js';

export interface Areas {
  /** Share of the picture, 0 to 1, in areas; small parts are not in it. */
  readonly share: number;
  /** Lost parts too small to be an area. */
  readonly small: { readonly count: number; readonly share: number };
  /** Whether a cell lies in a small part. */
  readonly isInSmall: (cell: number) => boolean;
}

/**
 * A part no larger than this share of the picture is a lamp or a glint: a disc of a 28th of the picture's
 * height. Common practice, no source.
 */
export const SMALL_PART = 0.001;
/** Of the picture, all of them together. Common practice, no source. */
export const MOST_IN_SMALL = 0.01;

/** @returns the areas and small parts that cells of this kind make */
export function areasOf(cells: Cells, kind: Cell): Areas {
  const { parts, partOf } = partsOf(cells, kind);
  const count = cells.of.length;
  const fits = parts.map(({ size }) => size <= SMALL_PART * count);
  const tiny = parts.reduce((all, { size }, index) => (fits[index] ? all + size : all), 0) / count;
  // A great many of them are as good as an area.
  const isSmall = fits.map((does) => does && tiny <= MOST_IN_SMALL);
  const sum = (small: boolean) =>
    parts.reduce((all, { size }, index) => (isSmall[index] === small ? all + size : all), 0) / count;
  return {
    share: sum(false),
    small: { count: isSmall.filter(Boolean).length, share: sum(true) },
    isInSmall: (cell) => isSmall[(partOf[cell] as number) - 1] === true,
  };
}
