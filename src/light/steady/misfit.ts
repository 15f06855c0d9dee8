// How two frames that nearly lie over each other still differ: by a small shift, and by one being blurred more. To first order a shift takes
// so much of the slope from the second frame (Lucas and Kanade 1981), and a blur of variance 2 s adds s of the Laplacian (the heat equation;
// Subbarao and Surya, "Depth from Defocus: A Spatial Domain Approach", IJCV 1994, from memory). All three are one regression, block by block;
// blocks that go their own way, since something moved in them, hardly count. Noise is in both by chance, and leaves them alone. Pure.
import type { Laid } from './laid.js';

export interface Misfit {
  /** Pixels of the copies that the second frame still lies further right, and down. */
  readonly right: number;
  readonly down: number;
  /** s, in square pixels: the second is blurred more by a variance of 2 s; below 0, the first is. */
  readonly spread: number;
}

const BLOCK = 32;
/** Mean square of the slope, in levels a pixel, that a block has if there is anything in it. */
const LEAST_SLOPE = 0.6;
/** Of a block, that both hold. */
const LEAST_HELD = 0.25;
const FEWEST_BLOCKS = 8;
const ROUNDS = 8;

/** Sums over a block, with the means taken out: of products of slopes and Laplacian, and of these with the difference. */
interface Block {
  readonly count: number;
  /** Row by row: across, along, Laplacian. */
  readonly products: readonly number[];
  readonly with: readonly number[];
  /** Sum of the squares of the difference. */
  readonly energy: number;
}

/** @returns null if too few blocks have anything in them */
export function misfitOf(over: Laid): Misfit | null {
  const blocks = blocksOf(over);
  if (blocks.length < FEWEST_BLOCKS) return null;
  let weights = blocks.map(() => 1);
  let [across, along, spread] = [0, 0, 0];
  for (let round = 0; round < ROUNDS; round += 1) {
    [across, along, spread] = solved(blocks, weights);
    const rests = blocks.map((block) => restOf(block, [across, along, spread]));
    const usual = medianOf(rests) + 1e-6;
    // As for a t distribution with few degrees of freedom: what is far off counts with the inverse of its square.
    weights = rests.map((rest) => (1 / (1 + rest / (2 * usual))) ** 2);
  }
  return { right: -across, down: -along, spread };
}

function blocksOf(over: Laid): Block[] {
  const blocks: Block[] = [];
  for (let top = 0; top + BLOCK <= over.height; top += BLOCK)
    for (let left = 0; left + BLOCK <= over.width; left += BLOCK) {
      const block = blockAt(over, top, left);
      if (block !== null) blocks.push(block);
    }
  return blocks;
}

function blockAt(over: Laid, top: number, left: number): Block | null {
  const { width, mask, first, second, across, along, laplacian } = over;
  const sums = new Float64Array(4);
  const squares = new Float64Array(16);
  const values = new Float64Array(4);
  let count = 0;
  for (let row = top; row < top + BLOCK; row += 1)
    for (let at = row * width + left; at < row * width + left + BLOCK; at += 1) {
      if (mask[at] === 0) continue;
      count += 1;
      values[0] = across[at] as number;
      values[1] = along[at] as number;
      values[2] = laplacian[at] as number;
      values[3] = (second[at] as number) - (first[at] as number);
      for (let one = 0; one < 4; one += 1) {
        sums[one] = (sums[one] as number) + (values[one] as number);
        for (let other = 0; other <= one; other += 1)
          squares[4 * one + other] =
            (squares[4 * one + other] as number) + (values[one] as number) * (values[other] as number);
      }
    }
  if (count < LEAST_HELD * BLOCK * BLOCK) return null;
  const about = (one: number, other: number) => {
    const [high, low] = [Math.max(one, other), Math.min(one, other)];
    return (squares[4 * high + low] as number) - ((sums[high] as number) * (sums[low] as number)) / count;
  };
  if ((about(0, 0) + about(1, 1)) / count < LEAST_SLOPE) return null;
  const three = [0, 1, 2];
  return {
    count,
    products: three.flatMap((one) => three.map((other) => about(one, other))),
    with: three.map((one) => about(one, 3)),
    energy: about(3, 3),
  };
}

function solved(blocks: readonly Block[], weights: readonly number[]): [number, number, number] {
  const products = new Float64Array(9);
  const sides = new Float64Array(3);
  for (const [index, block] of blocks.entries()) {
    const weight = weights[index] as number;
    for (const [at, value] of block.products.entries())
      products[at] = (products[at] as number) + weight * value;
    for (const [at, value] of block.with.entries()) sides[at] = (sides[at] as number) + weight * value;
  }
  const [a = 0, b = 0, c = 0, , d = 0, e = 0, , , f = 0] = products;
  const [x = 0, y = 0, z = 0] = sides;
  // Cramer's rule for three unknowns; the products are symmetric.
  const whole = a * (d * f - e * e) - b * (b * f - c * e) + c * (b * e - c * d);
  if (!(Math.abs(whole) > 1e-9)) return [0, 0, 0];
  return [
    (x * (d * f - e * e) - b * (y * f - e * z) + c * (y * e - d * z)) / whole,
    (a * (y * f - e * z) - x * (b * f - c * e) + c * (b * z - c * y)) / whole,
    (a * (d * z - e * y) - b * (b * z - c * y) + x * (b * e - c * d)) / whole,
  ];
}

/** @returns the mean square, in levels, of what the fit leaves of a block's difference */
function restOf(block: Block, fit: readonly number[]): number {
  let rest = block.energy;
  for (let one = 0; one < 3; one += 1) {
    rest -= 2 * (fit[one] as number) * (block.with[one] as number);
    for (let other = 0; other < 3; other += 1)
      rest += (fit[one] as number) * (fit[other] as number) * (block.products[3 * one + other] as number);
  }
  return Math.max(0, rest) / block.count;
}

function medianOf(values: readonly number[]): number {
  const sorted = values.toSorted((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)] ?? 0;
}
