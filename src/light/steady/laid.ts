// Two frames laid over each other, in the same tones: what blur and movement are measured on.
import { FLOOR, type Grey, SHOULDER } from '../copy.js';
import { type Cv, type Mat, matOf, type Scope } from '../process/opencv.js';
import { scratch, scratchOf } from './scratch.js';
import type { Shift } from './shift.js';
import { tonesBetween } from './tones.js';

export interface Pair {
  readonly first: Grey;
  readonly second: Grey;
  /** By their exposures. */
  readonly firstIsDarker: boolean;
}

/** Both in the tones of the brighter one. */
export interface Toned {
  readonly first: Float32Array;
  readonly second: Float32Array;
}

export interface Laid extends Toned {
  readonly width: number;
  readonly height: number;
  /** 255 where both frames are well exposed, at a distance from parts that are not; 0 elsewhere. */
  readonly mask: Uint8Array;
  /** Share of the picture that the mask leaves. */
  readonly share: number;
  /** Of the mean of both: the slopes to the right and downwards in levels a pixel, and the Laplacian. */
  readonly across: Float32Array;
  readonly along: Float32Array;
  readonly laplacian: Float32Array;
}

/**
 * Around clipped parts, edges differ from frame to frame, so a margin of so many pixels of the copy is left
 * out.
 */
const MARGIN = 4;
/** Share of the picture that has to be in common. */
const LEAST_SHARE = 0.005;
/** Standard deviation in pixels, and width, of what both are smoothed by, against noise. */
const SMOOTH = { sigma: 1.5, width: 9 } as const;

/** @returns null if they have too little in common */
export function laid(cv: Cv, scope: Scope, pair: Pair, { right, down }: Shift): Laid | null {
  const { width, height } = pair.first;
  const isMoved = Math.hypot(right, down) > 0.02;
  // Both by half the way, so that laying over softens both alike.
  const over = (of: Grey, by: number) =>
    isMoved ? movedBy(cv, scope, of, { right: by * right, down: by * down }) : of;
  const moved = { ...pair, first: over(pair.first, 0.5), second: over(pair.second, -0.5) };
  const mask = heldByBoth(cv, scope, moved, { right, down });
  const share = shareOf(mask);
  const toned = share < LEAST_SHARE ? null : inOneTone(moved, mask);
  if (toned === null) return null;
  const first = smoothed(cv, scope, matOf(cv, scope, toned.first, { width, height }));
  const second = smoothed(cv, scope, matOf(cv, scope, toned.second, { width, height }));
  const mean = scope.keep(new cv.Mat());
  cv.addWeighted(first, 0.5, second, 0.5, 0, mean);
  return {
    ...{ width, height, mask, share },
    first: scratchOf('first', first.data32F),
    second: scratchOf('second', second.data32F),
    ...bendsOf(mean.data32F, width, height),
  };
}

function movedBy(cv: Cv, scope: Scope, { levels, width, height }: Grey, { right, down }: Shift): Grey {
  const mat = matOf(cv, scope, levels, { width, height });
  const to = scope.keep(new cv.Mat());
  const by = scope.keep(cv.matFromArray(2, 3, cv.CV_64FC1, [1, 0, right, 0, 1, down]));
  const size = new cv.Size(width, height);
  cv.warpAffine(mat, to, by, size, cv.INTER_LINEAR, cv.BORDER_REPLICATE, new cv.Scalar());
  return { levels: to.data.slice(), width, height };
}

function smoothed(cv: Cv, scope: Scope, of: Mat): Mat {
  const to = scope.keep(new cv.Mat());
  cv.GaussianBlur(of, to, new cv.Size(SMOOTH.width, SMOOTH.width), SMOOTH.sigma);
  return to;
}

/** Leaves out parts that are too dark in the darker frame, or too bright in the brighter one. */
export function heldByBoth(
  cv: Cv,
  scope: Scope,
  pair: Pair,
  { right, down }: Shift,
  margin = MARGIN,
): Uint8Array {
  const { width, height } = pair.first;
  const [darker, brighter] = darkerFirst(pair);
  const mask = new Uint8Array(width * height);
  const across = Math.ceil(Math.abs(right));
  const along = Math.ceil(Math.abs(down));
  // Beyond the edge of the other frame there is nothing to compare.
  for (let row = along; row < height - along; row += 1)
    for (let at = row * width + across; at < (row + 1) * width - across; at += 1)
      if ((darker.levels[at] as number) >= FLOOR && (brighter.levels[at] as number) <= SHOULDER)
        mask[at] = 255;
  const held = matOf(cv, scope, mask, { width, height });
  const side = 2 * margin + 1;
  const kernel = scope.keep(cv.getStructuringElement(cv.MORPH_RECT, new cv.Size(side, side)));
  cv.erode(held, held, kernel);
  return held.data.slice();
}

const darkerFirst = ({ first, second, firstIsDarker }: Pair): readonly [Grey, Grey] =>
  firstIsDarker ? [first, second] : [second, first];

/** @returns null if too few tones are in both */
export function inOneTone(pair: Pair, mask: Uint8Array): (Toned & { readonly tones: Float32Array }) | null {
  const [darker, brighter] = darkerFirst(pair);
  const tones = tonesBetween(darker.levels, brighter.levels, mask);
  if (tones === null) return null;
  const raised = scratch('raised', darker.levels.length);
  for (let at = 0; at < raised.length; at += 1) raised[at] = tones[darker.levels[at] as number] as number;
  const same = scratchOf('same', brighter.levels);
  return pair.firstIsDarker ? { first: raised, second: same, tones } : { first: same, second: raised, tones };
}

/** 0 along the edge of the picture. */
function bendsOf(
  values: Float32Array,
  width: number,
  height: number,
): Pick<Laid, 'across' | 'along' | 'laplacian'> {
  // Along the edge they are never written, and stay 0.
  const across = scratch('across', values.length);
  const along = scratch('along', values.length);
  const laplacian = scratch('laplacian', values.length);
  for (let row = 1; row < height - 1; row += 1)
    for (let at = row * width + 1; at < (row + 1) * width - 1; at += 1) {
      const left = values[at - 1] as number;
      const right = values[at + 1] as number;
      const up = values[at - width] as number;
      const down = values[at + width] as number;
      across[at] = (right - left) / 2;
      along[at] = (down - up) / 2;
      laplacian[at] = left + right + up + down - 4 * (values[at] as number);
    }
  return { across, along, laplacian };
}

function shareOf(mask: Uint8Array): number {
  let count = 0;
  for (const one of mask) if (one !== 0) count += 1;
  return count / mask.length;
}
