// Radiance as a picture that a screen can show: a proof of what the set can become, not the final picture. Drago, Myszkowski, Annen and Chiba,
// "Adaptive Logarithmic Mapping for Displaying High Contrast Scenes", Eurographics 2003, equation 4; from memory, and checked against a library in
// the tests. Pure.
import { LUMA } from '../../../shared/srgb.js';
import type { Copy } from '../copy.js';
import type { Radiance } from './merge.js';

/** The paper's bias, between its 0.7 and 0.9, and the gamma of a screen. */
const BIAS = 0.82;
const GAMMA = 2.2;
/** Share of the picture that may go to black, and to white, at most. */
const ENDS = 0.002;
/** Anything brighter than this share of the picture, such as a lamp, does not affect how the rest looks. */
const BRIGHTEST = 0.9995;
/** Less light than any frame tells: logarithms are taken. */
const LEAST = 1e-7;

/** @param side the longer side of the picture, in pixels, at most */
export function tonedPicture(radiance: Radiance, side: number): Copy {
  const { values, width, height } = smaller(radiance, side);
  const light = new Float32Array(width * height);
  let logarithms = 0;
  for (let at = 0; at < light.length; at += 1) {
    light[at] = luminanceAt(values, at);
    logarithms += Math.log(light[at] as number);
  }
  const mean = Math.exp(logarithms / light.length);
  const tone = toneFor(sampled(light, BRIGHTEST) / mean);
  for (let at = 0; at < light.length; at += 1) {
    const here = light[at] as number;
    const scale = tone(here / mean) / here;
    for (let channel = 0; channel < 3; channel += 1)
      values[3 * at + channel] = ((values[3 * at + channel] as number) * scale) ** (1 / GAMMA);
  }
  return { pixels: stretched(values), width, height };
}

const luminanceAt = (values: Float32Array, pixel: number): number =>
  LUMA.reduce((sum, share, channel) => sum + share * (values[3 * pixel + channel] as number), 0);

/**
 * @param brightest the brightest light, and the argument of the result, both divided by the mean
 * @returns what a screen shows of a light, up to one factor
 */
function toneFor(brightest: number): (light: number) => number {
  const power = Math.log(BIAS) / Math.log(0.5);
  return (light) => Math.log(light + 1) / Math.log(2 + 8 * Math.min(1, light / brightest) ** power);
}

/** Means of the pixels that fall into each. */
function smaller({ values, width, height }: Radiance, side: number): Radiance {
  const part = Math.min(1, side / Math.max(width, height));
  const size = { width: Math.round(width * part), height: Math.round(height * part) };
  const means = new Float32Array(size.width * size.height * 3);
  for (let row = 0; row < size.height; row += 1)
    for (let column = 0; column < size.width; column += 1) {
      const top = Math.floor((row * height) / size.height);
      const bottom = Math.max(top + 1, Math.floor(((row + 1) * height) / size.height));
      const left = Math.floor((column * width) / size.width);
      const right = Math.max(left + 1, Math.floor(((column + 1) * width) / size.width));
      for (let channel = 0; channel < 3; channel += 1) {
        let sum = 0;
        for (let y = top; y < bottom; y += 1)
          for (let x = left; x < right; x += 1) sum += values[3 * (y * width + x) + channel] as number;
        const mean = sum / ((bottom - top) * (right - left));
        means[3 * (row * size.width + column) + channel] = Math.max(LEAST, mean);
      }
    }
  return { values: means, ...size };
}

/** @returns about the value that this share of the values does not exceed */
function sampled(values: Float32Array, share: number): number {
  const every = Math.max(1, Math.floor(values.length / 20_000));
  const some = Float32Array.from(
    { length: Math.ceil(values.length / every) },
    (_, at) => values[every * at] as number,
  ).sort();
  return some[Math.floor(share * (some.length - 1))] as number;
}

/** @returns 8-bit levels, the few darkest and brightest of which are black and white */
function stretched(values: Float32Array): Uint8Array {
  const low = sampled(values, ENDS);
  const scale = 255 / Math.max(1e-6, sampled(values, 1 - ENDS) - low);
  const levels = new Uint8Array(values.length);
  for (let at = 0; at < levels.length; at += 1)
    levels[at] = Math.min(255, Math.max(0, Math.round(((values[at] as number) - low) * scale)));
  return levels;
}
