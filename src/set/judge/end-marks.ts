// What a frame is marked with as an end of its set. Which frames are the ends may have changed since it was verified, and what the pictures of
// the whole set hold is known only at its end. Pure.
import type { CoverageView } from '../../../shared/light.js';
import type { FrameViewMark } from '../../../shared/state.js';
import type { SetFrame } from '../set-frame.js';
import { clippingMarks, withClippingMarks } from './marks.js';

type Viewed = Pick<SetFrame, 'view'>;

/**
 * @param frames of its set, the darkest first
 * @param marks those that it has so far
 * @param coverage what the pictures of the whole set hold; null or left out if that is not known
 * @returns all its marks; null if nothing changes
 */
export const asEnd = (
  frame: Viewed,
  marks: readonly FrameViewMark[],
  frames: readonly Viewed[],
  coverage: CoverageView | null | undefined,
): FrameViewMark[] | null =>
  withClippingMarks(
    marks,
    clippingMarks(
      { place: frames.indexOf(frame) + 1, frames: frames.length, clipped: frame.view.clipped },
      coverage,
    ),
  );
