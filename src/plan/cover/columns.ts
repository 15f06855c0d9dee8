// Candidates in the form in which the search works. Knows nothing of prices and of the search.
import { isEmpty, isWithin, joined, NO_ROWS, type RowSet, sizeOf } from './rows.js';

export interface Column {
  /** Where it stands in the caller's list. */
  readonly index: number;
  readonly set: RowSet;
  /** Ascending. */
  readonly rows: readonly number[];
  /** Whole milliseconds times COUNTS, plus 1. */
  readonly cost: number;
}

/** More than the columns that a cover can need: among covers of as many milliseconds, fewer columns cost less. */
export const COUNTS = 1024;

export const costOf = (columns: readonly Column[]): number =>
  columns.reduce((sum, { cost }) => sum + cost, 0);

export const madeBy = (columns: readonly Column[]): RowSet =>
  columns.reduce((made, { set }) => joined(made, set), NO_ROWS);

/**
 * Leaves out every column that the wanted cover cannot hold: another makes all its rows and costs less, or costs as
 * much and stands earlier in the list. (One that costs as much and stands later pushes nothing out: where both lead to
 * a best cover, the earlier is wanted.)
 * @returns the others, in the order of the list
 */
export function undominated(columns: readonly Column[]): Column[] {
  const kept: Column[] = [];
  const keptByRow = new Map<number, Column[]>();
  // In this order a column comes after all that may push it out.
  const ordered = columns
    .filter(({ set }) => !isEmpty(set))
    .sort((a, b) => a.cost - b.cost || sizeOf(b.set) - sizeOf(a.set) || a.index - b.index);
  for (const column of ordered) {
    // Whoever makes all rows of a column makes each of them: the shortest of the lists is enough.
    const rivals = shortest(column.rows.map((row) => keptByRow.get(row) ?? []));
    if (rivals.some((rival) => pushesOut(rival, column))) continue;
    kept.push(column);
    for (const row of column.rows) {
      const list = keptByRow.get(row);
      if (list === undefined) keptByRow.set(row, [column]);
      else list.push(column);
    }
  }
  return kept.sort((a, b) => a.index - b.index);
}

const pushesOut = (rival: Column, column: Column): boolean =>
  isWithin(column.set, rival.set) && (rival.cost < column.cost || rival.index < column.index);

const shortest = (lists: readonly (readonly Column[])[]): readonly Column[] =>
  lists.reduce((best, list) => (list.length < best.length ? list : best));
