// Prices for rows, so that no column costs less than the rows that it makes are worth. Knows nothing of the search.
//
// The prices are the dual solution of the linear relaxation (each column taken in any part from 0 to 1), found by the
// dual simplex method: it starts from all prices at 0, keeps the prices feasible at every step and raises the worth of
// the open rows from step to step. It may therefore be stopped at any time, and it goes on from its last basis for any
// other set of open rows, since those change only the right-hand side.
//
// Floating point decides only how good the prices are. They are rounded down to whole parts of `PARTS`, then checked
// against every column in whole numbers: what is handed out is a bound without any tolerance.
import { isEmpty, type RowSet, rowsOf } from './rows.js';

export interface Column {
  /** Where it stands in the caller's list. */
  readonly index: number;
  readonly rows: readonly number[];
  readonly set: RowSet;
  /** Whole. */
  readonly cost: number;
}

/** Prices are whole multiples of 1 / PARTS. */
export const PARTS = 1024;

const SMALLEST_PIVOT = 1e-7;
const INFEASIBLE = 1e-9;
const PIVOTS_BEFORE_FRESH = 100;

/** What the relaxation says of a set of open rows. */
export interface Priced {
  /** For each row, in parts. */
  readonly prices: Float64Array;
  /** The columns that the relaxation takes in whole or in part, undefined where it was stopped early. */
  readonly taken: readonly { readonly column: number; readonly part: number }[] | undefined;
}

export class Pricing {
  pivots = 0;
  readonly #columns: readonly Column[];
  readonly #size: number;
  /** The rows of column j are `#rows` from `#starts[j]` up to `#starts[j + 1]`. */
  readonly #starts: Int32Array;
  readonly #rows: Int32Array;
  readonly #costs: Float64Array;
  /** The variable of each basis position: a column, or `columns + row` for the surplus of a row. */
  readonly #basis: Int32Array;
  readonly #isBasic: Uint8Array;
  readonly #inverse: Float64Array;
  readonly #norms: Float64Array;
  readonly #values: Float64Array;
  /** For columns, what they cost beyond the worth of their rows; behind them, the prices of the rows. */
  readonly #reduced: Float64Array;
  readonly #alphas: Float64Array;
  readonly #entering: Float64Array;
  #pivotsSinceFresh = 0;

  constructor(size: number, columns: readonly Column[]) {
    this.#columns = columns;
    this.#size = size;
    this.#starts = new Int32Array(columns.length + 1);
    columns.forEach((column, j) => {
      this.#starts[j + 1] = at(this.#starts, j) + column.rows.length;
    });
    this.#rows = Int32Array.from(columns.flatMap((column) => column.rows));
    // Lowered by a little that differs from column to column, so that the ratio test has few ties. 63 columns lose less
    // than a quarter together, and costs are whole.
    this.#costs = Float64Array.from(columns, ({ cost }, j) => cost - ((j * 0.6180339887498949) % 1) / 256);
    this.#basis = new Int32Array(size);
    this.#isBasic = new Uint8Array(columns.length + size);
    this.#inverse = new Float64Array(size * size);
    this.#norms = new Float64Array(size);
    this.#values = new Float64Array(size);
    this.#reduced = new Float64Array(columns.length + size);
    this.#alphas = new Float64Array(columns.length + size);
    this.#entering = new Float64Array(size);
    this.#startFromSurplus();
  }

  /** @param enough the worth of the open rows at which it may stop */
  price(open: RowSet, enough: number): Priced {
    if (isEmpty(open)) return { prices: new Float64Array(this.#size), taken: [] };
    const openRows = rowsOf(open);
    this.#setValues(openRows);
    let isOptimal = false;
    for (let left = 50 * this.#size + 200; left > 0; left -= 1) {
      if (this.#worthOf(openRows) > enough + 1) break;
      if (this.#pivotsSinceFresh >= PIVOTS_BEFORE_FRESH) this.#refresh(openRows);
      const leaving = this.#chooseLeaving();
      if (leaving < 0) {
        isOptimal = true;
        break;
      }
      const entering = this.#chooseEntering(leaving);
      if (entering < 0) {
        if (this.#pivotsSinceFresh === 0) break;
        this.#refresh(openRows);
        continue;
      }
      this.#pivot(leaving, entering);
    }
    return { prices: this.#safePrices(), taken: isOptimal ? this.#taken() : undefined };
  }

  #startFromSurplus(): void {
    const count = this.#columns.length;
    this.#isBasic.fill(0);
    this.#isBasic.fill(1, count);
    this.#inverse.fill(0);
    this.#reduced.fill(0);
    this.#reduced.set(this.#costs);
    for (let row = 0; row < this.#size; row += 1) {
      this.#basis[row] = count + row;
      this.#inverse[row * this.#size + row] = -1;
      this.#norms[row] = 1;
    }
    this.#pivotsSinceFresh = 0;
  }

  #setValues(openRows: readonly number[]): void {
    const size = this.#size;
    for (let position = 0; position < size; position += 1) {
      let value = 0;
      for (const row of openRows) value += at(this.#inverse, position * size + row);
      this.#values[position] = value;
    }
  }

  #worthOf(openRows: readonly number[]): number {
    let worth = 0;
    for (const row of openRows) worth += at(this.#reduced, this.#columns.length + row);
    return worth;
  }

  /** @returns the basis position whose value is the most negative, measured along its edge; -1 where none is negative */
  #chooseLeaving(): number {
    let chosen = -1;
    let most = 0;
    for (let position = 0; position < this.#size; position += 1) {
      const value = at(this.#values, position);
      if (value >= -INFEASIBLE) continue;
      const steepness = (value * value) / at(this.#norms, position);
      if (steepness > most) {
        most = steepness;
        chosen = position;
      }
    }
    return chosen;
  }

  /** @returns the variable that reaches a reduced cost of 0 first; -1 where there is none */
  #chooseEntering(leaving: number): number {
    const size = this.#size;
    const count = this.#columns.length;
    const row = leaving * size;
    const inverse = this.#inverse;
    const starts = this.#starts;
    const rows = this.#rows;
    let chosen = -1;
    let least = Number.POSITIVE_INFINITY;
    for (let variable = 0; variable < count + size; variable += 1) {
      let alpha = 0;
      if (at(this.#isBasic, variable) === 0) {
        if (variable < count) {
          const end = at(starts, variable + 1);
          for (let entry = at(starts, variable); entry < end; entry += 1) alpha += at(inverse, row + at(rows, entry));
        } else {
          alpha = -at(inverse, row + variable - count);
        }
      }
      this.#alphas[variable] = alpha;
      if (alpha >= -SMALLEST_PIVOT) continue;
      const ratio = at(this.#reduced, variable) / -alpha;
      if (ratio < least) {
        least = ratio;
        chosen = variable;
      }
    }
    return chosen;
  }

  #pivot(leaving: number, entering: number): void {
    const size = this.#size;
    const inverse = this.#inverse;
    this.#updateReduced(leaving, entering);
    this.#setEnteringColumn(entering);
    const pivot = at(this.#entering, leaving);
    const step = at(this.#values, leaving) / pivot;
    const pivotRow = leaving * size;
    for (let k = 0; k < size; k += 1) inverse[pivotRow + k] = at(inverse, pivotRow + k) / pivot;
    this.#norms[leaving] = at(this.#norms, leaving) / (pivot * pivot);
    for (let position = 0; position < size; position += 1) {
      const factor = at(this.#entering, position);
      if (position === leaving || factor === 0) continue;
      this.#values[position] = at(this.#values, position) - factor * step;
      const start = position * size;
      let norm = 0;
      for (let k = 0; k < size; k += 1) {
        const entry = at(inverse, start + k) - factor * at(inverse, pivotRow + k);
        inverse[start + k] = entry;
        norm += entry * entry;
      }
      this.#norms[position] = norm;
    }
    this.#values[leaving] = step;
    this.#isBasic[at(this.#basis, leaving)] = 0;
    this.#isBasic[entering] = 1;
    this.#basis[leaving] = entering;
    this.#pivotsSinceFresh += 1;
    this.pivots += 1;
  }

  #updateReduced(leaving: number, entering: number): void {
    const reduced = this.#reduced;
    const alphas = this.#alphas;
    const ratio = at(reduced, entering) / at(alphas, entering);
    if (ratio !== 0) {
      for (let variable = 0; variable < reduced.length; variable += 1) {
        const alpha = at(alphas, variable);
        if (alpha !== 0) reduced[variable] = Math.max(0, at(reduced, variable) - ratio * alpha);
      }
    }
    reduced[entering] = 0;
    reduced[at(this.#basis, leaving)] = Math.max(0, -ratio);
  }

  /** The entering variable in terms of the basis. */
  #setEnteringColumn(entering: number): void {
    const size = this.#size;
    const count = this.#columns.length;
    const isColumn = entering < count;
    const start = isColumn ? at(this.#starts, entering) : 0;
    const end = isColumn ? at(this.#starts, entering + 1) : 0;
    for (let position = 0; position < size; position += 1) {
      let value = isColumn ? 0 : -at(this.#inverse, position * size + entering - count);
      for (let entry = start; entry < end; entry += 1)
        value += at(this.#inverse, position * size + at(this.#rows, entry));
      this.#entering[position] = value;
    }
  }

  /** Computes everything anew from the basis, so that rounding errors do not build up. */
  #refresh(openRows: readonly number[]): void {
    if (!this.#invertBasis()) this.#startFromSurplus();
    else this.#priceBasis();
    this.#setValues(openRows);
    this.#pivotsSinceFresh = 0;
  }

  /** @returns false where the basis is singular */
  #invertBasis(): boolean {
    const size = this.#size;
    const count = this.#columns.length;
    const left = new Float64Array(size * size);
    const inverse = this.#inverse;
    this.#basis.forEach((variable, position) => {
      if (variable >= count) left[(variable - count) * size + position] = -1;
      else for (const row of this.#columns[variable]?.rows ?? []) left[row * size + position] = 1;
    });
    inverse.fill(0);
    for (let k = 0; k < size; k += 1) inverse[k * size + k] = 1;
    for (let k = 0; k < size; k += 1) {
      let best = k;
      for (let row = k + 1; row < size; row += 1)
        if (Math.abs(at(left, row * size + k)) > Math.abs(at(left, best * size + k))) best = row;
      const pivot = at(left, best * size + k);
      if (Math.abs(pivot) < SMALLEST_PIVOT) return false;
      swapRows(left, size, k, best);
      swapRows(inverse, size, k, best);
      scaleRow(left, size, k, 1 / pivot);
      scaleRow(inverse, size, k, 1 / pivot);
      for (let row = 0; row < size; row += 1) {
        const factor = at(left, row * size + k);
        if (row === k || factor === 0) continue;
        subtractRow(left, size, row, k, factor);
        subtractRow(inverse, size, row, k, factor);
      }
    }
    for (let position = 0; position < size; position += 1) {
      let norm = 0;
      for (let k = 0; k < size; k += 1) norm += at(inverse, position * size + k) ** 2;
      this.#norms[position] = norm;
    }
    return true;
  }

  /** Prices and reduced costs of the basis as it stands. */
  #priceBasis(): void {
    const size = this.#size;
    const count = this.#columns.length;
    const reduced = this.#reduced;
    reduced.fill(0);
    for (let position = 0; position < size; position += 1) {
      const variable = at(this.#basis, position);
      if (variable >= count) continue;
      const cost = at(this.#costs, variable);
      for (let row = 0; row < size; row += 1)
        reduced[count + row] = at(reduced, count + row) + cost * at(this.#inverse, position * size + row);
    }
    for (let row = 0; row < size; row += 1) reduced[count + row] = Math.max(0, at(reduced, count + row));
    for (let column = 0; column < count; column += 1) {
      let rest = at(this.#costs, column);
      const end = at(this.#starts, column + 1);
      for (let entry = at(this.#starts, column); entry < end; entry += 1)
        rest -= at(reduced, count + at(this.#rows, entry));
      reduced[column] = at(this.#isBasic, column) === 1 ? 0 : Math.max(0, rest);
    }
  }

  /** @returns the prices in whole parts, lowered wherever a column would cost less than its rows are worth */
  #safePrices(): Float64Array {
    const count = this.#columns.length;
    const prices = new Float64Array(this.#size);
    for (let row = 0; row < this.#size; row += 1) {
      prices[row] = Math.max(0, Math.floor(at(this.#reduced, count + row) * PARTS)) || 0;
    }
    this.#columns.forEach((column) => {
      let over = -column.cost * PARTS;
      for (const row of column.rows) over += at(prices, row);
      for (const row of column.rows) {
        if (over <= 0) return;
        const less = Math.min(over, at(prices, row));
        prices[row] = at(prices, row) - less;
        over -= less;
      }
    });
    return prices;
  }

  #taken(): { column: number; part: number }[] {
    const taken: { column: number; part: number }[] = [];
    for (let position = 0; position < this.#size; position += 1) {
      const column = at(this.#basis, position);
      const part = at(this.#values, position);
      if (column < this.#columns.length && part > INFEASIBLE) taken.push({ column, part });
    }
    return taken;
  }
}

/** The index is within bounds by construction. */
const at = (array: Float64Array | Int32Array | Uint8Array, index: number): number => array[index] as number;

function swapRows(matrix: Float64Array, size: number, a: number, b: number): void {
  if (a === b) return;
  for (let k = 0; k < size; k += 1) {
    const kept = at(matrix, a * size + k);
    matrix[a * size + k] = at(matrix, b * size + k);
    matrix[b * size + k] = kept;
  }
}

function scaleRow(matrix: Float64Array, size: number, row: number, factor: number): void {
  for (let k = row * size; k < (row + 1) * size; k += 1) matrix[k] = at(matrix, k) * factor;
}

function subtractRow(matrix: Float64Array, size: number, row: number, by: number, factor: number): void {
  for (let k = 0; k < size; k += 1)
    matrix[row * size + k] = at(matrix, row * size + k) - factor * at(matrix, by * size + k);
}
