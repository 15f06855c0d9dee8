// What a run is doing, on a schedule also between its sets, and the one thing that can be done about it.
import { useEffect, useRef } from 'preact/hooks';
import { evInWords, fromEv } from '../../../shared/ev.js';
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
  holding,
  holdRun,
  isHeld,
  letGo,
  now,
  refusedAction,
  stop,
  stopping,
} from '../store.js';
import { text } from '../text.js';
import { timeLineOf } from '../time-line.js';
import { moment } from '../words.js';
import { Refused } from './More.js';
import { ScreenLine } from './Phone.js';

/** The name for a person at the daemon's own computer, who is recorded if nobody else is named. */
const HERE = 'this computer';

function headline(run: RunView, { known, told, asked }: { known: boolean; told: boolean; asked: boolean }) {
  if (!known) return text.run.lastKnown(run.state);
  if (told) return text.run.stopping;
  if (asked) return text.run.holding;
  const seconds = secondsToBegin(run);
  if (run.state === 'preparing' && seconds > 0) return text.run.beginsIn(seconds);
  return run.trouble === null ? text.runStates[run.state] : text.trouble[run.trouble.doing];
}

/** By the daemon's clock. */
const secondsToBegin = ({ beginsAt }: RunView): number =>
  beginsAt === null ? 0 : Math.ceil((Date.parse(beginsAt) - daemonNow.value) / 1000);

const REFUSED_HERE: ReadonlySet<string> = new Set(['stop', 'hold', 'let-go']);

interface Props {
  readonly id: string;
  readonly run: RunView | null;
  readonly schedule: ScheduleView | null;
}

export function Running({ id, run, schedule }: Props) {
  const inHand = run !== null && !ENDED.has(run.state) ? run : null;
  const refused = refusedAction.value;
  return (
    <section class="dock" data-dock="running" aria-labelledby="run-heading">
      <ScreenLine />
      {inHand === null && schedule !== null && <Waiting id={id} schedule={schedule} />}
      {inHand !== null && <Firing id={id} run={inHand} schedule={schedule} />}
      <Refused refusal={refused !== null && REFUSED_HERE.has(refused.action) ? refused.refusal : null} />
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
        {schedule.next !== null && schedule.state !== 'held' && (
          <p class="run-pass">{text.schedule.running.at(moment(new Date(schedule.next.at)))}</p>
        )}
      </div>
      <Gauge label={text.schedule.running.progress} done={count - counts['to-come']} of={count} />
      <div class="run-foot">
        <p>
          <span>{text.schedule.line.counts(counts)}</span>
          {schedule.state === 'held' && <span class="soft">{text.run.heldWhy}</span>}
        </p>
        <Buttons told={told} asked={holding.value === id} />
      </div>
    </>
  );
}

function nextIn(schedule: ScheduleView): string {
  const { states, running } = text.schedule;
  if (connection.value.state !== 'connected' || schedule.next === null || schedule.state === 'held')
    return states[schedule.state];
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
  const asked = holding.value === id;
  const left = progress.secondsLeft + Math.max(0, secondsToBegin(run));
  return (
    <>
      <div class="run-head">
        <h2 id="run-heading" tabIndex={-1} ref={heading}>
          {headline(run, { known, told, asked })}
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
          {/* These two are always there, so that nothing moves if there is nothing to say for a moment. */}
          <span class="soft run-now">
            {progress.frame !== null &&
              text.run.now(
                progress.frame.number,
                evInWords(fromEv(progress.frame.offset)),
                progress.frame.shutter,
              )}
          </span>
          <span class="soft run-left">
            {run.state === 'held' && text.run.heldWhy}
            {known &&
              !told &&
              run.state !== 'held' &&
              run.trouble === null &&
              progress.secondsLeft > 0 &&
              text.run.left(left)}
          </span>
          {firedHere.value !== id && run.startedBy !== HERE && (
            <span class="soft">{text.run.startedBy(run.startedBy)}</span>
          )}
        </p>
        {/* Nothing is left that could be held back. */}
        <Buttons told={told || run.state === 'putting-back'} asked={asked} />
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

function Buttons({ told, asked }: { readonly told: boolean; readonly asked: boolean }) {
  return (
    <div class="run-buttons">
      {isHeld.value ? (
        <button type="button" disabled={told || busy.value === 'let-go'} onClick={() => void letGo()}>
          {text.run.letGo}
        </button>
      ) : (
        <button
          type="button"
          disabled={told || asked || busy.value === 'hold'}
          onClick={() => void holdRun()}
        >
          {text.run.hold}
        </button>
      )}
      <Stop told={told} />
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
