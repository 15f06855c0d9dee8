// The marks of a frame that is an end of its set. Which frames are the ends may have changed since a frame
// was verified, and what the pictures hold between them is known only at the end of the set. Pure.
import type { CoverageView } from '../../../shared/light.js';
import type { FrameViewMark } from '../../../shared/state.js';
import type { SetFrame } from '../set-frame.js';
import { clippingMarks, withClippingMarks } from './marks.js';

type Viewed = Pick<SetFrame, 'view'>;

/**
 * @param marks those that the frame has so far
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
