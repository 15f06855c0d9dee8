// Writes radiance as a picture file of four bytes a pixel, three mantissas and an exponent, each row's bytes run-length coded one component
// after the other: Ward, "Real Pixels", Graphics Gems II (1991), and the file format that the same author published with it (from memory).
// Pure.
import type { Radiance } from './merge.js';

/** Runs of this length and more are coded as such; the code for a run is 128 and its length. */
const SHORTEST_RUN = 4;
const LONGEST_RUN = 127;
const LONGEST_PIECE = 128;
/** Rows within these widths are coded. */
const NARROWEST = 8;
const WIDEST = 0x7fff;

/** Rows that are handed out together. */
const ROWS = 64;

/**
 * @param about lines on where it comes from, without line breaks in them
 * @returns the file piece by piece
 */
export function* writeRgbe(
  { values, width, height }: Radiance,
  about: readonly string[] = [],
): Generator<Buffer> {
  const head = [
    '#?RADIANCE',
    ...about.map((line) => `# ${line}`),
    'FORMAT=32-bit_rle_rgbe',
    '',
    `-Y ${height} +X ${width}`,
    '',
  ].join('\n');
  yield Buffer.from(head, 'latin1');
  for (let top = 0; top < height; top += ROWS)
    yield Buffer.concat(
      Array.from({ length: Math.min(ROWS, height - top) }, (_, row) =>
        rowOf(values.subarray((top + row) * width * 3, (top + row + 1) * width * 3), width),
      ),
    );
}

function rowOf(values: Float32Array, width: number): Buffer {
  const parts = [0, 1, 2, 3].map(() => new Uint8Array(width));
  const pixel = new Uint8Array(4);
  for (let column = 0; column < width; column += 1) {
    encode(values, column * 3, pixel);
    for (const [component, part] of parts.entries()) part[column] = pixel[component] as number;
  }
  if (width < NARROWEST || width > WIDEST) return flat(parts, width);
  // At the worst each piece has its length before it.
  const bytes = new Uint8Array(4 + 4 * (width + Math.ceil(width / SHORTEST_RUN)));
  bytes.set([2, 2, width >> 8, width & 255]);
  let end = 4;
  for (const part of parts) end = codeRuns(part, bytes, end);
  return Buffer.from(bytes.buffer, 0, end);
}

/** The largest of the three gets a mantissa from 128 to 255; the exponent has 128 added. */
function encode(values: Float32Array, at: number, to: Uint8Array): void {
  const red = values[at] as number;
  const green = values[at + 1] as number;
  const blue = values[at + 2] as number;
  const largest = Math.max(red, green, blue);
  to.fill(0);
  if (!(largest > 1e-32) || !Number.isFinite(largest)) return;
  let exponent = Math.floor(Math.log2(largest)) + 1;
  // The logarithm may be off by the last digit.
  if (largest >= 2 ** exponent) exponent += 1;
  const scale = 256 / 2 ** exponent;
  to[0] = mantissa(red * scale);
  to[1] = mantissa(green * scale);
  to[2] = mantissa(blue * scale);
  to[3] = exponent + 128;
}

const mantissa = (scaled: number): number => Math.min(255, Math.floor(Math.max(0, scaled)));

function flat(parts: readonly Uint8Array[], width: number): Buffer {
  const bytes = Buffer.alloc(width * 4);
  for (const [component, part] of parts.entries())
    for (const [column, value] of part.entries()) bytes[column * 4 + component] = value;
  return bytes;
}

/** @returns where in `to` it ends */
function codeRuns(part: Uint8Array, to: Uint8Array, from: number): number {
  let end = from;
  let at = 0;
  while (at < part.length) {
    const run = runAt(part, at);
    if (run >= SHORTEST_RUN) {
      to[end] = 128 + run;
      to[end + 1] = part[at] as number;
      end += 2;
      at += run;
      continue;
    }
    const first = at;
    while (at < part.length && at - first < LONGEST_PIECE && runAt(part, at) < SHORTEST_RUN) at += 1;
    to[end] = at - first;
    to.set(part.subarray(first, at), end + 1);
    end += 1 + at - first;
  }
  return end;
}

function runAt(part: Uint8Array, at: number): number {
  let length = 1;
  while (length < LONGEST_RUN && at + length < part.length && part[at + length] === part[at]) length += 1;
  return length;
}
