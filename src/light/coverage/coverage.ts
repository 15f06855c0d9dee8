// How much of a scene a set holds: how much of the picture is well exposed in no frame, in one, in two and
// more; what is missing, at which end, and by how many stops. Pure.
import { NOT_MISSED } from '../../../shared/clipping.js';
import { LINEAR_OF_LEVEL } from '../../../shared/srgb.js';
import { FLOOR, SHOULDER } from '../copy.js';
import { areasOf } from './areas.js';
import { CELL, type Cells, cellsOf, type ExposedFrame, heldBy, highestOf, lostShare } from './exposed.js';
import type { Coverage, Missing } from './result.js';
import { sentenceOf } from './words.js';

export interface CoverageOfCells {
  readonly coverage: Coverage;
  readonly cells: Cells;
}

/**
 * @param frames of one set, in any order, all of one shape; one is enough
 * @throws RangeError if there is none, or if their shapes differ
 */
export function coverageOf(frames: readonly ExposedFrame[]): CoverageOfCells {
  const inOrder = frames.toSorted((one, other) => one.offsetEv - other.offsetEv);
  const cells = cellsOf(inOrder);
  const share = (kind: number) => shareOf(cells, (one) => one === kind);
  const one = share(CELL.one);
  const twoOrMore = share(CELL.two);
  const known = {
    shares: { none: 1 - one - twoOrMore, one, twoOrMore },
    highlights: missingAt('bright', cells, inOrder),
    shadows: missingAt('dark', cells, inOrder.toReversed()),
    between: share(CELL.between),
    isInStep: areInStep(inOrder),
    frames: inOrder.map((frame) => ({ number: frame.number, ...heldBy(frame, cells) })),
  };
  const { highlights, shadows, between, isInStep } = known;
  const isLost = (lost: number) => lost > NOT_MISSED;
  const holds = isInStep && !isLost(highlights.share) && !isLost(shadows.share) && !isLost(between);
  const coverage = { ...known, holds };
  return { coverage: { ...coverage, sentence: sentenceOf(coverage, NOT_MISSED) }, cells };
}

function shareOf({ of }: Cells, isMeant: (kind: number) => boolean): number {
  let count = 0;
  for (const kind of of) if (isMeant(kind)) count += 1;
  return count / of.length;
}

/** @param frames that of this end first */
function missingAt(end: 'bright' | 'dark', cells: Cells, frames: readonly ExposedFrame[]): Missing {
  const { share, small, isInSmall } = areasOf(cells, CELL[end]);
  return { share, stops: share > NOT_MISSED ? stopsMissing(frames, end, isInSmall) : 0, small };
}

/** Farther is a guess that helps nobody. */
const FARTHEST_EV = 5;
/** EV from the end frame to the frame that it is compared with, if there is one so far away. */
const NEAR_END_EV = 0.9;
/** Nearer frames differ by little more than the light may do. */
const LEAST_EV = 0.3;
/**
 * With x EV left to the end of the scene, the lost share is about x to this power. Measured on the practice
 * scenes: with 1.25 the result is within 0.7 EV of the scene's own end; a straight line gives too little, an
 * exponential up to three times too much.
 */
const FALLS_AS = 1.25;

/**
 * Worked out from how fast the lost share falls from the frame beside the end of the set to the end frame.
 * @param frames the end frame first
 * @returns EV, 1 at least; null if there are too few frames, or if the share hardly falls: a lamp, or a
 *   window that is equally bright all over
 */
function stopsMissing(
  frames: readonly ExposedFrame[],
  end: 'bright' | 'dark',
  isLeftOut: (cell: number) => boolean,
): number | null {
  const [first] = frames;
  if (first === undefined) return null;
  const evFrom = ({ offsetEv }: ExposedFrame) => Math.abs(offsetEv - first.offsetEv);
  const next = frames.find((frame) => evFrom(frame) >= NEAR_END_EV) ?? frames.at(-1);
  if (next === undefined || evFrom(next) < LEAST_EV) return null;
  const fall = lostShare(next, end, isLeftOut) / lostShare(first, end, isLeftOut);
  const stops = evFrom(next) / (fall ** (1 / FALLS_AS) - 1);
  return stops > 0 && stops <= FARTHEST_EV ? Math.max(1, stops) : null;
}

/**
 * For each EV, pictures of one scene get brighter by at least this much, whatever the camera's curve (as in
 * frames/judge: 0.6).
 */
const LEAST_BEND = 0.4;
/** Frames nearer to each other than this differ by less than the light may change. */
const NEAR_EV = 0.5;
/** Cells that both hold; fewer tell nothing. */
const FEWEST_CELLS = 0.005;
/** Share of cells that may run backwards, for what moves: common practice, no source. */
const MOST_BACKWARDS = 0.25;

/** One of so many cells is looked at: all of them together would tell no more. */
const EVERY = 7;

/** @param frames the darkest first @returns whether each is brighter than the one before it, as far as anything tells */
function areInStep(frames: readonly ExposedFrame[]): boolean {
  for (const [index, brighter] of frames.entries()) {
    const darker = frames.findLast(
      (frame, at) => at < index && brighter.offsetEv - frame.offsetEv >= NEAR_EV,
    );
    if (darker !== undefined && !isInStep(darker, brighter)) return false;
  }
  return true;
}

function isInStep(darker: ExposedFrame, brighter: ExposedFrame): boolean {
  const count = darker.copy.width * darker.copy.height;
  const ratios: number[] = [];
  let backwards = 0;
  for (let cell = 0; cell < count; cell += EVERY) {
    const low = highestOf(darker.copy, cell);
    const high = highestOf(brighter.copy, cell);
    if (low > SHOULDER && high < SHOULDER) backwards += 1;
    if (low >= FLOOR && high < FLOOR) backwards += 1;
    if (low < FLOOR || low > SHOULDER || high < FLOOR || high > SHOULDER) continue;
    ratios.push(Math.log2((LINEAR_OF_LEVEL[high] as number) / (LINEAR_OF_LEVEL[low] as number)));
  }
  if (backwards * EVERY > MOST_BACKWARDS * count) return false;
  if (ratios.length * EVERY < FEWEST_CELLS * count) return true;
  ratios.sort((a, b) => a - b);
  const median = ratios[Math.floor(ratios.length / 2)] as number;
  return median >= LEAST_BEND * (brighter.offsetEv - darker.offsetEv);
}
