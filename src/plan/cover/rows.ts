// Sets of rows as two words, and a table keyed by them. Knows nothing of costs.

/** Most rows that a set can hold. */
export const MOST_ROWS = 63;

/** Rows 0 to 31 in `low`, rows 32 to 62 in `high`, one bit a row. */
export interface RowSet {
  readonly low: number;
  readonly high: number;
}

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

export const without = (set: RowSet, gone: RowSet): RowSet => ({
  low: set.low & ~gone.low,
  high: set.high & ~gone.high,
});

export const shared = (a: RowSet, b: RowSet): RowSet => ({ low: a.low & b.low, high: a.high & b.high });

export const joined = (a: RowSet, b: RowSet): RowSet => ({ low: a.low | b.low, high: a.high | b.high });

export const isWithin = (part: RowSet, whole: RowSet): boolean =>
  ((part.low & ~whole.low) | (part.high & ~whole.high)) === 0;

export const isSame = (a: RowSet, b: RowSet): boolean => a.low === b.low && a.high === b.high;

export const sizeOf = (set: RowSet): number => bits(set.low) + bits(set.high);

/** @returns the lowest row; 64 or more for the empty set */
export const lowestOf = ({ low, high }: RowSet): number =>
  low !== 0 ? 31 - Math.clz32(low & -low) : 63 - Math.clz32(high & -high) + (high === 0 ? 1 : 0);

/** @returns the rows, ascending */
export function rowsOf(set: RowSet): number[] {
  const rows: number[] = [];
  for (let low = set.low; low !== 0; low &= low - 1) rows.push(31 - Math.clz32(low & -low));
  for (let high = set.high; high !== 0; high &= high - 1) rows.push(63 - Math.clz32(high & -high));
  return rows;
}

function bits(word: number): number {
  let count = 0;
  for (let rest = word; rest !== 0; rest &= rest - 1) count += 1;
  return count;
}

/** One value for each set of rows. */
export class RowSetTable<Value> {
  readonly #byHigh = new Map<number, Map<number, Value>>();

  get({ low, high }: RowSet): Value | undefined {
    return this.#byHigh.get(high)?.get(low);
  }

  set({ low, high }: RowSet, value: Value): void {
    let byLow = this.#byHigh.get(high);
    if (byLow === undefined) {
      byLow = new Map();
      this.#byHigh.set(high, byLow);
    }
    byLow.set(low, value);
  }
}
