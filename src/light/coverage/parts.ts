// Lost cells that hang together: a lamp or a glint is a small part, a sky is an area. Pure.
import type { Cell, Cells } from './exposed.js';

export interface Part {
  /** In cells. */
  readonly size: number;
  /** The position of any one of its cells. */
  readonly at: number;
}

export interface Parts {
  readonly parts: readonly Part[];
  /** For each cell of the picture the number of its part, counted from 1; 0 if it belongs to none. */
  readonly partOf: Int32Array;
}

/** @returns the parts that cells of this kind make, where neighbours, the diagonal ones too, hang together */
export function partsOf({ width, height, of }: Cells, kind: Cell): Parts {
  const partOf = new Int32Array(of.length);
  const parts: Part[] = [];
  const open: number[] = [];
  for (let start = 0; start < of.length; start += 1) {
    if (of[start] !== kind || partOf[start] !== 0) continue;
    const number = parts.length + 1;
    let size = 0;
    partOf[start] = number;
    open.push(start);
    for (let cell = open.pop(); cell !== undefined; cell = open.pop()) {
      size += 1;
      const [column, row] = [cell % width, Math.floor(cell / width)];
      for (let y = Math.max(0, row - 1); y <= Math.min(height - 1, row + 1); y += 1)
        for (let x = Math.max(0, column - 1); x <= Math.min(width - 1, column + 1); x += 1) {
          const next = y * width + x;
          if (of[next] !== kind || partOf[next] !== 0) continue;
          partOf[next] = number;
          open.push(next);
        }
    }
    parts.push({ size, at: start });
  }
  return { parts, partOf };
}
