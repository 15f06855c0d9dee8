// How light a frame came out, measured in its small copy. Pure: pixels in, numbers out; it knows no set and no base.
import { LINEAR_OF_LEVEL, LUMA } from '../../shared/srgb.js';

/** How light a frame came out. */
export interface Level {
  /**
   * log2 of the mean linear luminance of its small copy, 0 if all of it is white. The mean is trimmed, see
   * measureLevel.
   */
  readonly ev: number;
  /** Shares of the small copy, from 0 to 1, that are black or blown out. */
  readonly dark: number;
  readonly light: number;
}

export interface Pixels {
  readonly width: number;
  readonly height: number;
  /** 1 is grey, 3 is RGB, 4 is RGB with alpha. */
  readonly channels: 1 | 3 | 4;
}

const TILES_ACROSS = 16;
const TILES_DOWN = 12;
/**
 * The share of tiles that is left out at either end, since they show passing lights and people, and not the
 * scene.
 */
const TRIMMED = 0.2;
/** 8-bit levels at and beyond which a pixel counts as black or blown out, as in src/frames/read/picture.ts. */
const BLACK = 2;
const BLOWN = 253;

/** Half of the smallest light that 8 bits can distinguish from none. */
const FLOOR = (LINEAR_OF_LEVEL[1] ?? 0) / 2;

/**
 * The level of a frame: the mean linear luminance (IEC 61966-2-1: 0.2126 R + 0.7152 G + 0.0722 B) of each of
 * 16 x 12 tiles, then the mean of the tiles without the darkest and the brightest fifth of them, as log2. A
 * camera's JPEG is not encoded by the sRGB curve alone, so a level far from the reference is wrong by what
 * the camera's own curve adds. Near the reference this error vanishes, and the base is kept near it.
 * @param pixels 8-bit sRGB, row by row, of a small copy
 */
export function measureLevel(pixels: Uint8Array, { width, height, channels }: Pixels): Level {
  if (width * height === 0 || pixels.length < width * height * channels)
    throw new Error('There are fewer pixels than the picture has.');
  const sums = new Float64Array(TILES_ACROSS * TILES_DOWN);
  const counts = new Uint32Array(TILES_ACROSS * TILES_DOWN);
  let dark = 0;
  let light = 0;
  for (let y = 0; y < height; y += 1) {
    const row = Math.floor((y * TILES_DOWN) / height) * TILES_ACROSS;
    for (let x = 0; x < width; x += 1) {
      const at = (y * width + x) * channels;
      const red = pixels[at] ?? 0;
      const green = channels === 1 ? red : (pixels[at + 1] ?? 0);
      const blue = channels === 1 ? red : (pixels[at + 2] ?? 0);
      const tile = row + Math.floor((x * TILES_ACROSS) / width);
      sums[tile] = (sums[tile] ?? 0) + luminance(red, green, blue);
      counts[tile] = (counts[tile] ?? 0) + 1;
      const highest = Math.max(red, green, blue);
      if (highest <= BLACK) dark += 1;
      if (highest >= BLOWN) light += 1;
    }
  }
  const means = [...sums].flatMap((sum, tile) => (counts[tile] === 0 ? [] : [sum / (counts[tile] ?? 1)]));
  const count = width * height;
  return { ev: Math.log2(Math.max(trimmedMean(means), FLOOR)), dark: dark / count, light: light / count };
}

const luminance = (red: number, green: number, blue: number): number =>
  LUMA[0] * (LINEAR_OF_LEVEL[red] ?? 0) +
  LUMA[1] * (LINEAR_OF_LEVEL[green] ?? 0) +
  LUMA[2] * (LINEAR_OF_LEVEL[blue] ?? 0);

function trimmedMean(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const out = Math.floor(sorted.length * TRIMMED);
  const kept = sorted.slice(out, sorted.length - out);
  return kept.reduce((sum, value) => sum + value, 0) / kept.length;
}
