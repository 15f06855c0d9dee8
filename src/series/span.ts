// The span of the next set, from how much of its scene the last one held: an end that lost something gets
// frames, and an end frame that is of no use is left out. Pure: offsets and what the pictures told in,
// offsets out; it knows no body, no slot, no file. Offsets stay on the grid of the step and are counted from
// the base. If the base follows the light at the same time, it moves by about as much as the scene does, and
// the offsets stay.
//
// Frames are added as soon as something is lost. A frame is left out only after it was of no use in two sets
// in a row, and only one at each end per set: a frame too many costs seconds, one too few costs a highlight.
// If a frame that was left out has to come back at once, the pictures contradicted each other there, and the
// end has to be of no use in twice as many sets before its next frame is left out: so a flickering end
// flickers ever less often.
import { lackingAtEnds, NOT_MISSED } from '../../shared/clipping.js';
import { EvenrungError } from '../../shared/errors.js';
import type { LightView } from '../../shared/light.js';
import { MOST_FRAMES } from '../../shared/request.js';
import type { SpanRequest } from '../../shared/run-request.js';
import type { FrameView } from '../../shared/state.js';
import { USUAL_SPAN } from '../../shared/usual-span.js';
import { fromEv, minusSixths, plusSixths, type Sixths, timesSixths } from '../exposure/index.js';
import type { End } from '../plan/index.js';

export type AtEnds<T> = Readonly<Record<End, T>>;

export interface SpanLimits {
  readonly fewestFrames: number;
  readonly mostFrames: number;
  /** The most frames that may be added and left out from one set to the next, at both ends together. */
  readonly mostPerSet: number;
}

/**
 * @param frames of the first set
 * @throws EvenrungError malformed-request if they lie outside the limits
 */
export function spanLimits(
  { fewestFrames, mostFrames, mostPerSet }: SpanRequest,
  frames: number,
): SpanLimits {
  const fewest = fewestFrames ?? Math.min(USUAL_SPAN.fewestFrames, frames, mostFrames ?? frames);
  const most = mostFrames ?? Math.min(MOST_FRAMES, frames + USUAL_SPAN.moreFrames);
  if (frames > most) throw outside('mostFrames', frames, `${most} are the most allowed`);
  if (frames < fewest) throw outside('fewestFrames', frames, `${fewest} are the fewest allowed`);
  return { fewestFrames: fewest, mostFrames: most, mostPerSet };
}

const outside = (field: string, frames: number, limit: string) =>
  new EvenrungError(
    'malformed-request',
    `The first set has ${frames} ${frames === 1 ? 'frame' : 'frames'}, but ${limit}: change one of the two.`,
    { field },
  );

// --- What a finished set told

export interface FinishedSet {
  readonly isComplete: boolean;
  /**
   * The offsets that the set was begun with, ascending. Frames that were added while it was made are only
   * among `frames`.
   */
  readonly asked: readonly Sixths[];
  /** The darkest first. */
  readonly frames: readonly Pick<FrameView, 'number' | 'offset' | 'state' | 'clipped'>[];
  /** Null if its pictures were not judged, or not in time. */
  readonly light: LightView | null;
}

export interface EndTold {
  /**
   * Frames by which this end should have reached farther, including those that were added while the set was
   * made.
   */
  readonly lacking: number;
  /** The share of the picture, 0 to 1, that this end lost. */
  readonly share: number;
  /** Whether the end frame and the one next to it hold nothing that no other frame holds. */
  readonly isSpare: boolean;
}
export type SpanTold = AtEnds<EndTold>;

/** Why the pictures of a set can tell nothing. */
export type Untold = 'incomplete' | 'unjudged' | 'out-of-step';

export function toldBy({ isComplete, asked, frames, light }: FinishedSet): SpanTold | Untold {
  if (!isComplete) return 'incomplete';
  const coverage = light?.coverage ?? null;
  if (light === null || coverage === null) return 'unjudged';
  if (!coverage.isInStep) return 'out-of-step';
  const alone = frames.map(({ number }) => {
    const one = light.frames.find((judged) => judged.number === number);
    return one === undefined || one.unread !== null ? null : one.alone;
  });
  // If nobody has looked at a frame, it is not known whether it holds parts that the others lack.
  if (alone.includes(null)) return 'unjudged';
  const shares = alone as number[];
  const lacking = lackingAtEnds(frames, coverage);
  const [darkest, brightest] = [asked[0], asked.at(-1)];
  const offsets = frames.map(({ offset }) => fromEv(offset));
  const added = {
    darker: darkest === undefined ? 0 : offsets.filter((offset) => offset < darkest).length,
    brighter: brightest === undefined ? 0 : offsets.filter((offset) => offset > brightest).length,
  };
  const told = (end: End, lost: number, [outer, inner]: readonly (number | undefined)[]): EndTold => ({
    lacking: added[end] + lacking[end],
    share: lost,
    isSpare: outer !== undefined && inner !== undefined && outer + lost <= NOT_MISSED && inner <= NOT_MISSED,
  });
  return {
    darker: told('darker', coverage.highlights.share, shares),
    brighter: told('brighter', coverage.shadows.share, shares.toReversed()),
  };
}

// --- What is remembered from set to set

/** What is remembered of one end. Plain JSON. */
export interface EndMemory {
  /** How many sets in a row its end frame has been of no use in. */
  readonly spare: number;
  /** How many such sets it takes until the frame is left out. */
  readonly needed: number;
  /** Judged sets since a frame was left out here; null if none was, or if it has come back. */
  readonly sinceDrop: number | null;
}
export type SpanMemory = AtEnds<EndMemory>;

/** Common practice, no source: one set may be an accident. */
const SPARE_SETS = 2;

const NEW_END: EndMemory = { spare: 0, needed: SPARE_SETS, sinceDrop: null };
export const NOTHING_REMEMBERED: SpanMemory = { darker: NEW_END, brighter: NEW_END };

/**
 * @param told null if the set told nothing: then the sets before and after it do not count as being in a
 *   row
 */
export const remembered = (memory: SpanMemory, told: SpanTold | null): SpanMemory => ({
  darker: endRemembered(memory.darker, told?.darker ?? null),
  brighter: endRemembered(memory.brighter, told?.brighter ?? null),
});

function endRemembered(end: EndMemory, told: EndTold | null): EndMemory {
  const { spare, needed, sinceDrop } = end;
  if (told === null) return { ...end, spare: 0 };
  if (told.lacking === 0)
    return {
      ...{ needed, spare: told.isSpare ? spare + 1 : 0 },
      sinceDrop: sinceDrop === null ? null : sinceDrop + 1,
    };
  if (sinceDrop === null) return { ...end, spare: 0 };
  // If it took that many sets or more, it is the scene that has changed.
  const wasAtOdds = sinceDrop < needed;
  return { spare: 0, needed: wasAtOdds ? 2 * needed : SPARE_SETS, sinceDrop: null };
}

/** @param change frames added at each end of the set that is begun (below 0: left out) */
export const afterChange = (memory: SpanMemory, change: AtEnds<number>): SpanMemory => {
  const after = (end: EndMemory, by: number): EndMemory =>
    by < 0 ? { ...end, spare: 0, sinceDrop: 0 } : by > 0 ? { ...end, spare: 0 } : end;
  return {
    darker: after(memory.darker, change.darker),
    brighter: after(memory.brighter, change.brighter),
  };
};

// --- The next set

export interface SpanAsked {
  /** The offsets that the last set was begun with, ascending. */
  readonly offsets: readonly Sixths[];
  readonly step: Sixths;
  /** Null if the last set told nothing: then the span stays. */
  readonly told: SpanTold | null;
  /** What is remembered, including the last set. */
  readonly memory: SpanMemory;
  readonly limits: SpanLimits;
  /** The offset of the frame by which the light is followed: it is never left out. */
  readonly keeps: Sixths;
  /** The most frames that can be added at each end; without a limit if it is left out. */
  readonly room?: AtEnds<number> | undefined;
}

export interface SpanStep {
  readonly offsets: readonly Sixths[];
  /** Frames added at each end; below 0, left out. */
  readonly change: AtEnds<number>;
  /** Frames at each end that `mostFrames` does not allow. */
  readonly beyondMost: AtEnds<number>;
}

export const NO_CHANGE = { darker: 0, brighter: 0 } as const;
const NO_LIMIT = { darker: Number.POSITIVE_INFINITY, brighter: Number.POSITIVE_INFINITY } as const;

export function followSpan({
  offsets,
  step,
  told,
  memory,
  limits,
  keeps,
  room = NO_LIMIT,
}: SpanAsked): SpanStep {
  if (told === null) return { offsets, change: NO_CHANGE, beyondMost: NO_CHANGE };
  const change = { darker: 0, brighter: 0 };
  let left = limits.mostPerSet;
  const size = () => offsets.length + change.darker + change.brighter;
  const lacksStill = (end: End) => Math.min(told[end].lacking, room[end]) - Math.max(0, change[end]);
  const add = () => {
    while (left > 0 && size() < limits.mostFrames) {
      const end = endThatLacksMore(told, lacksStill);
      if (end === null) return;
      change[end] += 1;
      left -= 1;
    }
  };
  add();
  // The brighter end first, since its frames take the longest.
  for (const end of ['brighter', 'darker'] as const) {
    const outer = end === 'darker' ? offsets[0] : offsets.at(-1);
    const isDue = told[end].isSpare && told[end].lacking === 0 && memory[end].spare >= memory[end].needed;
    if (!isDue || outer === keeps || left === 0 || size() <= limits.fewestFrames) continue;
    change[end] = -1;
    left -= 1;
  }
  // There may be room now that frames were left out.
  add();
  const isFull = size() >= limits.mostFrames;
  return {
    offsets: changed(offsets, step, change),
    change,
    beyondMost: {
      darker: isFull ? Math.max(0, lacksStill('darker')) : 0,
      brighter: isFull ? Math.max(0, lacksStill('brighter')) : 0,
    },
  };
}

/** @returns null if neither end lacks anything */
function endThatLacksMore(told: SpanTold, lacks: (end: End) => number): End | null {
  const [darker, brighter] = [lacks('darker'), lacks('brighter')];
  if (darker <= 0 && brighter <= 0) return null;
  if (darker === brighter) return told.brighter.share > told.darker.share ? 'brighter' : 'darker';
  return darker > brighter ? 'darker' : 'brighter';
}

/** @returns the offsets with so many more frames at each end, or fewer, if below 0 */
export function changed(
  offsets: readonly Sixths[],
  step: Sixths,
  { darker, brighter }: AtEnds<number>,
): readonly Sixths[] {
  const [first, last] = [offsets[0], offsets.at(-1)];
  if (first === undefined || last === undefined) return offsets;
  const from = minusSixths(first, timesSixths(step, darker));
  const count = offsets.length + darker + brighter;
  return Array.from({ length: count }, (_, index) => plusSixths(from, timesSixths(step, index)));
}

/** @returns how many frames the second has more than the first at each end; below 0, fewer */
export function changeBetween(
  before: readonly Sixths[],
  after: readonly Sixths[],
  step: Sixths,
): AtEnds<number> {
  const [first, last, from, to] = [before[0], before.at(-1), after[0], after.at(-1)];
  if (first === undefined || last === undefined || from === undefined || to === undefined) return NO_CHANGE;
  const frames = (ev: Sixths) => Math.trunc(ev / step);
  return { darker: frames(minusSixths(first, from)), brighter: frames(minusSixths(to, last)) };
}
