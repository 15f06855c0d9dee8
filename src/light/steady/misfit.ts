// How two frames that nearly lie over each other still differ: by a small shift, and by one being blurred
// more. To first order, a shift takes so much of the slope from the second frame (Lucas and Kanade 1981), and
// a blur of variance 2 s adds s of the Laplacian (the heat equation; Subbarao and Surya, "Depth from Defocus:
// A Spatial Domain Approach", IJCV 1994, from memory). All three are one regression, block by block; blocks
// that differ from the rest, since something moved in them, hardly count. Noise is random in both frames, and
// does not affect the result. Pure.
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
    // As for a t distribution with few degrees of freedom: distant values count with the inverse of their
    // square.
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

/** Written out term by term: it goes through every pixel. */
function blockAt(over: Laid, top: number, left: number): Block | null {
  const { width, mask, first, second, across, along, laplacian } = over;
  let count = 0;
  let x = 0;
  let y = 0;
  let z = 0;
  let d = 0;
  let xx = 0;
  let xy = 0;
  let xz = 0;
  let yy = 0;
  let yz = 0;
  let zz = 0;
  let xd = 0;
  let yd = 0;
  let zd = 0;
  let dd = 0;
  for (let row = top; row < top + BLOCK; row += 1)
    for (let at = row * width + left; at < row * width + left + BLOCK; at += 1) {
      if (mask[at] === 0) continue;
      const right = across[at] as number;
      const down = along[at] as number;
      const bend = laplacian[at] as number;
      const off = (second[at] as number) - (first[at] as number);
      count += 1;
      x += right;
      y += down;
      z += bend;
      d += off;
      xx += right * right;
      xy += right * down;
      xz += right * bend;
      yy += down * down;
      yz += down * bend;
      zz += bend * bend;
      xd += right * off;
      yd += down * off;
      zd += bend * off;
      dd += off * off;
    }
  if (count < LEAST_HELD * BLOCK * BLOCK) return null;
  const about = (sum: number, one: number, other: number) => sum - (one * other) / count;
  const [aa, ab, ac] = [about(xx, x, x), about(xy, x, y), about(xz, x, z)];
  const [bb, bc, cc] = [about(yy, y, y), about(yz, y, z), about(zz, z, z)];
  if ((aa + bb) / count < LEAST_SLOPE) return null;
  return {
    count,
    products: [aa, ab, ac, ab, bb, bc, ac, bc, cc],
    with: [about(xd, x, d), about(yd, y, d), about(zd, z, d)],
    energy: about(dd, d, d),
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

/** @returns the mean square, in levels, of the part of a block's difference that the fit leaves */
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
