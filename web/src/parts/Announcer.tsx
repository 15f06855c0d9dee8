// Speaks the progress of a run for people who do not see it, and the result of a check that was asked for.
// Frames come faster than they can be spoken, so of these it speaks only the latest, at intervals; everything
// else it speaks at once. Notes of a run are announced where they are.
import { useEffect, useRef, useState } from 'preact/hooks';
import type { ScheduleView } from '../../../shared/state.js';
import { onDiskOf } from '../kept-sets.js';
import { outcomeOf } from '../on-disk.js';
import { progressOf } from '../progress.js';
import { countsOf } from '../readiness.js';
import { lastCheck, view } from '../store.js';
import { text } from '../text.js';
import { timeLineOf } from '../time-line.js';

const PAUSE_MS = 2000;

export function Announcer() {
  const words = wordsNow();
  const running = view.value.name === 'running';
  const [spoken, setSpoken] = useState('');
  const last = useRef(0);
  useEffect(() => {
    const wait = running ? Math.max(0, last.current + PAUSE_MS - Date.now()) : 0;
    const timer = setTimeout(() => {
      last.current = Date.now();
      setSpoken(words);
    }, wait);
    return () => clearTimeout(timer);
  }, [words, running]);
  return (
    <p class="unseen" role="status" aria-live="polite" data-announcer>
      {spoken}
    </p>
  );
}

const isBetweenSets = ({ state }: ScheduleView): boolean => state === 'waiting' || state === 'held';

/** Between sets how far it is, in the end how it ended. */
function wordsOn(schedule: ScheduleView): string {
  return schedule.sentence ?? `${text.schedule.line.counts(timeLineOf(schedule, []).counts)}.`;
}

function wordsNow(): string {
  const shown = view.value;
  if (shown.name === 'ask') {
    const checked = lastCheck.value;
    if (checked === null) return '';
    return `${text.readiness.checkedAt(checked.at)}. ${text.readiness.line(countsOf(checked.items))}.`;
  }
  const { run, schedule } = shown;
  if (schedule !== null && (run === null || shown.name === 'ended' || isBetweenSets(schedule)))
    return `${text.schedule.states[schedule.state]}. ${wordsOn(schedule)}`;
  if (run === null) return '';
  const { pass, passes, verified, frames } = progressOf(run, 0);
  if (shown.name === 'ended') {
    const { words, sentence, kept } = outcomeOf(run, onDiskOf(run.set.id));
    const nothingMore = run.state === 'halted' ? ` ${text.run.nothingMore(kept)}` : '';
    // As long as pictures are still to be judged there is nothing to say of them.
    const holds = run.light?.coverage == null ? '' : ` ${run.light.sentence}`;
    return `${words}. ${sentence ?? ''}${nothingMore}${holds}`;
  }
  if (run.state === 'held') return `${text.runStates.held}. ${text.run.made(verified, frames)}.`;
  // Over hours nobody wants to hear each frame.
  if (schedule !== null) return `${text.schedule.running.of(run.set.ordinal, schedule.schedule.count)}.`;
  const where = pass === null ? text.runStates[run.state] : text.run.pass(pass, passes);
  return `${where}. ${text.run.made(verified, frames)}.`;
}
