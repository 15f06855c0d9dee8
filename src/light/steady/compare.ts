// Compares a frame with its neighbour: how far the camera moved, whether the lens lost focus, and what moved
// by itself. Both are brought to the same tones first, so that neither exposure nor light counts.
import { FLOOR, type Grey, isSameShape, SHOULDER } from '../copy.js';
import { type Cv, matOf, type Scope, scoped } from '../process/opencv.js';
import { heldByBoth, inOneTone, type Laid, laid, type Pair, type Toned } from './laid.js';
import { type Misfit, misfitOf } from './misfit.js';
import { type Moved, movedBetween } from './moved.js';
import { type Shift, shiftBetween } from './shift.js';

/** In pixels of the copies. */
export interface Compared {
  /** Share of the picture, 0 to 1, that both frames hold, and that is compared. */
  readonly share: number;
  readonly shift: Shift;
  /** Standard deviation of the blur that the second frame has more than the first; below 0, the first has more. */
  readonly blur: number;
  readonly moved: Moved;
}

const NO_SHIFT: Shift = { right: 0, down: 0 };
/** Of the picture's width: what moved farther shows another scene. */
const FARTHEST = 0.2;
/** Pixels of the copies; a shift that is nearer is left as it is. */
const NEAR = 0.06;
const ROUNDS = 3;

/**
 * @param pair copies of one size; either may be the brighter one
 * @returns null if the two have too little in common to tell anything
 */
export function compared(cv: Cv, pair: Pair): Compared | null {
  if (!isSameShape(pair.first, pair.second)) return null;
  return scoped((scope) => {
    const rough = roughShift(cv, scope, pair);
    const fit = rough === null ? null : fitted(cv, scope, pair, rough);
    if (fit === null) return null;
    const { over, shift, misfit } = fit;
    const { spread } = misfit;
    return {
      ...{ share: over.share, shift },
      blur: Math.sign(spread) * Math.sqrt(2 * Math.abs(spread)),
      moved: movedBetween(over, spread),
    };
  });
}

interface Fit {
  readonly over: Laid;
  readonly shift: Shift;
  readonly misfit: Misfit;
}

/**
 * The outline of the clipped parts gives a rough shift; the parts that both frames hold correct it until it
 * fits.
 */
function fitted(cv: Cv, scope: Scope, pair: Pair, rough: Shift): Fit | null {
  let shift = rough;
  for (let round = 1; ; round += 1) {
    const over = laid(cv, scope, pair, shift);
    const misfit = over === null ? null : misfitOf(over);
    if (over === null || misfit === null) return null;
    const { right, down } = misfit;
    shift = { right: shift.right + right, down: shift.down + down };
    if (isFar(shift, pair)) return null;
    if (round === ROUNDS || Math.hypot(right, down) < NEAR) return { over, shift, misfit };
  }
}

const isFar = ({ right, down }: Shift, { first }: Pair): boolean =>
  Math.hypot(right, down) > FARTHEST * first.width;

/** On copies of a quarter of the size: the rest is for what corrects it. */
function roughShift(cv: Cv, scope: Scope, pair: Pair): Shift | null {
  const small = { ...pair, first: quarter(cv, scope, pair.first), second: quarter(cv, scope, pair.second) };
  const toned = inOneTone(small, heldByBoth(cv, scope, small, NO_SHIFT, 1));
  if (toned === null) return null;
  const found = shiftBetween(cv, small.first, levelled(toned));
  const shift = found && { right: QUARTER * found.right, down: QUARTER * found.down };
  return shift === null || isFar(shift, pair) ? null : shift;
}

const QUARTER = 4;

function quarter(cv: Cv, scope: Scope, { levels, width, height }: Grey): Grey {
  const to = scope.keep(new cv.Mat());
  const size = new cv.Size(Math.round(width / QUARTER), Math.round(height / QUARTER));
  cv.resize(matOf(cv, scope, levels, { width, height }), to, size, 0, 0, cv.INTER_AREA);
  return { levels: to.data.slice(), width: size.width, height: size.height };
}

/** Parts that either frame cannot hold get the same level in both. */
function levelled({ first, second, tones }: Toned & { readonly tones: Float32Array }): Toned {
  const lowest = tones[FLOOR] as number;
  const within = (level: number) => Math.min(SHOULDER, Math.max(lowest, level));
  return { first: first.map(within), second: second.map(within) };
}
