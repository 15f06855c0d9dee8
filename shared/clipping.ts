// Where a set as a whole has lost part of the scene to black or to white: one rule for the panel, the marks
// and the record. Pure.
import type { CoverageView } from './light.js';

export interface Clipping {
  readonly side: 'black' | 'blown';
  /** From 0 to 1. */
  readonly share: number;
  /** EV by which that end would have to go on, about; null if nothing tells. */
  readonly stops: number | null;
}

/** From here on the scene reaches farther than the set; less is a lamp or a glint. A rule of thumb, no source. */
export const LOST_SHARE = 0.005;
/**
 * If areas are distinguished from lamps and glints, a loss smaller than this share of the picture is not
 * missed: 15 cells of 480 by 320. Common practice, no source.
 */
export const NOT_MISSED = 0.0001;

/** The facts by which a frame shows what is clipped in it. */
export interface ClippedFrame {
  readonly clipped: { readonly dark: number; readonly light: number } | null;
}

/**
 * A set exists so that what clips in one frame is held by another. Clipping counts only if no frame is left
 * to hold what was lost: light in the darkest frame, shadow in the brightest.
 * @param frame its place counts from 1, the darkest, whatever its number
 * @param coverage what the pictures of the whole set hold; null if they were not judged: then shares of the
 *   end frames decide
 * @returns what the set as a whole has lost in this one of its `frames` frames
 */
export function lostIn(
  { place, clipped }: ClippedFrame & { readonly place: number },
  frames: number,
  coverage: CoverageView | null = null,
): Clipping[] {
  const lost: Clipping[] = [];
  if (coverage?.isInStep === true) {
    const { highlights, shadows } = coverage;
    if (place === 1) lost.push({ side: 'blown', share: highlights.share, stops: highlights.stops });
    if (place === frames) lost.push({ side: 'black', share: shadows.share, stops: shadows.stops });
    return lost.filter(({ share }) => share > NOT_MISSED);
  }
  if (clipped === null) return [];
  if (place === 1) lost.push({ side: 'blown', share: clipped.light, stops: null });
  if (place === frames) lost.push({ side: 'black', share: clipped.dark, stops: null });
  return lost.filter(({ share }) => share >= LOST_SHARE);
}

type EndFrame = ClippedFrame & { readonly state: string; readonly offset: number };

/**
 * @param frames the darkest first
 * @returns what the ends of a set have lost, if the frames there are verified
 */
export const lostAtEnds = (
  frames: readonly Omit<EndFrame, 'offset'>[],
  coverage: CoverageView | null = null,
): Clipping[] =>
  frames.flatMap(({ state, clipped }, index) =>
    state === 'verified' ? lostIn({ place: index + 1, clipped }, frames.length, coverage) : [],
  );

/**
 * More frames at once would be a guess: the first of them are looked at before the next. Common practice, no
 * source.
 */
const MOST_AT_ONCE = 5;

/**
 * @param frames the darkest first
 * @returns how many frames would hold what was lost at each end: as many as the stops tell, or one if
 *   nothing tells
 */
export function lackingAtEnds(
  frames: readonly EndFrame[],
  coverage: CoverageView | null = null,
): { readonly darker: number; readonly brighter: number } {
  const lost = lostAtEnds(frames, coverage);
  const [first, second] = frames;
  const step = first === undefined || second === undefined ? 0 : second.offset - first.offset;
  const count = (wanted: Clipping['side']): number => {
    const found = lost.find(({ side }) => side === wanted);
    if (found === undefined) return 0;
    if (found.stops === null || step <= 0) return 1;
    // Half of a small step is as near as the stops are told.
    return Math.min(MOST_AT_ONCE, Math.max(1, Math.ceil(found.stops / step - 0.25)));
  };
  return { darker: count('blown'), brighter: count('black') };
}
