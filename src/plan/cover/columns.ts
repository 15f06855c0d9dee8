// Candidates in the form in which the search works. Knows nothing of prices and of the search.
import { isEmpty, isWithin, joined, NO_ROWS, type RowSet, sizeOf } from './rows.js';

export interface Column {
  /** Its place in the caller's list. */
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
 * Leaves out every column that the wanted cover cannot contain: another column makes all its rows and costs
 * less, or costs as much and is earlier in the list. (A column that costs as much and is later pushes nothing
 * out: if both lead to a best cover, the earlier one is wanted.)
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
    // A column that makes all rows of another makes each single one of them, so only the shortest list need
    // be searched.
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
