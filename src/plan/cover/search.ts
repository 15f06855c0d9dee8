// Branch and bound over sets of open rows, with a memory. Knows nothing of the caller's list.
//
// A set of open rows is priced for a bound. If that is not enough, every column that makes the lowest open row is tried,
// most promising first, and what it leaves is a set of open rows again. Findings about a set (a bound, a cover)
// are kept, so that the same set, reached in another way, is not searched again. If no column within the limit joins two parts
// of the rows, such as the thirds of a stop on a body that brackets in whole stops, each part is covered by itself.
import { COUNTS, type Column, costOf, madeBy } from './columns.js';
import { boundWith, PARTS, type Priced, type Prices, Pricing, worthOf } from './prices.js';
import {
  has,
  isEmpty,
  isSame,
  isWithin,
  joined,
  lowestOf,
  type RowSet,
  RowSetTable,
  shared,
  sizeOf,
  without,
} from './rows.js';

/** What has been found out about covering a set of open rows. */
interface Known {
  /** No cover costs less. */
  bound: number;
  /** The cost of the cheapest cover found so far. */
  least: number;
  /** That cover: one column, and the cover of the rows that it leaves; or the covers of parts of the rows. */
  by: Column | readonly RowSet[] | undefined;
}

/** One way to go on from a set of open rows. */
interface Branch {
  readonly column: Column;
  readonly rest: RowSet;
  /** No cover of the open rows with this column costs less. */
  readonly bound: number;
}

/** Prices that are kept from earlier sets of rows: they bound any other set too, at little expense. */
const MOST_PRICES = 8;
/** From this part on, a column counts as taken whole. */
const NEARLY_WHOLE = 0.99;

export class Search {
  readonly #columns: readonly Column[];
  readonly #mostNodes: number;
  /** Rows that a column makes at most. */
  readonly #reach: number;
  readonly #pricing: Pricing;
  readonly #prices: Prices[] = [];
  readonly #known = new RowSetTable<Known>();
  #nodes = 0;

  /**
   * @param height number of rows, each of which is in some column
   * @param mostNodes how many sets of open rows may be priced
   */
  constructor(height: number, columns: readonly Column[], mostNodes: number) {
    this.#columns = columns;
    this.#mostNodes = mostNodes;
    this.#reach = columns.reduce((most, { rows }) => Math.max(most, rows.length), 1);
    this.#pricing = new Pricing(height, columns);
  }

  get nodes(): number {
    return this.#nodes;
  }

  get isExhausted(): boolean {
    return this.#nodes >= this.#mostNodes;
  }

  about(open: RowSet): Known {
    const known = this.#known.get(open);
    if (known !== undefined) return known;
    const fresh: Known = isEmpty(open)
      ? { bound: 0, least: 0, by: undefined }
      : { bound: 1, least: Number.POSITIVE_INFINITY, by: undefined };
    this.#known.set(open, fresh);
    return fresh;
  }

  /** @returns the cheapest cover that was met */
  coverOf(open: RowSet): Column[] {
    const { by } = this.about(open);
    if (by === undefined) return [];
    if ('cost' in by) return [by, ...this.coverOf(without(open, by.set))];
    return by.flatMap((part) => this.coverOf(part));
  }

  /** Remembers a cover, for all that its columns leave too. */
  learn(open: RowSet, cover: readonly Column[]): void {
    let rest = open;
    let cost = costOf(cover);
    for (const column of cover) {
      this.#learnFirst(this.about(rest), cost, column);
      rest = without(rest, column.set);
      cost -= column.cost;
    }
  }

  /**
   * @returns the least cost of covering the open rows if that is within the limit, otherwise a bound above
   *   the limit; only a bound if the search is exhausted
   */
  least(open: RowSet, limit: number): number {
    const known = this.about(open);
    if (isSettled(known, limit)) return known.bound;
    this.#raise(known, this.#boundByPrices(open));
    if (isSettled(known, limit) || this.isExhausted) return known.bound;
    const priced = this.#price(open, limit);
    if (!isSettled(known, limit)) this.#branch(open, known, limit, priced);
    return known.bound;
  }

  /**
   * @returns whether the open rows can be covered at this cost; undefined if the search is exhausted first
   */
  canCover(open: RowSet, cost: number): boolean | undefined {
    if (cost < 0 || this.least(open, cost) > cost) return false;
    return this.about(open).least <= cost ? true : undefined;
  }

  /** Prices the open rows without searching, for a first bound and a first cover. */
  look(open: RowSet): Priced {
    const known = this.about(open);
    const priced = this.#price(open, Number.POSITIVE_INFINITY);
    if (!isSettled(known, Number.POSITIVE_INFINITY)) this.#dive(open);
    if (known.by === undefined) this.#learnFrom(open, this.#columns, priced.prices);
    return priced;
  }

  /** Prices the open rows, and learns a bound from it, and perhaps a cover. */
  #price(open: RowSet, limit: number): Priced {
    this.#nodes += 1;
    const known = this.about(open);
    for (;;) {
      const priced = this.#pricing.price(open, limit);
      this.#raise(known, this.#roundUp(open, priced.worth));
      const taken = priced.taken?.map(({ column }) => column);
      if (taken !== undefined) this.#learnFrom(open, taken, priced.prices);
      const isEnough = taken === undefined || isSettled(known, limit);
      if (isEnough || !this.#pricing.addTallies(open)) {
        if (this.#prices.length < MOST_PRICES) this.#prices.push(priced.prices);
        return priced;
      }
    }
  }

  /**
   * Follows the relaxation to a cover: takes the columns that it takes whole, or otherwise the one that it
   * takes most of, and prices the rest.
   */
  #dive(open: RowSet): void {
    const cover: Column[] = [];
    let rest = open;
    while (!isEmpty(rest)) {
      const before = rest;
      const taken = this.#pricing
        .price(rest, Number.POSITIVE_INFINITY)
        .taken?.filter(({ column }) => !isEmpty(shared(column.set, before)));
      if (taken === undefined || taken.length === 0) return;
      const most = Math.max(...taken.map(({ part }) => part));
      const whole = taken.filter(({ part }) => part >= Math.min(most, NEARLY_WHOLE));
      const picked = most < NEARLY_WHOLE ? whole.slice(0, 1) : whole;
      cover.push(...picked.map(({ column }) => column));
      rest = without(rest, madeBy(picked.map(({ column }) => column)));
    }
    this.learn(open, thinned(open, cover));
  }

  /** Learns a cover by taking the best value first. */
  #learnFrom(open: RowSet, columns: readonly Column[], prices: Prices): void {
    const cover: Column[] = [];
    for (let rest = open; !isEmpty(rest); ) {
      const best = bestValue(rest, columns, prices);
      if (best === undefined) return;
      cover.push(best);
      rest = without(rest, best.set);
    }
    this.learn(open, thinned(open, cover));
  }

  #branch(open: RowSet, known: Known, limit: number, priced: Priced): void {
    const most = Math.min(limit, known.least - 1);
    const within = this.#columns.filter(({ set, cost }) => {
      const made = shared(set, open);
      return !isEmpty(made) && boundWith(made, cost, priced) <= most;
    });
    const parts = partsOf(open, within);
    if (!isWithin(open, madeBy(within))) this.#raise(known, most + 1);
    else if (parts.length > 1) this.#addUp(known, parts, most);
    else this.#tryEach(open, known, limit, priced);
  }

  /** No column within the limit joins two of the parts, so each is covered by itself. */
  #addUp(known: Known, parts: readonly RowSet[], limit: number): void {
    const each = parts.map((part) => this.about(part));
    const sum = () => each.reduce((total, { bound }) => total + bound, 0);
    each.forEach(({ bound }, k) => {
      if (sum() <= limit) this.least(parts[k] as RowSet, limit - sum() + bound);
    });
    const least = each.reduce((total, part) => total + part.least, 0);
    if (least < known.least) {
      known.least = least;
      known.by = parts;
    }
    // Beyond the limit there may be columns that join the parts.
    this.#raise(known, Math.min(sum(), limit + 1));
  }

  /** The lowest open row must be made by someone. */
  #tryEach(open: RowSet, known: Known, limit: number, priced: Priced): void {
    let lowest = Number.POSITIVE_INFINITY;
    for (const { column, rest, bound } of this.#branches(open, Math.min(limit, known.least - 1), priced)) {
      const most = Math.min(limit, known.least - 1);
      if (bound > most) {
        lowest = Math.min(lowest, bound);
        continue;
      }
      lowest = Math.min(lowest, column.cost + this.least(rest, most - column.cost));
      this.#learnFirst(known, column.cost + this.about(rest).least, column);
    }
    this.#raise(known, lowest);
  }

  /**
   * @returns the columns that make the lowest row, most promising first; of those within the limit, only what no other
   *   outdoes
   */
  #branches(open: RowSet, limit: number, priced: Priced): Branch[] {
    const row = lowestOf(open);
    const branches = this.#columns
      .filter(({ set }) => has(set, row))
      .map((column) => {
        const rest = without(open, column.set);
        const bound = boundWith(shared(column.set, open), column.cost, priced);
        return {
          column,
          rest,
          bound: bound > limit ? bound : Math.max(bound, column.cost + this.#boundOf(rest)),
        };
      })
      .sort((a, b) => a.bound - b.bound);
    return branches.filter(
      (branch, k) => branch.bound > limit || !branches.some((other, l) => outdoes(other, branch, l < k)),
    );
  }

  #boundOf(open: RowSet): number {
    return isEmpty(open) ? 0 : Math.max(this.#known.get(open)?.bound ?? 0, this.#boundByPrices(open));
  }

  #boundByPrices(open: RowSet): number {
    const worths = this.#prices.map((prices) => worthOf(open, prices));
    return this.#roundUp(open, Math.max(0, ...worths));
  }

  /** @returns the first cost from this worth on that a cover can have, whose count lies between a fewest and a most */
  #roundUp(open: RowSet, worth: number): number {
    const bound = Math.ceil(worth / PARTS);
    const columns = bound % COUNTS;
    const fewest = Math.ceil(sizeOf(open) / this.#reach);
    if (columns > sizeOf(open)) return bound - columns + COUNTS + fewest;
    return bound + Math.max(0, fewest - columns);
  }

  #learnFirst(known: Known, cost: number, column: Column): void {
    if (cost >= known.least) return;
    known.least = cost;
    known.by = column;
  }

  #raise(known: Known, bound: number): void {
    known.bound = Math.max(known.bound, Math.min(bound, known.least));
  }
}

const isSettled = ({ bound, least }: Known, limit: number): boolean => bound > limit || bound >= least;

const outdoes = (a: Branch, b: Branch, isFirst: boolean): boolean =>
  a !== b &&
  a.column.cost <= b.column.cost &&
  isWithin(a.rest, b.rest) &&
  (isFirst || a.column.cost < b.column.cost || !isSame(a.rest, b.rest));

/** @returns the open rows that are in a column, in parts that no column joins */
function partsOf(open: RowSet, columns: readonly Column[]): RowSet[] {
  let parts: RowSet[] = [];
  for (const { set } of columns) {
    const made = shared(set, open);
    const touched = parts.filter((part) => !isEmpty(shared(part, made)));
    if (touched.length === 1 && isWithin(made, touched[0] as RowSet)) continue;
    parts = [...parts.filter((part) => !touched.includes(part)), touched.reduce(joined, made)];
  }
  return parts;
}

function bestValue(open: RowSet, columns: readonly Column[], prices: Prices): Column | undefined {
  let best: Column | undefined;
  let most = 0;
  for (const column of columns) {
    const made = shared(column.set, open);
    const value = isEmpty(made) ? 0 : (worthOf(made, prices) + PARTS) / column.cost;
    if (value > most) {
      most = value;
      best = column;
    }
  }
  return best;
}

/** @returns the cover without columns whose rows the others make anyway; the dearest are left out first */
function thinned(open: RowSet, cover: readonly Column[]): Column[] {
  let kept = [...cover];
  for (const column of [...cover].sort((a, b) => b.cost - a.cost)) {
    const others = kept.filter((other) => other !== column);
    if (isWithin(open, madeBy(others))) kept = others;
  }
  return kept;
}
