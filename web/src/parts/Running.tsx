// What a run is doing, on a schedule also between its sets, and the one thing to do about it.
import { useEffect, useRef } from 'preact/hooks';
import { formatEv, fromEv } from '../../../shared/ev.js';
import { ENDED } from '../../../shared/fold.js';
import type { RunView, ScheduleView } from '../../../shared/state.js';
import { mayFire } from '../access.js';
import { progressOf } from '../progress.js';
import {
  busy,
  changedAt,
  connection,
  daemonNow,
  firedHere,
  now,
  refusedAction,
  stop,
  stopping,
} from '../store.js';
import { text } from '../text.js';
import { timeLineOf } from '../time-line.js';
import { moment } from '../words.js';
import { Refused } from './More.js';

function headline(run: RunView, known: boolean, told: boolean): string {
  if (!known) return text.run.lastKnown(run.state);
  if (told) return text.run.stopping;
  return run.trouble === null ? text.runStates[run.state] : text.trouble[run.trouble.doing];
}

interface Props {
  readonly id: string;
  readonly run: RunView | null;
  readonly schedule: ScheduleView | null;
}

export function Running({ id, run, schedule }: Props) {
  const inHand = run !== null && !ENDED.has(run.state) ? run : null;
  return (
    <section class="dock" data-dock="running" aria-labelledby="run-heading">
      {inHand === null && schedule !== null && <Waiting id={id} schedule={schedule} />}
      {inHand !== null && <Firing id={id} run={inHand} schedule={schedule} />}
      <Refused refusal={refusedAction.value?.action === 'stop' ? refusedAction.value.refusal : null} />
    </section>
  );
}

/** The trigger is gone and took the focus with it. Not to the stop button: the key that held the trigger is still down. */
function useHeading(id: string) {
  const heading = useRef<HTMLHeadingElement>(null);
  useEffect(() => {
    const focusLost = document.activeElement === document.body;
    if (focusLost && firedHere.value === id) heading.current?.focus({ preventScroll: true });
  }, [firedHere.value]);
  return heading;
}

function Waiting({ id, schedule }: { readonly id: string; readonly schedule: ScheduleView }) {
  const heading = useHeading(id);
  const { counts } = timeLineOf(schedule, []);
  const { count } = schedule.schedule;
  const told = stopping.value === id;
  return (
    <>
      <div class="run-head">
        <h2 id="run-heading" tabIndex={-1} ref={heading}>
          {told ? text.run.stopping : nextIn(schedule)}
        </h2>
        {schedule.next !== null && (
          <p class="run-pass">{text.schedule.running.at(moment(new Date(schedule.next.at)))}</p>
        )}
      </div>
      <Gauge label={text.schedule.running.progress} done={count - counts['to-come']} of={count} />
      <div class="run-foot">
        <p>{text.schedule.line.counts(counts)}</p>
        <Stop told={told} />
      </div>
    </>
  );
}

function nextIn(schedule: ScheduleView): string {
  const { states, running } = text.schedule;
  if (connection.value.state !== 'connected' || schedule.next === null) return states[schedule.state];
  const seconds = Math.ceil((Date.parse(schedule.next.at) - daemonNow.value) / 1000);
  return schedule.begun === 0 ? running.first(seconds) : running.next(seconds);
}

interface FiringProps {
  readonly id: string;
  readonly run: RunView;
  readonly schedule: ScheduleView | null;
}

function Firing({ id, run, schedule }: FiringProps) {
  const heading = useHeading(id);
  const progress = progressOf(run, Math.max(0, now.value - changedAt.value) / 1000);
  const told = stopping.value === id;
  const known = connection.value.state === 'connected';
  return (
    <>
      <div class="run-head">
        <h2 id="run-heading" tabIndex={-1} ref={heading}>
          {headline(run, known, told)}
        </h2>
        {progress.pass !== null && <p class="run-pass">{text.run.pass(progress.pass, progress.passes)}</p>}
      </div>
      <Gauge label={text.run.progress} done={progress.verified} of={progress.frames} />
      <div class="run-foot">
        <p>
          {schedule !== null && (
            <strong>{text.schedule.running.of(run.set.ordinal, schedule.schedule.count)}</strong>
          )}
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
        <Stop told={told} />
      </div>
    </>
  );
}

function Gauge({ label, done, of }: { readonly label: string; readonly done: number; readonly of: number }) {
  return (
    <div
      class="gauge"
      role="progressbar"
      aria-label={label}
      aria-valuemin={0}
      aria-valuemax={of}
      aria-valuenow={done}
    >
      <span style={{ transform: `scaleX(${done / Math.max(1, of)})` }} />
    </div>
  );
}

function Stop({ told }: { readonly told: boolean }) {
  if (!mayFire.value) return null;
  return (
    <button type="button" class="stop" disabled={told || busy.value === 'stop'} onClick={() => void stop()}>
      {text.run.stop}
    </button>
  );
}
