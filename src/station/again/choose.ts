// Chooses the set that is taken up again after its end, and the frames of it that are to be made. It only
// reads the journal.
import { lackingAtEnds } from '../../../shared/clipping.js';
import { EvenrungError } from '../../../shared/errors.js';
import { ENDED } from '../../../shared/fold.js';
import type { Again, Extend } from '../../../shared/kept.js';
import { findSet, type Journal, type StoredRun, type StoredSet } from '../../journal/index.js';
import type { Extension } from '../../plan/index.js';
import { filesToLookFor, lackingIn, type TakenUp } from '../../set/index.js';

/** A set that has ended, and the frames of it that are to be made. */
export interface ChosenSet {
  readonly run: StoredRun;
  readonly set: StoredSet;
  readonly folder: string;
  readonly purpose: TakenUp['purpose'];
  /** Their numbers, ascending. */
  readonly frames: readonly number[];
  /** By how many it is extended at each end; null if it stays as wide as it is. */
  readonly extension: Extension | null;
}

/**
 * Frames to be fired again; `complete`: fire all missing frames; `fetch`: look for missing files in the
 * camera; or frames beyond its ends.
 */
export type Wanted = Again | 'complete' | 'fetch' | { readonly extend: Extend };

/**
 * @param written id of the set, or the beginning of it
 * @param wanted what is to be done with it
 * @throws EvenrungError no-such-set, run-unfinished, nothing-to-complete, frames-out-of-range
 */
export function chooseSet(journal: Journal, written: string, wanted: Wanted): ChosenSet {
  const set = findSet(journal, written);
  const run = journal.run(set.run);
  if (journal.unfinishedRun() !== null)
    throw new EvenrungError('run-unfinished', 'An earlier set was interrupted: resume it or end it first.');
  if (run === null || set.folder === null || run.request === null)
    throw new EvenrungError(
      'nothing-to-complete',
      `The set ${set.id} cannot be continued${set.folder === null ? ': nothing of it was stored' : ''}. Shoot it again.`,
    );
  const of = { run, set, folder: set.folder, extension: null };
  const missing = set.frames.filter(({ view }) => view.state !== 'verified').map(({ view }) => view.number);
  if (wanted === 'fetch') {
    if (filesToLookFor(lackingIn(fetchable(set))) > 0) return { ...of, purpose: 'fetch', frames: [] };
    throw new EvenrungError(
      'nothing-to-complete',
      `The set ${set.id} misses no file that the camera could have.`,
    );
  }
  if (typeof wanted === 'object' && 'extend' in wanted)
    return { ...of, purpose: 'extend', frames: missing, extension: extensionOf(set, wanted.extend) };
  if (wanted !== 'complete') return { ...of, purpose: 'again', frames: numbersOf(set, wanted) };
  // A set that failed only at its end, since its folder was gone, still has that end to come.
  if (missing.length > 0 || set.state !== 'complete') return { ...of, purpose: 'complete', frames: missing };
  throw new EvenrungError(
    'nothing-to-complete',
    `The set ${set.id} is complete: all its ${set.frames.length} frames are verified. To reshoot some of them, choose frames.`,
  );
}

/** @throws EvenrungError nothing-to-complete if nobody says by how many, and its ends have lost nothing */
function extensionOf({ id, frames, light }: StoredSet, { darker, brighter }: Extend): Extension {
  if (darker !== undefined || brighter !== undefined) return { darker: darker ?? 0, brighter: brighter ?? 0 };
  const lacking = lackingAtEnds(
    frames.map(({ view }) => view),
    light?.coverage,
  );
  if (lacking.darker + lacking.brighter > 0) return lacking;
  throw new EvenrungError(
    'nothing-to-complete',
    `The set ${id} has lost nothing at its ends, as far as its pictures show. To extend it all the same, give the number of darker or brighter frames.`,
  );
}

/** The facts by which files of a set may still be in the camera. */
export const fetchable = ({ frames, strays, made }: StoredSet) => ({
  frames: frames.map(({ view }) => view),
  strays,
  made,
});

/**
 * @returns how many files of it are worth looking for in the camera; none if the set is under way, or has
 *   no folder
 */
export const filesInCamera = (set: StoredSet): number =>
  ENDED.has(set.state) && set.folder !== null ? filesToLookFor(lackingIn(fetchable(set))) : 0;

/** @param numbers the darkest frame first */
const numbersInWords = (numbers: readonly number[]): string =>
  numbers.every((number, index) => number === index + 1)
    ? `counted from 1, the darkest, to ${numbers.length}`
    : `${numbers.join(', ')}, from dark to bright`;

/** @throws EvenrungError frames-out-of-range */
function numbersOf({ frames, plan }: StoredSet, chosen: Again): number[] {
  if ('pass' in chosen) {
    const numbers = frames.filter(({ view }) => view.pass === chosen.pass).map(({ view }) => view.number);
    if (numbers.length > 0) return numbers;
    const passes = plan.passes.length;
    throw new EvenrungError(
      'frames-out-of-range',
      `The set has no pass ${chosen.pass}: ${passes === 1 ? 'it has one' : `they are counted from 1 to ${passes}`}.`,
    );
  }
  const there = new Set(frames.map(({ view }) => view.number));
  const unknown = chosen.frames.filter((number) => !there.has(number));
  if (unknown.length > 0 || chosen.frames.length === 0)
    throw new EvenrungError(
      'frames-out-of-range',
      `${chosen.frames.length === 0 ? 'No frame is chosen' : `The set has no frame ${unknown.join(', ')}`}: its frames are ${numbersInWords(frames.map(({ view }) => view.number))}.`,
    );
  return [...new Set(chosen.frames)].sort((a, b) => a - b);
}
