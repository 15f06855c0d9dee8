// The largest sets that a schedule may come to whose span follows the scene: room and time for them must be
// known before it begins. Pure.

import type { SetRequest } from '../../shared/request.js';
import type { BodyLimits, Sixths } from '../exposure/index.js';
import type { Conditions, End, Plan } from '../plan/index.js';
import { type FitsAsked, fits } from './schedule/fits.js';
import { changed, NO_CHANGE, type SpanLimits } from './span.js';
import { countedWith } from './span-words.js';

export interface MostAsked {
  readonly limits: BodyLimits;
  readonly conditions: Conditions;
  readonly everySeconds: number;
  /** Null if the span stays. */
  readonly span: SpanLimits | null;
}

/**
 * @param plan of the first set
 * @returns the plan of a set with the most frames that the span may come to, and a sentence on it; the
 *   given plan if the span stays
 */
export function mostOfSpan(
  plan: Plan,
  { extend }: Pick<SetRequest, 'extend'>,
  { limits, conditions, everySeconds, span }: MostAsked,
): { readonly plan: Plan; readonly counted: string | null } {
  if (span === null) return { plan, counted: null };
  const asked = { request: plan, limits, conditions, everySeconds, extend };
  const offsets = widestSpan(asked, span.mostFrames);
  const widest = fits({ ...asked, request: { ...plan, offsets } });
  // A set that does not fit its slot even as it is asked for is refused anyway.
  const most = widest.fits ? widest.plan : plan;
  return { plan: most, counted: countedWith(most.offsets.length) };
}

/**
 * @returns the offsets of the widest set that can be made and fits the slot: it grows at both ends equally,
 *   and if one end cannot go on, at the other
 */
export function widestSpan(asked: FitsAsked, mostFrames: number): readonly Sixths[] {
  const { step, offsets } = asked.request;
  const grown = (from: readonly Sixths[], end: End, frames: number) =>
    changed(from, step, { ...NO_CHANGE, [end]: frames });
  const fitting = (from: readonly Sixths[], end: End, upTo: number): readonly Sixths[] => {
    let [least, most] = [0, upTo];
    while (least < most) {
      const middle = Math.ceil((least + most) / 2);
      const request = { ...asked.request, offsets: grown(from, end, middle) };
      if (fits({ ...asked, request }).fits) least = middle;
      else most = middle - 1;
    }
    return grown(from, end, least);
  };
  const left = (some: readonly Sixths[]) => Math.max(0, mostFrames - some.length);
  const brighter = fitting(offsets, 'brighter', Math.ceil(left(offsets) / 2));
  const both = fitting(brighter, 'darker', left(brighter));
  return fitting(both, 'brighter', left(both));
}
