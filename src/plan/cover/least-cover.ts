// The least costly passes that make every wanted offset. Exact. Knows nothing of cameras, EV and exposures: rows are to
// be covered by candidates, each of which makes some rows and has a cost.
//
// What is best: the least total cost; among those covers the fewest candidates; among those the one that the order of
// the list prefers. That one is found by going from the lowest open row to the next, and taking the first candidate in
// the list that still leads to a best cover. So the caller states its preferences by the order of the list.
//
// How it is found:
// 1. Cost and count become one number (cost x COUNTS + 1 for each candidate), and candidates that cannot be in the
//    wanted cover are left out (columns.ts).
// 2. The bound. Every row gets a price, such that no candidate costs less than the rows that it makes are worth. Then
//    no cover of some rows costs less than those rows are worth. The best prices come out of a linear relaxation
//    (simplex.ts). Alone they bound too low, since a relaxation may fire two thirds of a pass. So there are prices for
//    tallies too: rules that count in whole numbers, such as how many passes it takes for so many rows (prices.ts).
// 3. Candidates whose cost lies so far above their worth that no cover within a limit can hold them are left out. A
//    search over sets of open rows finds the cheapest cover within the limit, or proves that there is none
//    (search.ts). The limit starts a millisecond above the bound and goes up in growing strides, to the cheapest cover
//    that is known.
// 4. The least cost being known, the walk along the list asks the same search at every candidate whether the rest of
//    the rows can be covered for what is left.
//
// There is no clock and no chance in it: the same input gives the same cover. The effort is limited by the number of
// sets of open rows that are priced (nodes). Costs in which a frame counts as much in every pass (milliseconds rounded
// frame by frame) take some dozen nodes. Rounded pass by pass, two ways to fire the same frames differ by noise, and
// proving which is less can take thousands.
import { COUNTS, type Column, costOf, madeBy, undominated } from './columns.js';
import { boundWith, PARTS } from './prices.js';
import { has, isEmpty, isWithin, lowestOf, MOST_ROWS, type RowSet, rowSet, rowsOf, without } from './rows.js';
import { Search } from './search.js';

/** One pass that could be fired. */
export interface Candidate {
  /** The wanted offsets that it makes, as rows counted from 0 (the darkest), ascending. */
  readonly makes: readonly number[];
  /** Whole milliseconds, at least 1. */
  readonly cost: number;
}

export interface Cover {
  /** Indexes into the candidates, in the order of the darkest row that each was chosen for. */
  readonly chosen: readonly number[];
  /** Of all that are chosen, in milliseconds. */
  readonly cost: number;
  /**
   * False if the limit on the search was hit. Then the gap is between `bound` and `cost`; if the two are
   * equal, the cost is the least, but a cover with fewer candidates or with an earlier choice in the list may
   * be possible.
   */
  readonly proven: boolean;
  /** No cover costs less. */
  readonly bound: number;
}

const MOST_NODES = 20_000;
/** The most that a candidate may cost: the worth of 64 of them, in whole parts, is still an exact number. */
export const MOST_COST = 2 ** 53 / (64 * COUNTS * PARTS);
/** By how much the first limit lies above the bound, and how it grows. */
const FIRST_REACH = COUNTS;
const GROWTH = 8;

/**
 * @param rows how many are to be covered, 63 at most
 * @param candidates in the order of preference among equals
 * @param options mostNodes: limit on the search; a set of 61 offsets takes some dozen nodes, seldom
 *   hundreds
 * @returns undefined if some row has no candidate
 * @throws RangeError if a number is not as described
 */
export function leastCover(
  rows: number,
  candidates: readonly Candidate[],
  options: { readonly mostNodes?: number } = {},
): Cover | undefined {
  return countedLeastCover(rows, candidates, options.mostNodes ?? MOST_NODES)?.cover;
}

/** @returns also how many nodes it took, for measuring */
export function countedLeastCover(
  rows: number,
  candidates: readonly Candidate[],
  mostNodes: number,
): { readonly cover: Cover; readonly nodes: number } | undefined {
  if (!isWhole(rows, 0, MOST_ROWS)) throw new RangeError(`${rows} rows: 0 to ${MOST_ROWS} can be covered.`);
  const columns = undominated(candidates.map((candidate, index) => columnOf(candidate, index, rows)));
  const all = rowSet(Array(rows).keys());
  if (!isWithin(all, madeBy(columns))) return undefined;
  if (rows === 0) return { cover: { chosen: [], cost: 0, proven: true, bound: 0 }, nodes: 0 };
  const found = cheapest(all, rows, columns, mostNodes);
  const { chosen, isCertain } = firstInList(all, columns, found);
  const cover = {
    chosen: chosen.map(({ index }) => index),
    cost: millisecondsOf(costOf(chosen)),
    proven: isCertain,
    bound: millisecondsOf(found.bound),
  };
  return { cover, nodes: nodesOf(found) };
}

const isWhole = (value: number, least: number, most: number): boolean =>
  Number.isInteger(value) && value >= least && value <= most;

const millisecondsOf = (cost: number): number => Math.floor(cost / COUNTS);

function columnOf({ makes, cost }: Candidate, index: number, rows: number): Column {
  if (!makes.every((row) => isWhole(row, 0, rows - 1)))
    throw new RangeError(
      `Candidate ${index} makes rows ${makes.join(', ')}: they must be whole, below ${rows}.`,
    );
  if (!isWhole(cost, 1, MOST_COST))
    throw new RangeError(`Candidate ${index} costs ${cost}: it must be whole, 1 to ${MOST_COST}.`);
  const set = rowSet(makes);
  return { index, set, rows: rowsOf(set), cost: cost * COUNTS + 1 };
}

/** The best cover of all rows so far, and the bound. */
interface Found {
  readonly cover: readonly Column[];
  /** The cost of that cover. */
  readonly least: number;
  readonly bound: number;
  /** The search that was made last, over all columns that a cover within this limit can hold. */
  readonly search: Search;
  readonly limit: number;
  /** Of the searches before it. */
  readonly earlierNodes: number;
}

function cheapest(all: RowSet, height: number, columns: readonly Column[], mostNodes: number): Found {
  const search = new Search(height, columns, mostNodes);
  const priced = search.look(all);
  let found: Found = { ...knownBy(search, all), search, limit: Number.POSITIVE_INFINITY, earlierNodes: 0 };
  for (let reach = FIRST_REACH; !isSettled(found) && !found.search.isExhausted; reach *= GROWTH) {
    const limit = Math.min(found.least, found.bound + reach);
    const within = columns.filter(({ set, cost }) => boundWith(set, cost, priced) <= limit);
    found = isWithin(all, madeBy(within))
      ? searched(all, found, limit, new Search(height, within, mostNodes - nodesOf(found)))
      : { ...found, bound: limit + 1, limit };
  }
  return found;
}

/** Settled is the cost, and there is a search that knows all columns of the covers that cost as much. */
const isSettled = ({ least, bound, limit }: Found): boolean => bound === least && limit >= least;

const nodesOf = ({ earlierNodes, search }: Found): number => earlierNodes + search.nodes;

function searched(all: RowSet, before: Found, limit: number, search: Search): Found {
  search.learn(all, before.cover);
  // It knows only of columns within the limit, and so nothing of covers beyond.
  const proven = before.bound < before.least ? Math.min(search.least(all, limit), limit + 1) : before.bound;
  const { cover, least } = knownBy(search, all);
  const bound = Math.min(Math.max(before.bound, proven), least);
  return { cover, least, bound, search, limit, earlierNodes: nodesOf(before) };
}

function knownBy(search: Search, all: RowSet): Pick<Found, 'cover' | 'least' | 'bound'> {
  const { least, bound } = search.about(all);
  return { cover: search.coverOf(all), least, bound };
}

/** The walk along the list. */
function firstInList(
  all: RowSet,
  columns: readonly Column[],
  found: Found,
): { chosen: Column[]; isCertain: boolean } {
  const chosen: Column[] = [];
  let isCertain = isSettled(found);
  let example = found.cover;
  let left = found.least;
  for (let open = all; !isEmpty(open); ) {
    const row = lowestOf(open);
    const making = columns.filter(({ set }) => has(set, row));
    const step = firstThatLeads(open, making, left, example, found.search);
    chosen.push(step.column);
    isCertain &&= step.isCertain;
    example = step.example;
    left -= step.column.cost;
    open = without(open, step.column.set);
  }
  return { chosen, isCertain };
}

/**
 * @param making the columns that make the lowest open row
 * @param left what the open rows may cost
 * @param example a cover of the open rows at that cost
 * @returns the first column that leads to such a cover, with that cover; not certain if an earlier column
 *   might lead to one, too
 */
function firstThatLeads(
  open: RowSet,
  making: readonly Column[],
  left: number,
  example: readonly Column[],
  search: Search,
): { column: Column; example: readonly Column[]; isCertain: boolean } {
  let isCertain = true;
  for (const column of making) {
    if (example.includes(column)) return { column, example, isCertain };
    const rest = without(open, column.set);
    const leads = search.canCover(rest, left - column.cost);
    if (leads === true) return { column, example: search.coverOf(rest), isCertain };
    isCertain &&= leads === false;
  }
  throw new Error('The example covers all open rows.');
}
