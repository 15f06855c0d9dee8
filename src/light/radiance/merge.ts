// Frames merged into relative radiance, one after another, so that memory holds one frame at a time. Each
// level is turned into exposure by the camera's response (Debevec and Malik, SIGGRAPH 1997), and exposures
// are added up over the times that they took: a frame that let in more light counts more, since it has less
// noise (Hasinoff, Durand and Freeman, "Noise-Optimal Capture for High Dynamic Range Photography", CVPR
// 2010). Weights of the level alone, as in the first paper, make shadows brighter than they are, since levels
// that noise has raised would count more. Pure.
import { type Copy, isSameShape } from '../copy.js';
import type { Response } from './response.js';

/** Linear red, green and blue, row by row: light relative to what gives level 128 at offset 0. */
export interface Radiance {
  readonly values: Float32Array;
  readonly width: number;
  readonly height: number;
}

const LEVELS = 256;
/** Towards white, from the first level on, a level counts less, and from the last one on not at all. */
const FADES = { from: 200, to: 252 } as const;
/**
 * A channel that every frame blows out is at least as bright as the darkest frame says; that bound counts
 * next to nothing.
 */
const BOUND = 1e-9;

export class Merging {
  private readonly response: Response;
  private shape: { readonly width: number; readonly height: number } | null = null;
  private sums = new Float32Array(0);
  private times = new Float32Array(0);

  constructor(response: Response) {
    this.response = response;
  }

  /**
   * @param offsetEv EV from the base, exact; the darkest frame has to come first
   * @returns false if the frame has another shape than the first one, and is left out
   */
  add(offsetEv: number, copy: Copy): boolean {
    if (this.shape === null) this.begin(copy);
    if (this.shape === null || !isSameShape(this.shape, copy)) return false;
    for (let channel = 0; channel < 3; channel += 1) this.addChannel(channel, 2 ** offsetEv, copy.pixels);
    return true;
  }

  private begin({ width, height }: Copy): void {
    this.shape = { width, height };
    this.sums = new Float32Array(width * height * 3);
    this.times = new Float32Array(width * height * 3);
  }

  private addChannel(channel: number, time: number, pixels: Uint8Array): void {
    const { sums, times } = this;
    const curve = this.response[channel] as readonly number[];
    const weight = Float64Array.from({ length: LEVELS }, (_, level) => countsFor(level));
    const exposure = Float64Array.from(
      curve,
      (_, level) => (weight[level] as number) * exposureOf(curve, level),
    );
    const taken = weight.map((counts) => counts * time);
    for (let at = channel; at < pixels.length; at += 3) {
      const level = pixels[at] as number;
      if (level < FADES.to) {
        sums[at] = (sums[at] as number) + (exposure[level] as number);
        times[at] = (times[at] as number) + (taken[level] as number);
      } else if (times[at] === 0) {
        sums[at] = BOUND * 2 ** (curve[level] as number);
        times[at] = BOUND * time;
      }
    }
  }

  /** @returns null if no frame came; nothing can be added afterwards */
  end(): Radiance | null {
    if (this.shape === null) return null;
    const { sums, times } = this;
    for (let at = 0; at < sums.length; at += 1) sums[at] = (sums[at] as number) / (times[at] as number);
    this.sums = new Float32Array(0);
    this.times = new Float32Array(0);
    return { values: sums, ...this.shape };
  }
}

/** Below this level the frames tell the curve badly: from there it goes straight to no light, as sRGB does (IEC 61966-2-1). */
const TOE = 12;

const exposureOf = (curve: readonly number[], level: number): number =>
  2 ** (curve[Math.max(TOE, level)] as number) * Math.min(1, level / TOE);

function countsFor(level: number): number {
  const share = Math.min(1, Math.max(0, (FADES.to - level) / (FADES.to - FADES.from)));
  return share * share * (3 - 2 * share);
}
