// How a run ended, where its frames are, and the way on.
import { useEffect, useRef } from 'preact/hooks';
import type { RunView } from '../../../shared/state.js';
import { bringIntoSight } from '../follow.js';
import { firedHere, newSet, watched } from '../store.js';
import { text } from '../text.js';
import { Mark } from './Mark.js';
import { More } from './More.js';

const verifiedOf = ({ frames }: RunView) => frames.filter(({ state }) => state === 'verified').length;

const MARKS = { complete: 'verified', stopped: 'stopped', halted: 'rejected' } as const;

export function Ended({ run }: { readonly run: RunView }) {
  const state = run.state === 'complete' || run.state === 'stopped' ? run.state : 'halted';
  const heading = useRef<HTMLHeadingElement>(null);
  useEffect(() => {
    if (watched.value === run.id) bringIntoSight(heading.current);
    // The stop button is gone and may have taken the focus with it.
    const focusLost = document.activeElement === document.body;
    if (focusLost && firedHere.value === run.id) heading.current?.focus({ preventScroll: true });
  }, []);
  return (
    <section class="ended" data-state={state} aria-labelledby="ended-heading">
      <h2 id="ended-heading" tabIndex={-1} ref={heading}>
        <Mark of={MARKS[state]} />
        {text.runStates[state]}
      </h2>
      {run.sentence !== null && <p>{run.sentence}</p>}
      {state === 'halted' && <p>{text.run.nothingMore(verifiedOf(run))}</p>}
      {run.folder !== null && (
        <dl>
          <dt>{text.run.folder}</dt>
          <dd>
            <code>{run.folder}</code>
          </dd>
        </dl>
      )}
      <More about={run.error} />
    </section>
  );
}

/** The button goes away with the run: the focus goes to what takes its place. */
function askAnew() {
  newSet();
  requestAnimationFrame(() => document.getElementById('ask-heading')?.focus());
}

export function NewSet() {
  return (
    <div class="dock" data-dock="ended">
      <button type="button" class="new-set" onClick={askAnew}>
        {text.run.newSet}
      </button>
    </div>
  );
}
