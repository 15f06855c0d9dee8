// The sentence on how a set ended, and other sentences that are said at its end. Pure.
import type { EvenrungError } from '../../../shared/errors.js';
import type { FrameView } from '../../../shared/state.js';
import { type Debts, notPutBack } from '../../camera/index.js';
import type { RunOutcome } from '../../journal/index.js';
import { type AddedFate, addedWords } from '../again/added.js';
import { againSentence, type TakenUp } from '../again/taken-up.js';
import { fetchedWords, type Lacking } from '../book/lacking.js';

export interface Told {
  readonly outcome: RunOutcome;
  readonly frames: readonly FrameView[];
  readonly isStopped: boolean;
  readonly error: EvenrungError | null;
  /** Settings that could not be put back. */
  readonly debts: Debts;
  readonly takenUp: TakenUp | null;
  /** The result for the frames that it was to be extended by. */
  readonly added: AddedFate;
  /** Files that the set lacks now and that may be in the camera. */
  readonly lacking: Lacking;
}

export function endSentence(told: Told): string {
  const { outcome, frames, isStopped, error, debts, takenUp, added, lacking } = told;
  const verified = frames.filter(({ state }) => state === 'verified').length;
  const total = frames.length;
  // However the set ended, settings that have to be put back by hand are named.
  const owed = debts.size === 0 ? null : notPutBack(debts);
  const trouble = error === null || error.code === 'not-put-back' ? null : error.message;
  const sentences = (...all: (string | null)[]) => all.filter((one) => one !== null).join(' ');
  if (takenUp?.purpose === 'again')
    return againSentence(takenUp, frames, { stopped: isStopped && error === null, trouble, owed });
  const isExtended = takenUp?.purpose === 'extend' || added.made.length + added.unmade > 0;
  if (isExtended && outcome === 'complete')
    return sentences(
      isStopped && error === null ? 'Stopped.' : null,
      trouble,
      addedWords(added),
      `${total === 1 ? 'The frame is' : `All ${total} frames are`} verified.`,
      owed,
    );
  if (takenUp?.lacked !== undefined)
    return sentences(
      isStopped && error === null ? 'Stopped.' : null,
      trouble,
      ...(error === null && !isStopped ? fetchedWords(takenUp.lacked, lacking, frames) : []),
      verified < total
        ? `${verified} of ${total} frames are verified.`
        : `${total === 1 ? 'The frame is' : `All ${total} frames are`} verified.`,
      owed,
    );
  switch (outcome) {
    case 'complete':
      return sentences(
        `${total === 1 ? 'The frame is' : `All ${total} frames are`} verified.`,
        trouble,
        owed,
      );
    case 'stopped':
      return `Stopped after ${verified} of ${total} frames. The camera's settings are as they were found.`;
    default:
      return sentences(`Failed after ${verified} of ${total} frames.`, trouble, owed);
  }
}

/** @returns a sentence on frames whose base has moved since the first one; null if there are none */
export function movedSentence(frames: readonly FrameView[]): string | null {
  const moved = frames.filter((view) => view.baseMoved !== null);
  if (moved.length === 0) return null;
  const farthest = moved.reduce((most, view) =>
    Math.abs(view.baseMoved ?? 0) > Math.abs(most.baseMoved ?? 0) ? view : most,
  );
  const size = farthest.baseMoved ?? 0;
  const list = moved.map(({ number }) => number).join(', ');
  return `The light changed during the set: ${moved.length === 1 ? 'frame' : 'frames'} ${list} ${moved.length === 1 ? 'is' : 'are'} off the first frame's base exposure, by up to ${size > 0 ? '+' : '\u2212'}${Math.abs(size).toFixed(2)} EV.`;
}
