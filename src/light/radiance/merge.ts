// Frames merged into relative radiance, one after another, so that memory holds one frame at a time: the weighted mean of the paper (Debevec
// and Malik 1997, equation 6), by channel. Pure.
import { type Copy, isSameShape } from '../copy.js';
import { type Response, weightOf } from './response.js';

/** Linear red, green and blue, row by row: light relative to what gives level 128 at offset 0. */
export interface Radiance {
  readonly values: Float32Array;
  readonly width: number;
  readonly height: number;
}

/** What a frame that is clipped says of a pixel counts for so much: only if no other says anything. */
const AT_LEAST = 1e-6;
const LEVELS = 256;

export class Merging {
  private readonly response: Response;
  private shape: { readonly width: number; readonly height: number } | null = null;
  private sums = new Float32Array(0);
  private weights = new Float32Array(0);
  frames = 0;

  constructor(response: Response) {
    this.response = response;
  }

  /**
   * @param offsetEv EV from the base, exact
   * @returns false if the frame has another shape than the first one, and is left out
   */
  add(offsetEv: number, copy: Copy): boolean {
    this.begin(copy);
    if (this.shape === null || !isSameShape(this.shape, copy)) return false;
    this.frames += 1;
    // What the level says, and its weight, for each channel.
    const told = this.response.map((curve) => Float32Array.from(curve, (exposure) => exposure - offsetEv));
    const weight = Float32Array.from({ length: LEVELS }, (_, level) => Math.max(AT_LEAST, weightOf(level)));
    const { sums, weights } = this;
    const { pixels } = copy;
    for (let channel = 0; channel < 3; channel += 1) {
      const light = told[channel] as Float32Array;
      for (let at = channel; at < pixels.length; at += 3) {
        const level = pixels[at] as number;
        const counts = weight[level] as number;
        sums[at] = (sums[at] as number) + counts * (light[level] as number);
        weights[at] = (weights[at] as number) + counts;
      }
    }
    return true;
  }

  private begin({ width, height }: Copy): void {
    if (this.shape !== null) return;
    this.shape = { width, height };
    this.sums = new Float32Array(width * height * 3);
    this.weights = new Float32Array(width * height * 3);
  }

  /** @returns null if no frame came; nothing can be added afterwards */
  end(): Radiance | null {
    if (this.shape === null) return null;
    const { sums, weights } = this;
    for (let at = 0; at < sums.length; at += 1)
      sums[at] = 2 ** ((sums[at] as number) / (weights[at] as number));
    this.sums = new Float32Array(0);
    this.weights = new Float32Array(0);
    return { values: sums, ...this.shape };
  }
}
