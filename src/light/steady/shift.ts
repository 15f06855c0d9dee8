// How far one frame lies beside another, roughly: enhanced correlation (Evangelidis and Psarakis, IEEE PAMI
// 2008), from coarse to fine. Parts that either frame cannot hold have the same level in both, so that even
// their outline tells; misfit.ts corrects the remaining error.
import type { Grey } from '../copy.js';
import { type Cv, type Mat, matOf, type Scope, scoped } from '../process/opencv.js';

/**
 * How far the second frame's picture lies to the right of the first one's, and below it, in pixels of the
 * compared copies.
 */
export interface Shift {
  readonly right: number;
  readonly down: number;
}

/** By what both are divided at each look, coarse to fine, and how often each may correct itself. */
const LOOKS = [
  { part: 4, rounds: 30 },
  { part: 2, rounds: 30 },
  { part: 1, rounds: 15 },
] as const;
const PRECISION = 1e-4;
/** Width in pixels of the blur before comparing. */
const BLUR_WIDTH = 5;
/** Pixels of the shorter side. */
const SMALLEST_LOOK = 24;

/**
 * @param pair of the same tones, and the same ends
 * @returns null if they have too little in common to tell
 */
export function shiftBetween(
  cv: Cv,
  size: Pick<Grey, 'width' | 'height'>,
  pair: { readonly first: Float32Array; readonly second: Float32Array },
): Shift | null {
  return scoped((scope) => {
    const whole = {
      first: matOf(cv, scope, pair.first, size),
      second: matOf(cv, scope, pair.second, size),
    };
    const warp = scope.keep(cv.Mat.eye(2, 3, cv.CV_32FC1));
    for (const { part, rounds } of LOOKS) {
      if (Math.min(size.width, size.height) / part < SMALLEST_LOOK) continue;
      const look = part === 1 ? whole : shrunk(cv, scope, whole, part);
      if (!corrected(cv, scope, look, warp, part, rounds)) return null;
    }
    const [, , right = 0, , , down = 0] = warp.data32F;
    return { right, down };
  });
}

interface Look {
  readonly first: Mat;
  readonly second: Mat;
}

function shrunk(cv: Cv, scope: Scope, { first, second }: Look, part: number): Look {
  const size = new cv.Size(Math.round(first.cols / part), Math.round(first.rows / part));
  const small = (of: Mat) => {
    const to = scope.keep(new cv.Mat());
    cv.resize(of, to, size, 0, 0, cv.INTER_AREA);
    return to;
  };
  return { first: small(first), second: small(second) };
}

/** @returns false if the two do not correlate */
function corrected(cv: Cv, scope: Scope, look: Look, warp: Mat, part: number, rounds: number): boolean {
  const scaled = scope.keep(warp.clone());
  for (const at of [2, 5]) scaled.data32F[at] = (warp.data32F[at] as number) / part;
  const until = new cv.TermCriteria(cv.TermCriteria_EPS + cv.TermCriteria_COUNT, rounds, PRECISION);
  const all = scope.keep(new cv.Mat());
  try {
    const how = cv.MOTION_TRANSLATION;
    cv.findTransformECC(look.first, look.second, scaled, how, until, all, BLUR_WIDTH);
  } catch {
    // OpenCV throws if the two have nothing in common.
    return false;
  }
  for (const at of [2, 5]) warp.data32F[at] = (scaled.data32F[at] as number) * part;
  return true;
}
