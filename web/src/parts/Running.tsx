// What a run is doing, and the one thing to do about it.
import { useEffect, useRef } from 'preact/hooks';
import { formatEv, fromEv } from '../../../shared/ev.js';
import type { RunView } from '../../../shared/state.js';
import { progressOf } from '../progress.js';
import { busy, changedAt, connection, firedHere, now, refusedAction, stop, stopping } from '../store.js';
import { text } from '../text.js';
import { Refused } from './More.js';

function headline(run: RunView, known: boolean, told: boolean): string {
  if (!known) return text.run.lastKnown(run.state);
  if (told) return text.run.stopping;
  return run.trouble === null ? text.runStates[run.state] : text.trouble[run.trouble.doing];
}

export function Running({ run }: { readonly run: RunView }) {
  const heading = useRef<HTMLHeadingElement>(null);
  // The trigger is gone and took the focus with it. Not to the stop button: the key that held the trigger is still down.
  useEffect(() => {
    const focusLost = document.activeElement === document.body;
    if (focusLost && firedHere.value === run.id) heading.current?.focus({ preventScroll: true });
  }, [firedHere.value]);

  const progress = progressOf(run, Math.max(0, now.value - changedAt.value) / 1000);
  const told = stopping.value === run.id;
  const refused = refusedAction.value?.action === 'stop' ? refusedAction.value.refusal : null;
  const known = connection.value.state === 'connected';
  return (
    <section class="dock" data-dock="running" aria-labelledby="run-heading">
      <div class="run-head">
        <h2 id="run-heading" tabIndex={-1} ref={heading}>
          {headline(run, known, told)}
        </h2>
        {progress.pass !== null && <p class="run-pass">{text.run.pass(progress.pass, progress.passes)}</p>}
      </div>
      <div
        class="gauge"
        role="progressbar"
        aria-label={text.run.progress}
        aria-valuemin={0}
        aria-valuemax={progress.frames}
        aria-valuenow={progress.verified}
      >
        <span style={{ transform: `scaleX(${progress.verified / Math.max(1, progress.frames)})` }} />
      </div>
      <div class="run-foot">
        <p>
          <span>{text.run.made(progress.verified, progress.frames)}</span>
          <span class="soft">
            {progress.frame !== null &&
              text.run.now(
                progress.frame.number,
                formatEv(fromEv(progress.frame.offset)),
                progress.frame.shutter,
              )}
          </span>
          {known && !told && run.trouble === null && progress.secondsLeft > 0 && (
            <span class="soft run-left">{text.run.left(progress.secondsLeft)}</span>
          )}
        </p>
        <button
          type="button"
          class="stop"
          disabled={told || busy.value === 'stop'}
          onClick={() => void stop()}
        >
          {text.run.stop}
        </button>
      </div>
      <Refused refusal={refused} />
    </section>
  );
}
