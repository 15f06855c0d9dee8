// The light of a small copy on a coarse grid, so that frames can be compared with each other without keeping their pixels. Pure.
import { LINEAR_OF_LEVEL, LUMA } from '../../../shared/srgb.js';

export interface LightGrid {
  readonly width: number;
  readonly height: number;
  /**
   * Row by row from the top left: linear luminance, 1 is white; NaN if a part of the cell is blown out or too
   * dark.
   */
  readonly cells: Float32Array;
}

/** Cells along the longer side. */
const LONGER_SIDE = 64;
/**
 * 8-bit levels between which a pixel shows its light. Above, a channel may be clipped in a part of the area
 * that the pixel stands for; below, one level is a quarter of an EV or more, and noise and a lifted black
 * count as light.
 */
const DARKEST = 12;
const LIGHTEST = 242;

/** @param pixels 8-bit sRGB, or grey, row by row */
export function lightGrid(
  pixels: Uint8Array,
  { width, height, channels }: { width: number; height: number; channels: number },
): LightGrid {
  const scale = Math.min(1, LONGER_SIDE / Math.max(width, height));
  const columns = Math.max(1, Math.round(width * scale));
  const rows = Math.max(1, Math.round(height * scale));
  const sums = new Float64Array(columns * rows);
  const counts = new Uint32Array(columns * rows);
  for (let y = 0; y < height; y += 1) {
    const row = Math.floor((y * rows) / height) * columns;
    for (let x = 0; x < width; x += 1) {
      const cell = row + Math.floor((x * columns) / width);
      sums[cell] = (sums[cell] as number) + luminanceAt(pixels, (y * width + x) * channels, channels);
      counts[cell] = (counts[cell] as number) + 1;
    }
  }
  return {
    width: columns,
    height: rows,
    cells: Float32Array.from(sums, (sum, cell) => sum / (counts[cell] as number)),
  };
}

function luminanceAt(pixels: Uint8Array, at: number, channels: number): number {
  const isGrey = channels < 3;
  const red = pixels[at] as number;
  const green = isGrey ? red : (pixels[at + 1] as number);
  const blue = isGrey ? red : (pixels[at + 2] as number);
  const highest = Math.max(red, green, blue);
  if (highest > LIGHTEST || highest < DARKEST) return Number.NaN;
  return (
    LUMA[0] * (LINEAR_OF_LEVEL[red] as number) +
    LUMA[1] * (LINEAR_OF_LEVEL[green] as number) +
    LUMA[2] * (LINEAR_OF_LEVEL[blue] as number)
  );
}
