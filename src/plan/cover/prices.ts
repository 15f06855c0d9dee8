// Prices for making rows, such that no column costs less than what it makes is worth: then no cover of a set of
// rows costs less than the set is worth. Knows nothing of the search.
//
// The best prices for a set are the dual solution of its linear relaxation, where columns may be taken in part. There
// it saves what no real cover can: it fires two thirds of a pass, say. Tallies take that back. They are counting rules
// with a price of their own, added where the relaxation breaks them.
//
// Floating point decides only how good the prices are. They are rounded down to whole parts and checked against every
// column in whole numbers: what is handed out bounds without any tolerance.
import type { Column } from './columns.js';
import { type RowSet, rowsOf, sumOver } from './rows.js';
import { Simplex } from './simplex.js';

/** Prices and worths are counted in parts, PARTS to 1 of cost. */
export const PARTS = 256;

/**
 * A set of rows counts for the sum of its shares divided by `among`, rounded up. Several columns count
 * together for at least as much as the rows that they make together, since rounding up each is at least
 * rounding up the sum.
 */
interface Tally {
  /** For each row, whole. */
  readonly shares: Float64Array;
  readonly among: number;
}

export interface Prices {
  /** For each row, in whole parts. */
  readonly rows: Float64Array;
  /** For each count of a tally. */
  readonly tallies: readonly { readonly tally: Tally; readonly price: number }[];
}

/** A set of open rows at the prices that are best for it. */
export interface Priced {
  readonly prices: Prices;
  /** The worth of the open rows, in parts. */
  readonly worth: number;
  /** The columns that the relaxation takes, and how much of each; undefined if it was stopped early. */
  readonly taken: readonly Taken[] | undefined;
}

export interface Taken {
  readonly column: Column;
  readonly part: number;
}

const MOST_TALLIES = 24;
/** Frames of the longest bracket: the largest number that a tally may divide by. */
const MOST_AMONG = 9;
/** By how much a count must fall short for a tally to be added. */
const SHORT = 0.01;

/** @returns the worth of making these rows, in parts */
export function worthOf(made: RowSet, { rows, tallies }: Prices): number {
  let worth = sumOver(made, rows);
  for (const { tally, price } of tallies) worth += price * countOf(made, tally);
  return worth;
}

const countOf = (made: RowSet, { shares, among }: Tally): number => Math.ceil(sumOver(made, shares) / among);

/** @returns a bound on the cost of covering the priced rows with a column of this cost that makes these of them */
export function boundWith(made: RowSet, cost: number, { prices, worth }: Priced): number {
  return Math.ceil((worth - worthOf(made, prices)) / PARTS) + cost;
}

export class Pricing {
  readonly #height: number;
  readonly #columns: readonly Column[];
  /** The divisors that tallies may have: the numbers of rows that columns make. */
  readonly #sizes: readonly number[];
  readonly #tallies: Tally[] = [];
  readonly #simplex: Simplex;

  /** @param height number of rows, each of which is in some column */
  constructor(height: number, columns: readonly Column[]) {
    this.#height = height;
    this.#columns = columns;
    this.#sizes = [...new Set(columns.map(({ rows }) => rows.length))].filter((size) => size <= MOST_AMONG);
    this.#simplex = new Simplex(
      height,
      columns.map(({ rows }) => rows),
      columns.map((column, k) => column.cost - nudge(column, k)),
      MOST_TALLIES,
    );
  }

  /** @param enough worth, in cost, above which it may stop */
  price(open: RowSet, enough: number): Priced {
    const isSolved = this.#simplex.solve(this.#needsOf(open), enough + 1);
    const prices = this.#safePrices();
    return { prices, worth: worthOf(open, prices), taken: isSolved ? this.#taken() : undefined };
  }

  /** Adds tallies of the open rows that the last solution breaks. @returns whether there were any */
  addTallies(open: RowSet): boolean {
    const before = this.#tallies.length;
    if (before === MOST_TALLIES) return false;
    const taken = this.#taken();
    for (const tally of this.#talliesOf(open)) {
      if (isBroken(tally, open, taken)) this.#add(tally);
      if (this.#tallies.length === MOST_TALLIES) break;
    }
    return this.#tallies.length > before;
  }

  /**
   * If all shares are equal, a tally counts how many passes the rows take. If the shares climb with the row,
   * it shows what evenly spaced passes cannot make: the rows of three, for example, always add up to a
   * multiple of three.
   */
  *#talliesOf(open: RowSet): Generator<Tally> {
    const places = placesOf(open);
    for (const among of this.#sizes) {
      for (let climb = 0; climb < among; climb += 1) {
        for (let start = climb === 0 ? 1 : 0; start < among; start += 1) {
          const shares = new Float64Array(this.#height);
          for (const { row, place } of places) shares[row] = (start + climb * place) % among;
          yield { shares, among };
        }
      }
    }
  }

  #add(tally: Tally): void {
    this.#tallies.push(tally);
    this.#simplex.addRow(Float64Array.from(this.#columns, ({ set }) => countOf(set, tally)));
  }

  #needsOf(open: RowSet): Float64Array {
    const needs = new Float64Array(this.#height + this.#tallies.length);
    for (const row of rowsOf(open)) needs[row] = 1;
    this.#tallies.forEach((tally, k) => {
      needs[this.#height + k] = countOf(open, tally);
    });
    return needs;
  }

  #taken(): Taken[] {
    return this.#simplex
      .taken()
      .map(({ column, part }) => ({ column: this.#columns[column] as Column, part }));
  }

  #safePrices(): Prices {
    const whole = (row: number) => Math.max(0, Math.floor(this.#simplex.priceOf(row) * PARTS)) || 0;
    const rows = Float64Array.from({ length: this.#height }, (_, row) => whole(row));
    const tallies = this.#tallies
      .map((tally, k) => ({ tally, price: whole(this.#height + k) }))
      .filter(({ price }) => price > 0);
    for (const { set, cost } of this.#columns) {
      const over = worthOf(set, { rows, tallies }) - cost * PARTS;
      if (over > 0) lower(rows, tallies, set, over);
    }
    return { rows, tallies };
  }
}

/**
 * The amount by which a cost is lowered: so little that all columns of a cover together lose less than a
 * quarter, if costs are whole. It differs from column to column, so that the relaxation has few ties. It is
 * larger if the rows lie close together, so that among equals the relaxation takes fewer columns in part.
 */
function nudge({ rows }: Column, place: number): number {
  const spread = ((rows.at(-1) ?? 0) - (rows[0] ?? 0)) / 64;
  const mixed = (place * 0.6180339887498949) % 1;
  return (0.8 * (1 - spread) + 0.2 * mixed) / 256;
}

function isBroken(tally: Tally, open: RowSet, taken: readonly Taken[]): boolean {
  let counted = 0;
  for (const { column, part } of taken) counted += part * countOf(column.set, tally);
  return counted < countOf(open, tally) - SHORT;
}

/** Takes an excess off the prices that make up the worth of this set. */
function lower(
  rows: Float64Array,
  tallies: { tally: Tally; price: number }[],
  set: RowSet,
  over: number,
): void {
  let left = over;
  for (const row of rowsOf(set)) {
    const less = Math.min(left, rows[row] as number);
    rows[row] = (rows[row] as number) - less;
    left -= less;
  }
  for (const counting of tallies.filter(({ tally }) => countOf(set, tally) > 0)) {
    const less = Math.min(left, counting.price);
    counting.price -= less;
    left -= less;
  }
}

/** @returns the rows, each with its place when they are counted in their common spacing */
function placesOf(open: RowSet): { row: number; place: number }[] {
  const rows = rowsOf(open);
  const first = rows[0] ?? 0;
  const spacing = rows.reduce((common, row) => commonDivisor(common, row - first), 0) || 1;
  return rows.map((row) => ({ row, place: (row - first) / spacing }));
}

const commonDivisor = (a: number, b: number): number => (b === 0 ? a : commonDivisor(b, a % b));
