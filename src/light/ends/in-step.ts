// Whether frames tell of one light: those that hold the same cells differ by as much as their exposures do. Pure.
import { LINEAR_OF_LEVEL } from '../../../shared/srgb.js';
import { FLOOR, SHOULDER } from '../copy.js';
import { type Exposed, highestOf } from '../coverage/exposed.js';

/** A camera's own curve makes of each EV 0.4 to 1.6 in the picture (as coverage has it at the lower end). */
const BEND = 0.6;
/** Frames close to each other may differ by as much all the same: noise, and a little light. */
const LEAST_EV = 0.5;
/** Cells that both hold, as a share of the picture; fewer tell nothing. */
const FEWEST_CELLS = 0.005;
/** One of so many cells is looked at: all of them together would tell no more. */
const EVERY = 7;

/** @param frames in any order @returns false if a frame and the next one cannot be of the same light */
export function areOfOneLight(frames: readonly Exposed[]): boolean {
  const inOrder = frames.toSorted((one, other) => one.offsetEv - other.offsetEv);
  return inOrder.every((frame, index) => {
    const before = inOrder[index - 1];
    if (before === undefined) return true;
    const ratio = medianRatio(before, frame);
    const wanted = frame.offsetEv - before.offsetEv;
    return ratio === null || Math.abs(ratio - wanted) <= Math.max(LEAST_EV, BEND * wanted);
  });
}

/** @returns EV between two frames in the cells that both hold; null if there are too few */
function medianRatio(darker: Exposed, brighter: Exposed): number | null {
  const count = darker.copy.width * darker.copy.height;
  const ratios: number[] = [];
  for (let cell = 0; cell < count; cell += EVERY) {
    const low = highestOf(darker.copy, cell);
    const high = highestOf(brighter.copy, cell);
    if (low < FLOOR || low > SHOULDER || high < FLOOR || high > SHOULDER) continue;
    ratios.push(Math.log2((LINEAR_OF_LEVEL[high] as number) / (LINEAR_OF_LEVEL[low] as number)));
  }
  if (ratios.length * EVERY < FEWEST_CELLS * count) return null;
  ratios.sort((a, b) => a - b);
  return ratios[Math.floor(ratios.length / 2)] as number;
}
