// Sentences on a span that follows the scene: why it changed, in the notes of the set that it changed for,
// and what keeps it from going on. Pure.
import { NOT_MISSED } from '../../shared/clipping.js';
import { evInWords, NO_EV, type Sixths } from '../exposure/index.js';
import type { End } from '../plan/index.js';
import type { AtEnds, EndMemory, SpanMemory, SpanTold, Untold } from './span.js';

const FRAME_AT = { darker: 'darkest', brighter: 'brightest' } as const;
const TOO = { darker: 'too bright', brighter: 'too dark' } as const;

export interface SpanChange {
  readonly offsets: readonly Sixths[];
  readonly change: AtEnds<number>;
  /** Null if the last set told nothing: then the span changed because it no longer fitted. */
  readonly told: SpanTold | null;
  /** As it was before the change. */
  readonly memory: SpanMemory;
}

/** @returns why the span changed, and what it is now; null if it did not change */
export function changeSentence({ offsets, change, told, memory }: SpanChange): string | null {
  const why = (['darker', 'brighter'] as const).flatMap((end) => {
    if (change[end] > 0) return [addedWords(end, change[end], told?.[end].share ?? 0)];
    return change[end] < 0
      ? [droppedWords(end, -change[end], told?.[end].isSpare ?? false, memory[end])]
      : [];
  });
  if (why.length === 0) return null;
  const [from, to] = [offsets[0] ?? NO_EV, offsets.at(-1) ?? NO_EV];
  const size = `${offsets.length} ${offsets.length === 1 ? 'frame' : 'frames'}`;
  return `${why.join(' ')} The span is now ${evInWords(from)} to ${evInWords(to)} EV, ${size}.`;
}

function addedWords(end: End, count: number, share: number): string {
  const added = count === 1 ? `A ${end} frame is added` : `${count} ${end} frames are added`;
  if (share <= NOT_MISSED) return `${added}, because the last set was extended there while it was shot.`;
  return `${added}: ${percent(share)} of the picture was ${TOO[end]} even in the ${FRAME_AT[end]} frame of the last set.`;
}

function droppedWords(end: End, count: number, isSpare: boolean, { spare }: EndMemory): string {
  const dropped =
    count === 1
      ? `The ${FRAME_AT[end]} frame is left out`
      : `The ${count} ${FRAME_AT[end]} frames are left out`;
  if (!isSpare)
    return `${dropped}: with this base exposure there is no room for ${count === 1 ? 'it' : 'them'}.`;
  return `${dropped}: in the last ${spare} sets it held nothing that other frames did not.`;
}

/** A share of a picture, as text. */
function percent(share: number): string {
  if (share < 0.01) return `${Number((share * 100).toFixed(2))}%`;
  return `${Math.round(share * 100)}%`;
}

export const STAYS: Readonly<Record<Untold, string>> = {
  incomplete: 'The span stays as it is: the last set is not complete.',
  unjudged: 'The span stays as it is: the last set was not checked for lost detail in time.',
  'out-of-step':
    'The span stays as it is: the pictures of the last set do not get brighter as their exposures do.',
};

/** @param beyond frames at each end that the limit leaves out; at least at one end there are some */
export function mostSentence(mostFrames: number, beyond: AtEnds<number>): string {
  const lacks = (['darker', 'brighter'] as const)
    .filter((end) => beyond[end] > 0)
    .map((end) => `about ${beyond[end]} more at the ${end} end`);
  return `The span has ${mostFrames} frames, the most allowed, and needs ${lacks.join(' and ')}: allow more frames, or use a wider step.`;
}

/** @param why the planner's sentence */
export const cannotSentence = (why: string): string => `The span cannot reach as far as the scene. ${why}`;

/** @returns the sentence for a schedule that is only foreseen */
export const countedWith = (frames: number): string =>
  `The span follows the scene, so this counts ${frames} frames a set, the most allowed.`;
