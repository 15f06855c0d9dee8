// How a run that was cut off is shown to people, and how it is ended if only its end was not written.
// Otherwise it only reads the journal.
import { EvenrungError } from '../../shared/errors.js';
import type { Unfinished } from '../../shared/state.js';
import type { Journal, UnfinishedRun } from '../journal/index.js';
import { scheduledIn } from '../series/index.js';
import { earlierOf, type SetMemo } from '../set/index.js';
import { endOfLast, endRun, isTakenUp } from './again/kept.js';

/** @throws EvenrungError nothing-unfinished, storing-failed */
export function mustBeCutOff(journal: Journal | undefined): UnfinishedRun {
  journal?.catchUp();
  const left = journal?.unfinishedRun() ?? null;
  if (left !== null) return left;
  throw new EvenrungError('nothing-unfinished', 'There is no interrupted set.');
}

/**
 * Ends a run of which everything but its end was written.
 * @throws EvenrungError storing-failed
 */
export function endWhatIsOver(journal: Journal): void {
  const left = journal.unfinishedRun();
  if (left === null || left.set !== null) return;
  if (left.run.kind === 'once' || isTakenUp(left.run))
    endRun(journal, left.run.id, endOfLast(journal, left.run));
}

/** @returns the run as it is shown to people */
export const shown = (left: UnfinishedRun): Unfinished => shownTakenUp(left) ?? shownUnfinished(left);

function shownUnfinished({ run, set }: UnfinishedRun): Unfinished {
  const frames = set?.frames ?? [];
  const verified = frames.filter(({ view }) => view.state === 'verified').length;
  const count = scheduledIn(run)?.foreseen.schedule.count ?? null;
  const when = 'when Evenrung ended or the computer went down';
  const after = `after ${verified} of ${frames.length} frames`;
  const what =
    count === null
      ? `A set was interrupted ${after}, ${when}.`
      : `A schedule was interrupted in set ${run.sets} of ${count}${set === null ? '' : ` ${after}`}, ${when}.`;
  return {
    ...{ run: run.id, set: set?.id ?? null },
    startedAt: run.createdAt,
    verified,
    frames: frames.length,
    folder: set?.folder ?? null,
    scheduled: count !== null,
    sentence: `${what} Resume it if the camera has not moved; otherwise end it, and its frames are kept.`,
  };
}

/** @returns a set as it is shown that was cut off after it had been taken up again; null if it is not one */
function shownTakenUp({ run, set }: UnfinishedRun): Unfinished | null {
  const takenUp = ((set?.memo ?? null) as SetMemo | null)?.takenUp ?? null;
  if (!isTakenUp(run) || set === null || takenUp === null) return null;
  const frames = set.frames.length;
  const verified = set.frames.filter(
    ({ view }) => view.state === 'verified' || earlierOf(takenUp, view.number) !== null,
  ).length;
  const what =
    takenUp.purpose === 'fetch'
      ? 'A set was interrupted while its files were being fetched from the camera'
      : takenUp.purpose === 'complete'
        ? 'A set was interrupted while it was being completed'
        : takenUp.purpose === 'extend'
          ? 'A set was interrupted while it was being extended'
          : `A set was interrupted while ${takenUp.frames.length === 1 ? `frame ${takenUp.frames[0]} was` : `frames ${takenUp.frames.join(', ')} were`} being reshot`;
  return {
    ...{ run: run.id, set: set.id },
    startedAt: set.startedAt,
    verified,
    frames,
    folder: set.folder,
    scheduled: false,
    sentence: `${what}, when Evenrung ended or the computer went down. Resume it if the camera has not moved; otherwise end it, and its earlier frames stay where no new one was verified.`,
  };
}
