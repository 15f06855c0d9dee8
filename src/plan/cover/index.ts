import type { Column } from './prices.js';
import { has, isEmpty, isWithin, lowestOf, MOST_ROWS, type RowSet, rowSet, sizeOf, without } from './rows.js';
import { COUNTS, Search } from './search.js';

export interface Candidate {
  readonly makes: readonly number[];
  readonly cost: number;
}

export interface Cover {
  readonly chosen: readonly number[];
  readonly cost: number;
  readonly proven: boolean;
  readonly bound: number;
}

export const stats = { nodes: 0, rootProven: false, pivots: 0, columns: 0, rootGap: 0 , t: [0,0,0]};

export function leastCover(
  rows: number,
  candidates: readonly Candidate[],
  options: { mostNodes?: number } = {},
): Cover | undefined {
  if (rows > MOST_ROWS) throw new RangeError('too many rows');
  const t0 = performance.now();
  const all = rowSet(Array.from({ length: rows }, (_, r) => r));
  const columns = undominated(
    candidates.map(({ makes, cost }, index) => ({ index, rows: makes, set: rowSet(makes), cost: cost * COUNTS + 1 })),
    rows,
  );
  let rest: RowSet = all;
  for (const { set } of columns) rest = without(rest, set);
  if (!isEmpty(rest)) return undefined;
  const t1 = performance.now();
  const search = new Search(rows, columns, options.mostNodes ?? 1_000_000);
  const least = search.least(all, Number.MAX_SAFE_INTEGER / 2048);
  const t2 = performance.now();
  const known = search.about(all);
  stats.nodes = search.nodes;
  stats.pivots = search.pricing.pivots;
  stats.columns = columns.length;
  const chosen: number[] = [];
  let open: RowSet = all;
  let budget = least;
  while (!isEmpty(open)) {
    const row = lowestOf(open);
    const column = columns.find(({ set, cost }) => {
      if (!has(set, row) || cost > budget) return false;
      return search.least(without(open, set), budget - cost) === budget - cost;
    });
    if (column === undefined) break;
    chosen.push(column.index);
    budget -= column.cost;
    open = without(open, column.set);
  }
  stats.t = [t1 - t0, t2 - t1, performance.now() - t2];
  return { chosen, cost: Math.floor(least / COUNTS), proven: known.bound === known.least, bound: Math.floor(known.bound / COUNTS) };
}

function undominated(columns: readonly Column[], rows: number): Column[] {
  const lists: Column[][] = Array.from({ length: rows }, () => []);
  const kept: Column[] = [];
  const order = columns.filter((c) => c.rows.length > 0).sort((a, b) => a.cost - b.cost || sizeOf(b.set) - sizeOf(a.set) || a.index - b.index);
  // equal cost: the earlier one dominates only if its rows include; a later larger one does not dominate an earlier smaller.
  for (const column of order) {
    let list: Column[] | undefined;
    for (const row of column.rows) if (list === undefined || lists[row]!.length < list.length) list = lists[row];
    const isDominated = list!.some(
      (other) => isWithin(column.set, other.set) && (other.cost < column.cost || other.index < column.index),
    );
    if (isDominated) continue;
    kept.push(column);
    for (const row of column.rows) lists[row]!.push(column);
  }
  return kept.sort((a, b) => a.index - b.index);
}
