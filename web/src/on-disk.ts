// How a set that has ended is described, given the files that are on the disk right now: verified frames that
// are gone are not shown as if they were there. Pure.
import type { OnDisk } from '../../shared/kept.js';
import type { RunView } from '../../shared/state.js';
import { text } from './text.js';

/** Of a run, or of a set from the list. */
export type EndedSet = Pick<RunView, 'state' | 'sentence' | 'error' | 'frames'>;

export interface Outcome {
  readonly state: 'complete' | 'stopped' | 'halted';
  readonly words: string;
  readonly sentence: string | null;
  /** How many verified frames are there; null if the folder is not. */
  readonly kept: number | null;
}

const GONE = 'set-folder-gone';

/** @param onDisk null if it was not looked at yet, or nothing was stored */
export function outcomeOf(set: EndedSet, onDisk: OnDisk | null): Outcome {
  const { sentence, error } = set;
  const state: Outcome['state'] = set.state === 'complete' || set.state === 'stopped' ? set.state : 'halted';
  const verified = set.frames.filter((frame) => frame.state === 'verified').length;
  const words = text.runStates[state];
  const asItEnded: Outcome = { state, words, sentence, kept: verified };
  const stands = onDisk?.state ?? (error === GONE ? 'gone' : 'whole');
  if (stands === 'whole') {
    if (error !== GONE) return asItEnded;
    return { ...asItEnded, sentence: text.onDisk.back(verified, set.frames.length) };
  }
  const now = onDisk?.sentence ?? null;
  if (stands === 'gone')
    return {
      state: 'halted',
      words: text.onDisk.gone,
      kept: null,
      sentence: error === GONE ? sentence : now,
    };
  const { missing, changed } = onDisk ?? { missing: [], changed: [] };
  // The sentence of its end says the same already, or says that everything was there.
  const before = state === 'complete' || error === 'set-damaged' ? null : sentence;
  return {
    state: 'halted',
    words: text.onDisk.lacking(missing.length, changed.length),
    sentence: [before, now].filter((part) => part !== null).join(' '),
    kept: verified - missing.length,
  };
}
