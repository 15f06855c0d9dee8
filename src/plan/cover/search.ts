import { type Column, PARTS, Pricing } from './prices.js';
import {
  has,
  isEmpty,
  isSame,
  isWithin,
  joined,
  lowestOf,
  type RowSet,
  RowSetTable,
  rowsOf,
  shared,
  sizeOf,
  without,
} from './rows.js';

/** Passes that a cost can count: costs are whole milliseconds times COUNTS plus one a pass. */
export const COUNTS = 64;

interface Known {
  bound: number;
  least: number;
  /** First column of the cover that costs `least`. */
  first: number;
  parts: readonly RowSet[] | undefined;
}

interface Child {
  readonly column: number;
  readonly rest: RowSet;
  readonly bound: number;
}

export class Search {
  nodes = 0;
  readonly pricing: Pricing;
  readonly #columns: readonly Column[];
  readonly #mostNodes: number;
  readonly #mostRows: number;
  readonly #known = new RowSetTable<Known>();
  readonly pool: Float64Array[] = [];

  constructor(size: number, columns: readonly Column[], mostNodes: number) {
    this.#columns = columns;
    this.#mostNodes = mostNodes;
    this.#mostRows = Math.max(1, ...columns.map((column) => column.rows.length));
    this.pricing = new Pricing(size, columns);
  }

  least(open: RowSet, limit: number): number {
    if (isEmpty(open)) return 0;
    const known = this.about(open);
    if (known.bound > limit || known.bound === known.least) return known.bound;
    for (const prices of this.pool) known.bound = Math.max(known.bound, this.#roundUp(open, worth(prices, open)));
    if (known.bound > limit || known.bound === known.least) return known.bound;
    if (this.nodes >= this.#mostNodes) return known.bound;
    this.nodes += 1;
    const priced = this.pricing.price(open, limit);
    const bound = worth(priced.prices, open);
    const rounded = this.#roundUp(open, bound);
    if (rounded > known.bound) {
      known.bound = rounded;
      if (this.pool.length < 8) this.pool.push(priced.prices);
    }
    if (priced.taken !== undefined) this.#tryCover(open, known, priced.taken.map(({ column }) => column), priced.prices);
    if (known.bound > limit || known.bound >= known.least) return known.bound;
    this.#branch(open, known, limit, priced.prices, bound);
    return known.bound;
  }

  about(open: RowSet): Known {
    let known = this.#known.get(open);
    if (known === undefined) {
      known = { bound: 1, least: Number.POSITIVE_INFINITY, first: -1, parts: undefined };
      this.#known.set(open, known);
    }
    return known;
  }

  #branch(open: RowSet, known: Known, limit: number, prices: Float64Array, bound: number): void {
    const most = Math.min(limit, known.least - 1);
    const viable = this.#viable(open, prices, bound, most);
    const parts = this.#partsOf(open, viable);
    if (parts.length > 1) {
      this.#addParts(known, parts, most);
      return;
    }
    const row = this.#rowWithFewest(open, viable);
    const children = this.#children(open, row, prices, bound);
    let lowest = Number.POSITIVE_INFINITY;
    for (const { column, rest, bound: childBound } of children) {
      const most = Math.min(limit, known.least - 1);
      if (childBound > most) {
        lowest = Math.min(lowest, childBound);
        break;
      }
      const cost = this.#columns[column]!.cost;
      const value = cost + this.least(rest, most - cost);
      lowest = Math.min(lowest, value);
      const least = cost + (isEmpty(rest) ? 0 : this.about(rest).least);
      if (least < known.least) {
        known.least = least;
        known.first = column;
        known.parts = undefined;
      }
    }
    known.bound = Math.max(known.bound, Math.min(lowest, known.least));
  }

  #addParts(known: Known, parts: readonly RowSet[], limit: number): void {
    const bounds = parts.map((part) => this.about(part).bound);
    let total = bounds.reduce((sum, b) => sum + b, 0);
    parts.forEach((part, k) => {
      if (total > limit) return;
      const value = this.least(part, limit - total + bounds[k]!);
      total += value - bounds[k]!;
      bounds[k] = value;
    });
    const least = parts.reduce((sum, part) => sum + this.about(part).least, 0);
    if (least < known.least) {
      known.least = least;
      known.parts = parts;
    }
    // Of covers beyond the limit nothing is said: they may use columns that join the parts.
    known.bound = Math.max(known.bound, Math.min(total, limit + 1, known.least));
  }

  #viable(open: RowSet, prices: Float64Array, bound: number, limit: number): RowSet[] {
    const viable: RowSet[] = [];
    for (const { set, cost } of this.#columns) {
      const made = shared(set, open);
      if (isEmpty(made)) continue;
      if (bound + cost * PARTS - worthOfSet(prices, made) <= limit * PARTS) viable.push(made);
    }
    return viable;
  }

  #partsOf(open: RowSet, viable: readonly RowSet[]): RowSet[] {
    let parts: RowSet[] = [];
    for (const made of viable) {
      let merged = made;
      let isNew = true;
      const kept: RowSet[] = [];
      for (const part of parts) {
        if (isWithin(made, part)) {
          isNew = false;
          break;
        }
        if (isEmpty(shared(part, merged))) kept.push(part);
        else merged = joined(merged, part);
      }
      if (isNew) parts = [...kept, merged];
    }
    let rest = open;
    for (const part of parts) rest = without(rest, part);
    return isEmpty(rest) ? parts : [open];
  }

  #rowWithFewest(open: RowSet, viable: readonly RowSet[]): number {
    const counts = new Int32Array(64);
    for (const made of viable) for (const row of rowsOf(made)) counts[row]! += 1;
    let best = lowestOf(open);
    for (const row of rowsOf(open)) if (counts[row]! < counts[best]!) best = row;
    return best;
  }

  #children(open: RowSet, row: number, prices: Float64Array, bound: number): Child[] {
    const children: (Child & { cost: number })[] = [];
    this.#columns.forEach(({ set, cost }, column) => {
      if (!has(set, row)) return;
      const made = shared(set, open);
      const rest = without(open, set);
      const worthHere = bound + cost * PARTS - worthOfSet(prices, made);
      let childBound = Math.ceil(worthHere / PARTS);
      for (const p of this.pool) childBound = Math.max(childBound, cost + Math.ceil(worth(p, rest) / PARTS));
      if (!isEmpty(rest)) childBound = Math.max(childBound, cost + (this.#known.get(rest)?.bound ?? 0));
      children.push({ column, rest, bound: childBound, cost });
    });
    const undominated = children.filter(
      (child, k) =>
        !children.some(
          (other, l) =>
            l !== k &&
            other.cost <= child.cost &&
            isWithin(other.rest, child.rest) &&
            (other.cost < child.cost || !isSame(other.rest, child.rest) || l < k),
        ),
    );
    return undominated.sort((a, b) => a.bound - b.bound);
  }

  #tryCover(open: RowSet, known: Known, support: readonly number[], prices: Float64Array): void {
    const chosen = greedy(this.#columns, open, support, prices);
    const cost = chosen.reduce((sum, column) => sum + this.#columns[column]!.cost, 0);
    if (cost >= known.least) return;
    let rest = open;
    let left = cost;
    for (const column of chosen) {
      const entry = this.about(rest);
      if (left < entry.least) {
        entry.least = left;
        entry.first = column;
        entry.parts = undefined;
      }
      left -= this.#columns[column]!.cost;
      rest = without(rest, this.#columns[column]!.set);
    }
  }

  cover(open: RowSet): number[] {
    if (isEmpty(open)) return [];
    const known = this.about(open);
    if (known.parts !== undefined) return known.parts.flatMap((part) => this.cover(part));
    return [known.first, ...this.cover(without(open, this.#columns[known.first]!.set))];
  }

  #roundUp(open: RowSet, parts: number): number {
    const bound = Math.ceil(parts / PARTS);
    const count = bound % COUNTS;
    const fewest = Math.ceil(sizeOf(open) / this.#mostRows);
    if (count > sizeOf(open)) return bound - count + COUNTS + fewest;
    return count < fewest ? bound - count + fewest : bound;
  }
}

export function greedy(columns: readonly Column[], open: RowSet, support: readonly number[], prices: Float64Array): number[] {
  const chosen: number[] = [];
  let rest = open;
  while (!isEmpty(rest)) {
    let best = -1;
    let bestRatio = Number.POSITIVE_INFINITY;
    for (const column of support) {
      const { set, cost } = columns[column]!;
      const made = shared(set, rest);
      if (isEmpty(made)) continue;
      const ratio = (cost + 1) / (worthOfSet(prices, made) / PARTS + 1);
      if (ratio < bestRatio) {
        bestRatio = ratio;
        best = column;
      }
    }
    if (best < 0) throw new Error('support covers nothing');
    chosen.push(best);
    rest = without(rest, columns[best]!.set);
  }
  // Drop what the others make too, dearest first.
  const kept = new Set(chosen);
  for (const column of [...chosen].sort((a, b) => columns[b]!.cost - columns[a]!.cost)) {
    let others: RowSet = { low: 0, high: 0 };
    for (const other of kept) if (other !== column) others = joined(others, columns[other]!.set);
    if (isWithin(open, others)) kept.delete(column);
  }
  return [...kept];
}

export function worth(prices: Float64Array, open: RowSet): number {
  return worthOfSet(prices, open);
}

function worthOfSet(prices: Float64Array, set: RowSet): number {
  let sum = 0;
  for (let low = set.low; low !== 0; low &= low - 1) sum += prices[31 - Math.clz32(low & -low)]!;
  for (let high = set.high; high !== 0; high &= high - 1) sum += prices[63 - Math.clz32(high & -high)]!;
  return sum;
}
