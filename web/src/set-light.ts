// The light of a set on the screen: which pictures of it there are, what is still to come, and why frames of
// it are worth firing again. Pure. The daemon says what the pictures tell (shared/light.ts).
import type { LightView } from '../../shared/light.js';
import type { FrameView } from '../../shared/state.js';
import { text } from './text.js';

/** A proof takes seconds. One that has not come by then was cut off, or could not be begun. */
const PROVED_WITHIN_MS = 120_000;
/** If not even a first picture has been judged by then, nothing judges them. */
const JUDGED_WITHIN_MS = 20_000;

interface MadeSet {
  /** ISO 8601; null as long as it is being made. */
  readonly endedAt: string | null;
  readonly frames: readonly Pick<FrameView, 'state'>[];
  readonly light: LightView | null;
}

/**
 * @param nowMs by the daemon's clock
 * @returns whether a picture of what the set can become may still come
 */
export function awaitsProof({ endedAt, frames, light }: MadeSet, nowMs: number): boolean {
  if (light?.proof != null) return false;
  if (endedAt === null) return true;
  // If no frame was made, nothing is merged.
  if (frames.every(({ state }) => state !== 'verified')) return false;
  return nowMs - Date.parse(endedAt) < (light === null ? JUDGED_WITHIN_MS : PROVED_WITHIN_MS);
}

type Marked = Pick<FrameView, 'number' | 'marks'>;

const REASONS = ['camera-moved', 'less-sharp', 'subject-moved'] as const;

/** @param again numbers of the frames that are worth firing again @returns why, a sentence for each reason */
export function whyAgain(frames: readonly Marked[], again: readonly number[]): string {
  const asked = frames.filter(({ number }) => again.includes(number));
  const sentences = REASONS.flatMap((code) => {
    const numbers = asked
      .filter(({ marks }) => marks.some((mark) => mark.code === code))
      .map(({ number }) => number)
      .sort((a, b) => a - b);
    return numbers.length === 0 ? [] : [text.setLight.why[code](numbers)];
  });
  return sentences.join(' ');
}
