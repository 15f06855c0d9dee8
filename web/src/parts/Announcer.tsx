// Says how a run goes to whoever does not see it. Frames come faster than they can be spoken, so it speaks at most every
// so often and then the latest; how a run ended it says at once.
import { useEffect, useRef, useState } from 'preact/hooks';
import { progressOf } from '../progress.js';
import { view } from '../store.js';
import { text } from '../text.js';

const PAUSE_MS = 2000;

export function Announcer() {
  const words = wordsNow();
  const ended = view.value.name === 'ended';
  const [spoken, setSpoken] = useState('');
  const last = useRef(0);
  useEffect(() => {
    const wait = ended ? 0 : Math.max(0, last.current + PAUSE_MS - Date.now());
    const timer = setTimeout(() => {
      last.current = Date.now();
      setSpoken(words);
    }, wait);
    return () => clearTimeout(timer);
  }, [words, ended]);
  return (
    <p class="unseen" role="status" aria-live="polite" data-announcer>
      {spoken}
    </p>
  );
}

function wordsNow(): string {
  const shown = view.value;
  if (shown.name === 'ask') return '';
  const { run } = shown;
  if (shown.name === 'ended') return `${text.runStates[run.state]}. ${run.sentence ?? ''}`;
  const { pass, passes, verified, frames } = progressOf(run, 0);
  const where = pass === null ? text.runStates[run.state] : text.run.pass(pass, passes);
  return `${where}. ${text.run.made(verified, frames)}.`;
}
