// Radiance as a picture that a screen can show: a proof of what the set can become, not the final picture.
import type { Copy } from '../copy.js';
import { type Cv, scoped } from '../process/opencv.js';
import type { Radiance } from './merge.js';

/** Drago and others, "Adaptive Logarithmic Mapping for Displaying High Contrast Scenes" (2003): their bias, and a little more colour. */
const TONES = { gamma: 2.2, saturation: 1, bias: 0.82 } as const;
/** Share of the picture that may go to black, and to white, at most. */
const ENDS = 0.002;

/** Less light than any frame tells: the mapper takes logarithms. */
const LEAST = 1e-7;

/** @param side the longer side of the picture, in pixels, at most */
export function tonedPicture(cv: Cv, radiance: Radiance, side: number): Copy {
  const { values, width, height } = smaller(radiance, side);
  return scoped((scope) => {
    const light = scope.keep(new cv.Mat(height, width, cv.CV_32FC3));
    light.data32F.set(values);
    const toned = scope.keep(new cv.Mat());
    const mapper = scope.keep(new cv.TonemapDrago(TONES.gamma, TONES.saturation, TONES.bias));
    mapper.process(light, toned);
    return { pixels: stretched(toned.data32F), width, height };
  });
}

/** Means of the pixels that fall into each; by hand, since the library would take a copy of the whole. */
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

/** @returns 8-bit levels, the few darkest and lightest of which are black and white */
function stretched(values: Float32Array): Uint8Array {
  const some = values.filter((_, at) => at % 7 === 0).sort();
  const low = some[Math.floor(ENDS * some.length)] ?? 0;
  const high = some[Math.floor((1 - ENDS) * (some.length - 1))] ?? 1;
  const scale = 255 / Math.max(1e-6, high - low);
  return Uint8Array.from(values, (value) =>
    Number.isFinite(value) ? Math.min(255, Math.max(0, Math.round((value - low) * scale))) : 0,
  );
}
