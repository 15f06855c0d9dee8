// Radiance as a picture that a screen can show: a proof of what the set can become, not the final picture.
import type { Copy } from '../copy.js';
import { type Cv, scoped } from '../worker/opencv.js';
import type { Radiance } from './merge.js';

/** Drago and others, "Adaptive Logarithmic Mapping for Displaying High Contrast Scenes" (2003): their bias, and a little more colour. */
const TONES = { gamma: 2.2, saturation: 1, bias: 0.82 } as const;
/** Share of the picture that may go to black, and to white, at most. */
const ENDS = 0.002;

/** Less light than any frame tells. */
const LEAST = 1e-7;

/** @param side the longer side of the picture, in pixels, at most */
export function tonedPicture(cv: Cv, { values, width, height }: Radiance, side: number): Copy {
  return scoped((scope) => {
    const whole = scope.keep(new cv.Mat(height, width, cv.CV_32FC3));
    // It takes logarithms.
    whole.data32F.set(values.map((value) => Math.max(LEAST, value)));
    const part = Math.min(1, side / Math.max(width, height));
    const small = scope.keep(new cv.Mat());
    const size = new cv.Size(Math.round(width * part), Math.round(height * part));
    cv.resize(whole, small, size, 0, 0, cv.INTER_AREA);
    const toned = scope.keep(new cv.Mat());
    const mapper = scope.keep(new cv.TonemapDrago(TONES.gamma, TONES.saturation, TONES.bias));
    mapper.process(small, toned);
    return { pixels: stretched(toned.data32F), width: size.width, height: size.height };
  });
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
