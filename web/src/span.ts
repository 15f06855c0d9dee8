// From where to where a set reaches, counted from the base, and how it grows and shrinks at either end. Pure.
import { minusSixths, plusSixths, type Sixths, timesSixths } from '../../shared/ev.js';

/** The offsets of the darkest and the brightest frame. */
export interface Span {
  readonly from: Sixths;
  readonly to: Sixths;
}

export type End = 'darker' | 'brighter';

/** As in shared/request.ts. */
export const MOST_FRAMES = 61;

/** May not be a whole number, if the ends are not a whole number of steps apart. */
export const framesIn = ({ from, to }: Span, step: Sixths): number => (to - from) / step + 1;

/**
 * @returns the ends of so many frames centred on the base; an even number has its extra one on the brighter
 *   side
 */
export function evenSpan(frames: number, step: Sixths): Span {
  const from = timesSixths(step, -Math.floor((frames - 1) / 2));
  return { from, to: plusSixths(from, timesSixths(step, frames - 1)) };
}

/** Whether the number of frames alone says where the set lies. */
export function isEven(span: Span, step: Sixths): boolean {
  const frames = framesIn(span, step);
  return Number.isInteger(frames) && frames >= 1 && evenSpan(frames, step).from === span.from;
}

/**
 * @returns the span with one frame more or fewer at one end, the other end unchanged; null if there can be
 *   none
 */
export function moved({ from, to }: Span, step: Sixths, end: End, by: 1 | -1): Span | null {
  const more = timesSixths(step, by);
  const next = end === 'darker' ? { from: minusSixths(from, more), to } : { from, to: plusSixths(to, more) };
  const frames = framesIn(next, step);
  return frames >= 1 && frames <= MOST_FRAMES ? next : null;
}

/** @returns the span in whole steps: it keeps its darker end and reaches at least as far at the brighter one */
export const inSteps = ({ from, to }: Span, step: Sixths): Span => ({
  from,
  to: plusSixths(from, timesSixths(step, Math.ceil((to - from) / step))),
});
