// A small linear solver: the least cost of taking columns, any part of each, so that every row gets what it needs.
// Knows nothing of candidates and passes.
//
// It is the dual simplex method. Its prices for the rows start at 0, which no column undercuts where no cost is
// negative. Each pivot keeps it so, and raises what the needs are worth at the prices. It may therefore be stopped
// after any pivot, and goes on from where it stands after any change of the needs and any new row. The inverse of the
// basis is held in full, since there are fewer than a hundred rows.

const SMALLEST_PIVOT = 1e-7;
/** Below this an entry of the inverse is taken for the 0 that it would be without rounding. */
const NEARLY_0 = 1e-12;
const TOLERANCE = 1e-9;
const PIVOTS_BEFORE_FRESH = 150;

export class Simplex {
  /** The rows where column j has a 1 are `#ones` from `#starts[j]` up to `#starts[j + 1]`. */
  readonly #starts: Int32Array;
  readonly #ones: Int32Array;
  readonly #costs: Float64Array;
  readonly #columns: number;
  /** Rows that there is room for: the length of a row of the inverse. */
  readonly #capacity: number;
  readonly #firstAdded: number;
  /** The columns' entries in each row that was added. */
  readonly #added: Float64Array[] = [];
  /** The variable of each position of the basis: a column, or `#columns + row` for the surplus of a row. */
  readonly #basis: Int32Array;
  readonly #inverse: Float64Array;
  /** Square of the length of each row of the inverse. */
  readonly #norms: Float64Array;
  /** How much is taken of each variable of the basis. */
  readonly #values: Float64Array;
  readonly #needs: Float64Array;
  /** For each column, its cost minus the worth of its rows; after the columns, the prices of the rows. */
  readonly #reduced: Float64Array;
  readonly #tableauRow: Float64Array;
  readonly #enteringColumn: Float64Array;
  /** The places at which the row that was scaled last is not 0. */
  readonly #filled: Int32Array;
  #pivotsSinceFresh = 0;

  /**
   * @param height number of rows, each of which some column makes
   * @param rows for every column, those that it makes
   * @param costs for every column, none negative
   * @param mostAdded how many rows may be added later
   */
  constructor(
    height: number,
    rows: readonly (readonly number[])[],
    costs: readonly number[],
    mostAdded: number,
  ) {
    const columns = rows.length;
    const capacity = height + mostAdded;
    this.#columns = columns;
    this.#capacity = capacity;
    this.#firstAdded = height;
    this.#starts = new Int32Array(columns + 1);
    rows.forEach((ones, column) => {
      this.#starts[column + 1] = at(this.#starts, column) + ones.length;
    });
    this.#ones = Int32Array.from(rows.flat());
    this.#costs = Float64Array.from(costs);
    this.#basis = new Int32Array(capacity);
    this.#inverse = new Float64Array(capacity * capacity);
    this.#norms = new Float64Array(capacity);
    this.#values = new Float64Array(capacity);
    this.#needs = new Float64Array(capacity);
    this.#reduced = new Float64Array(columns + capacity);
    this.#tableauRow = new Float64Array(columns + capacity);
    this.#enteringColumn = new Float64Array(capacity);
    this.#filled = new Int32Array(capacity);
    this.#startFromSurplus();
  }

  get height(): number {
    return this.#firstAdded + this.#added.length;
  }

  /** @param counts for every column, how much it gives to the new row; none negative */
  addRow(counts: Float64Array): void {
    const row = this.height;
    const capacity = this.#capacity;
    const inverse = this.#inverse;
    for (let position = 0; position < row; position += 1) {
      const variable = at(this.#basis, position);
      const made = variable < this.#columns ? at(counts, variable) : 0;
      if (made === 0) continue;
      for (let k = 0; k < row; k += 1)
        inverse[row * capacity + k] =
          at(inverse, row * capacity + k) + made * at(inverse, position * capacity + k);
    }
    this.#added.push(counts);
    this.#setNorm(row);
  }

  /**
   * @param needs of every row
   * @param enough the worth of the needs above which it may stop
   * @returns whether it came to the end: then the columns that it takes are a solution of least cost
   */
  solve(needs: Float64Array, enough: number): boolean {
    this.#needs.set(needs);
    this.#setValues();
    // Far more than it takes. Were it ever to go round in circles, the prices would still be feasible.
    for (let left = 50 * this.height + 200; left > 0; left -= 1) {
      if (this.#worth() > enough) return false;
      if (this.#pivotsSinceFresh >= PIVOTS_BEFORE_FRESH) this.#refresh();
      const leaving = this.#chooseLeaving();
      if (leaving < 0) return true;
      const entering = this.#chooseEntering(leaving);
      if (entering >= 0) this.#pivot(leaving, entering);
      else if (this.#pivotsSinceFresh > 0) this.#refresh();
      else return false;
    }
    return false;
  }

  /** @returns the price of a row. At these prices no column costs less than it is worth, but for rounding errors. */
  priceOf(row: number): number {
    return at(this.#reduced, this.#columns + row);
  }

  /** @returns the columns that the last solution takes in whole or in part, in no order */
  taken(): { column: number; part: number }[] {
    const taken: { column: number; part: number }[] = [];
    for (let position = 0; position < this.height; position += 1) {
      const column = at(this.#basis, position);
      const part = at(this.#values, position);
      if (column < this.#columns && part > TOLERANCE) taken.push({ column, part });
    }
    return taken;
  }

  #startFromSurplus(): void {
    this.#inverse.fill(0);
    this.#reduced.fill(0);
    this.#reduced.set(this.#costs);
    for (let row = 0; row < this.#capacity; row += 1) {
      this.#basis[row] = this.#columns + row;
      this.#inverse[row * this.#capacity + row] = -1;
      this.#norms[row] = 1;
    }
    this.#pivotsSinceFresh = 0;
  }

  #setValues(): void {
    const height = this.height;
    for (let position = 0; position < height; position += 1) {
      let value = 0;
      const start = position * this.#capacity;
      for (let row = 0; row < height; row += 1)
        value += at(this.#inverse, start + row) * at(this.#needs, row);
      this.#values[position] = value;
    }
  }

  #setNorm(position: number): void {
    let norm = 0;
    const start = position * this.#capacity;
    for (let k = start; k < start + this.height; k += 1) norm += at(this.#inverse, k) ** 2;
    this.#norms[position] = norm;
  }

  #worth(): number {
    let worth = 0;
    const height = this.height;
    for (let row = 0; row < height; row += 1) worth += this.priceOf(row) * at(this.#needs, row);
    return worth;
  }

  /** @returns the position whose value lies furthest below 0, measured along its edge (that takes fewer pivots); or -1 */
  #chooseLeaving(): number {
    let chosen = -1;
    let furthest = 0;
    const height = this.height;
    for (let position = 0; position < height; position += 1) {
      const value = at(this.#values, position);
      if (value >= -TOLERANCE) continue;
      const distance = (value * value) / at(this.#norms, position);
      if (distance > furthest) {
        furthest = distance;
        chosen = position;
      }
    }
    return chosen;
  }

  /** @returns the variable whose reduced cost comes down to 0 first; or -1 */
  #chooseEntering(leaving: number): number {
    this.#setTableauRow(leaving);
    const end = this.#columns + this.height;
    let chosen = -1;
    let first = Number.POSITIVE_INFINITY;
    for (let variable = 0; variable < end; variable += 1) {
      const alpha = at(this.#tableauRow, variable);
      if (alpha >= -SMALLEST_PIVOT) continue;
      const ratio = at(this.#reduced, variable) / -alpha;
      if (ratio < first) {
        first = ratio;
        chosen = variable;
      }
    }
    return chosen;
  }

  /** How the variable at this position changes with each that is outside the basis. */
  #setTableauRow(position: number): void {
    const columns = this.#columns;
    const height = this.height;
    const start = position * this.#capacity;
    const inverse = this.#inverse;
    const tableauRow = this.#tableauRow;
    const ones = this.#ones;
    let entry = 0;
    for (let column = 0; column < columns; column += 1) {
      let alpha = 0;
      const end = at(this.#starts, column + 1);
      for (; entry < end; entry += 1) alpha += at(inverse, start + at(ones, entry));
      tableauRow[column] = alpha;
    }
    this.#added.forEach((counts, k) => {
      const factor = at(inverse, start + this.#firstAdded + k);
      if (factor === 0) return;
      for (let column = 0; column < columns; column += 1)
        tableauRow[column] = at(tableauRow, column) + factor * at(counts, column);
    });
    for (let row = 0; row < height; row += 1) tableauRow[columns + row] = -at(inverse, start + row);
    for (let k = 0; k < height; k += 1) tableauRow[at(this.#basis, k)] = 0;
  }

  #pivot(leaving: number, entering: number): void {
    this.#updateReduced(leaving, entering);
    this.#setEnteringColumn(entering);
    const pivot = at(this.#enteringColumn, leaving);
    const step = at(this.#values, leaving) / pivot;
    const filled = this.#scaleRow(leaving, 1 / pivot);
    const height = this.height;
    for (let position = 0; position < height; position += 1) {
      const factor = at(this.#enteringColumn, position);
      if (position === leaving || factor === 0) continue;
      this.#values[position] = at(this.#values, position) - factor * step;
      this.#subtractRow(position, leaving, factor, filled);
    }
    this.#values[leaving] = step;
    this.#basis[leaving] = entering;
    this.#pivotsSinceFresh += 1;
  }

  #updateReduced(leaving: number, entering: number): void {
    const reduced = this.#reduced;
    const ratio = at(reduced, entering) / at(this.#tableauRow, entering);
    const end = this.#columns + this.height;
    for (let variable = 0; variable < end; variable += 1) {
      const alpha = at(this.#tableauRow, variable);
      if (alpha !== 0) reduced[variable] = Math.max(0, at(reduced, variable) - ratio * alpha);
    }
    reduced[entering] = 0;
    reduced[at(this.#basis, leaving)] = Math.max(0, -ratio);
  }

  /** The entering variable in terms of the basis. */
  #setEnteringColumn(variable: number): void {
    const height = this.height;
    const columns = this.#columns;
    for (let position = 0; position < height; position += 1) {
      const start = position * this.#capacity;
      let value = 0;
      if (variable >= columns) {
        value = -at(this.#inverse, start + variable - columns);
      } else {
        const end = at(this.#starts, variable + 1);
        for (let k = at(this.#starts, variable); k < end; k += 1)
          value += at(this.#inverse, start + at(this.#ones, k));
        for (let k = this.#firstAdded; k < height; k += 1)
          value += at(this.#inverse, start + k) * this.#addedAt(k, variable);
      }
      this.#enteringColumn[position] = Math.abs(value) < NEARLY_0 ? 0 : value;
    }
  }

  #addedAt(row: number, column: number): number {
    return at(this.#added[row - this.#firstAdded] as Float64Array, column);
  }

  /** @returns how many entries of the row are not 0: `#filled` says where */
  #scaleRow(position: number, factor: number): number {
    const start = position * this.#capacity;
    const height = this.height;
    let filled = 0;
    for (let k = 0; k < height; k += 1) {
      const entry = at(this.#inverse, start + k);
      if (Math.abs(entry) < NEARLY_0) {
        this.#inverse[start + k] = 0;
        continue;
      }
      this.#inverse[start + k] = entry * factor;
      this.#filled[filled] = k;
      filled += 1;
    }
    this.#norms[position] = at(this.#norms, position) * factor * factor;
    return filled;
  }

  #subtractRow(from: number, row: number, factor: number, filled: number): void {
    const inverse = this.#inverse;
    const start = from * this.#capacity;
    const rowStart = row * this.#capacity;
    let norm = at(this.#norms, from);
    for (let k = 0; k < filled; k += 1) {
      const place = at(this.#filled, k);
      const before = at(inverse, start + place);
      const after = before - factor * at(inverse, rowStart + place);
      inverse[start + place] = after;
      norm += after * after - before * before;
    }
    this.#norms[from] = Math.max(norm, 1e-6);
  }

  /** Computes everything again from the basis, so that rounding errors do not build up. */
  #refresh(): void {
    if (this.#invertBasis()) this.#priceBasis();
    else this.#startFromSurplus();
    this.#setValues();
    this.#pivotsSinceFresh = 0;
  }

  /**
   * Brings the columns of the basis in again one by one, each at the position where it is largest.
   * @returns false if they depend on each other
   */
  #invertBasis(): boolean {
    const height = this.height;
    const basis = this.#basis.slice(0, height).sort().reverse();
    this.#inverse.fill(0);
    const isPlaced = new Uint8Array(height);
    for (let row = 0; row < this.#capacity; row += 1) {
      this.#inverse[row * this.#capacity + row] = -1;
      this.#basis[row] = this.#columns + row;
    }
    for (const variable of basis) {
      if (variable >= this.#columns) {
        isPlaced[variable - this.#columns] = 1;
        continue;
      }
      this.#setEnteringColumn(variable);
      let best = -1;
      for (let position = 0; position < height; position += 1) {
        if (at(isPlaced, position) === 1) continue;
        if (
          best < 0 ||
          Math.abs(at(this.#enteringColumn, position)) > Math.abs(at(this.#enteringColumn, best))
        )
          best = position;
      }
      if (best < 0 || Math.abs(at(this.#enteringColumn, best)) < SMALLEST_PIVOT) return false;
      const filled = this.#scaleRow(best, 1 / at(this.#enteringColumn, best));
      for (let position = 0; position < height; position += 1) {
        const factor = at(this.#enteringColumn, position);
        if (position !== best && factor !== 0) this.#subtractRow(position, best, factor, filled);
      }
      isPlaced[best] = 1;
      this.#basis[best] = variable;
    }
    for (let position = 0; position < height; position += 1) this.#setNorm(position);
    return true;
  }

  /** Prices and reduced costs of the basis as it stands. */
  #priceBasis(): void {
    const height = this.height;
    const columns = this.#columns;
    const reduced = this.#reduced;
    reduced.fill(0);
    for (let position = 0; position < height; position += 1) {
      const variable = at(this.#basis, position);
      if (variable >= columns) continue;
      const cost = at(this.#costs, variable);
      for (let row = 0; row < height; row += 1)
        reduced[columns + row] =
          this.priceOf(row) + cost * at(this.#inverse, position * this.#capacity + row);
    }
    for (let row = 0; row < height; row += 1) reduced[columns + row] = Math.max(0, this.priceOf(row));
    for (let column = 0; column < columns; column += 1) {
      let rest = at(this.#costs, column);
      const end = at(this.#starts, column + 1);
      for (let k = at(this.#starts, column); k < end; k += 1) rest -= this.priceOf(at(this.#ones, k));
      for (let row = this.#firstAdded; row < height; row += 1)
        rest -= this.priceOf(row) * this.#addedAt(row, column);
      reduced[column] = Math.max(0, rest);
    }
    for (let position = 0; position < height; position += 1) reduced[at(this.#basis, position)] = 0;
  }
}

/** The index is within bounds by construction. */
const at = (array: Float64Array | Int32Array | Uint8Array, index: number): number => array[index] as number;
