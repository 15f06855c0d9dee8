// Sets of rows as two words, and a table keyed by them. Knows nothing of costs.

/** Most rows that a set can hold. */
export const MOST_ROWS = 63;

/** Rows 0 to 31 in `low`, rows 32 to 62 in `high`, one bit a row. */
export interface RowSet {
  readonly low: number;
  readonly high: number;
}

export const NO_ROWS: RowSet = { low: 0, high: 0 };

export function rowSet(rows: Iterable<number>): RowSet {
  let low = 0;
  let high = 0;
  for (const row of rows) {
    if (row < 32) low |= 1 << row;
    else high |= 1 << (row - 32);
  }
  return { low, high };
}

export const isEmpty = (set: RowSet): boolean => (set.low | set.high) === 0;

export const has = (set: RowSet, row: number): boolean =>
  ((row < 32 ? set.low >>> row : set.high >>> (row - 32)) & 1) === 1;

export const isWithin = (part: RowSet, whole: RowSet): boolean =>
  ((part.low & ~whole.low) | (part.high & ~whole.high)) === 0;

export const isSame = (a: RowSet, b: RowSet): boolean => a.low === b.low && a.high === b.high;

export const without = (set: RowSet, gone: RowSet): RowSet => ({
  low: set.low & ~gone.low,
  high: set.high & ~gone.high,
});

export const shared = (a: RowSet, b: RowSet): RowSet => ({ low: a.low & b.low, high: a.high & b.high });

export const joined = (a: RowSet, b: RowSet): RowSet => ({ low: a.low | b.low, high: a.high | b.high });

export const sizeOf = (set: RowSet): number => bits(set.low) + bits(set.high);

/** @returns the lowest row of a set that is not empty */
export const lowestOf = ({ low, high }: RowSet): number =>
  low !== 0 ? lowestBit(low) : 32 + lowestBit(high);

/** @returns the rows, ascending */
export function rowsOf(set: RowSet): number[] {
  const rows: number[] = [];
  for (let low = set.low; low !== 0; low &= low - 1) rows.push(lowestBit(low));
  for (let high = set.high; high !== 0; high &= high - 1) rows.push(32 + lowestBit(high));
  return rows;
}

/** @returns the sum of the values of all rows in the set */
export function sumOver(set: RowSet, byRow: Float64Array): number {
  let sum = 0;
  for (let low = set.low; low !== 0; low &= low - 1) sum += byRow[lowestBit(low)] as number;
  for (let high = set.high; high !== 0; high &= high - 1) sum += byRow[32 + lowestBit(high)] as number;
  return sum;
}

const lowestBit = (word: number): number => 31 - Math.clz32(word & -word);

/** How many bits are 1: counted in pairs, then in fours, then in bytes. */
function bits(word: number): number {
  const pairs = word - ((word >>> 1) & 0x55555555);
  const fours = (pairs & 0x33333333) + ((pairs >>> 2) & 0x33333333);
  return Math.imul((fours + (fours >>> 4)) & 0x0f0f0f0f, 0x01010101) >>> 24;
}

/** One value for each set of rows. */
export class RowSetTable<Value> {
  readonly #byHigh = new Map<number, Map<number, Value>>();

  get({ low, high }: RowSet): Value | undefined {
    return this.#byHigh.get(high)?.get(low);
  }

  set({ low, high }: RowSet, value: Value): void {
    const byLow = this.#byHigh.get(high);
    if (byLow === undefined) this.#byHigh.set(high, new Map([[low, value]]));
    else byLow.set(low, value);
  }
}
