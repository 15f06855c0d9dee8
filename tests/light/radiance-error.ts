// How far merged radiance is from the light of the practice scene, which is known: on parts of 8 by 8 pixels that some frame holds.

import { LUMA } from '../../shared/srgb.js';
import { sceneMap } from '../../src/camera/practice/scene.js';
import { type Copy, FLOOR, SHOULDER } from '../../src/light/copy.js';
import type { Radiance } from '../../src/light/radiance/merge.js';

const PART = 8;

/**
 * @param radiance of the whole picture at its full size, up to one factor
 * @param frames those that it was merged from
 * @returns shares by which parts are off, ascending, with the factor chosen so that half of them are too
 *   light
 */
export async function errorsOf(radiance: Radiance, frames: readonly Copy[]): Promise<number[]> {
  const { luminance } = await sceneMap('full');
  const { width, height, values } = radiance;
  const ratios: number[] = [];
  for (let top = 0; top + PART <= height; top += PART)
    for (let left = 0; left + PART <= width; left += PART) {
      const pixels = Array.from(
        { length: PART * PART },
        (_, index) => (top + Math.floor(index / PART)) * width + left + (index % PART),
      );
      if (!frames.some((frame) => pixels.every((pixel) => isHeld(frame, pixel)))) continue;
      const known = pixels.reduce((sum, pixel) => sum + (luminance[pixel] as number), 0);
      const found = pixels.reduce(
        (sum, pixel) =>
          sum +
          LUMA.reduce((all, share, channel) => all + share * (values[3 * pixel + channel] as number), 0),
        0,
      );
      ratios.push(found / known);
    }
  ratios.sort((a, b) => a - b);
  const factor = ratios[Math.floor(ratios.length / 2)] as number;
  return ratios.map((ratio) => Math.abs(ratio / factor - 1)).sort((a, b) => a - b);
}

function isHeld({ pixels }: Copy, pixel: number): boolean {
  const highest = Math.max(...pixels.subarray(3 * pixel, 3 * pixel + 3));
  return highest >= FLOOR && highest <= SHOULDER;
}

export const at = (sorted: readonly number[], share: number): number =>
  sorted[Math.floor(share * (sorted.length - 1))] as number;
