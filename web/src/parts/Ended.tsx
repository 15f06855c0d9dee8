// How a run ended, where its frames are, and what to do next.
import { useEffect, useRef } from 'preact/hooks';
import type { RunView, ScheduleView } from '../../../shared/state.js';
import { mayFire } from '../access.js';
import { bringIntoSight } from '../follow.js';
import { extendSet, fireAgain, notNow, onDiskOf } from '../kept-sets.js';
import { type Outcome as EndedAs, outcomeOf } from '../on-disk.js';
import { readViewpoint } from '../request.js';
import { addressOf, route } from '../route.js';
import { isNarrow } from '../screen.js';
import { busy, firedHere, newSet, nextViewpoint, refusedAction, request, watched } from '../store.js';
import { text } from '../text.js';
import { timeLineOf } from '../time-line.js';
import { Lost } from './Clip.js';
import { Mark } from './Mark.js';
import { More, Refused } from './More.js';
import { Unsteady } from './Unsteady.js';

const verifiedOf = ({ frames }: RunView) => frames.filter(({ state }) => state === 'verified').length;

const MARKS = { complete: 'verified', stopped: 'stopped', halted: 'rejected' } as const;

interface Props {
  readonly id: string;
  readonly run: RunView | null;
  readonly schedule: ScheduleView | null;
}

export function Ended({ id, run, schedule }: Props) {
  const whole = schedule ?? run;
  const { state, words, sentence, kept } = endOf(run, schedule);
  const heading = useRef<HTMLHeadingElement>(null);
  useEffect(() => {
    // On a narrow screen a short form of it is at the foot of the page, and the ladder stays in sight.
    if (watched.value === id && !isNarrow.peek()) bringIntoSight(heading.current?.parentElement ?? null);
    // The stop button is gone and may have taken the focus with it.
    const focusLost = document.activeElement === document.body;
    if (focusLost && firedHere.value === id) heading.current?.focus({ preventScroll: true });
  }, []);
  if (whole === null) return null;
  return (
    <section class="ended" data-state={state} aria-labelledby="ended-heading">
      <h2 id="ended-heading" tabIndex={-1} ref={heading}>
        <Mark of={MARKS[state]} />
        {words}
      </h2>
      {sentence !== null && <p>{text.said(sentence)}</p>}
      {schedule !== null && sentence === null && <p>{countsOf(schedule)}</p>}
      {schedule === null && run?.state === 'halted' && <p>{text.run.nothingMore(kept)}</p>}
      {run !== null && run.folder !== null && (
        <dl>
          <dt>{schedule === null ? text.run.folder : text.run.folderOfSets}</dt>
          <dd>
            <code>{schedule === null ? run.folder : run.folder.replace(/[\\/][^\\/]*$/, '')}</code>
          </dd>
        </dl>
      )}
      <More about={whole.error} />
    </section>
  );
}

/** For a single set, with the files that are still there; the sets of a schedule are shown in their list. */
function endOf(run: RunView | null, schedule: ScheduleView | null): EndedAs {
  if (schedule === null && run !== null) return outcomeOf(run, onDiskOf(run.set.id));
  const state = schedule?.state === 'complete' || schedule?.state === 'stopped' ? schedule.state : 'halted';
  return { state, words: text.schedule.states[state], sentence: schedule?.sentence ?? null, kept: 0 };
}

const countsOf = (schedule: ScheduleView): string =>
  text.schedule.line.counts(timeLineOf(schedule, []).counts);

/** The button goes away with the run: the focus goes to what takes its place. */
function askAnew() {
  newSet();
  requestAnimationFrame(() => document.getElementById('ask-heading')?.focus());
}

/** At one press: it has only just ended. */
function Lacks({ run }: { readonly run: RunView }) {
  // On its own page that is said already.
  if (isOnItsPage(run)) return null;
  const mayExtend = mayFire.value && notNow.value === null && endOf(run, null).kept !== null;
  const refused = refusedAction.value?.action === 'again' ? refusedAction.value.refusal : null;
  return (
    <>
      <Lost
        frames={run.frames}
        coverage={run.light?.coverage ?? null}
        isBusy={busy.value === 'again'}
        onMore={mayExtend ? (by) => void extendSet(run.set.id, by) : undefined}
      />
      <Unsteady
        frames={run.frames}
        light={run.light}
        isBusy={busy.value === 'again'}
        onAgain={mayExtend ? (frames) => void fireAgain(run.set.id, { frames }) : undefined}
      />
      <Refused refusal={refused} />
    </>
  );
}

/**
 * The result, where it is seen at once, and the next set. A wide screen has room for everything that there is
 * to say.
 */
export function Outcome({ id, run, schedule }: Props) {
  // The last pictures may be judged after the end. The foot of a narrow screen grows upwards, the side of a
  // wide one downwards: so buttons stay in place.
  const lacks = schedule === null && run !== null ? <Lacks run={run} /> : null;
  return (
    <div class="dock ended-dock" data-dock="ended">
      {isNarrow.value ? (
        <Shortly run={run} schedule={schedule} />
      ) : (
        <Ended id={id} run={run} schedule={schedule} />
      )}
      {isNarrow.value && lacks}
      {run !== null && verifiedOf(run) > 0 && <ToSet run={run} isOneOfMany={schedule !== null} />}
      {schedule !== null && route.value.name !== 'sets' && (
        <a class="button new-set" href={addressOf.sets}>
          {text.list.link}
        </a>
      )}
      {mayFire.value && <OtherSets />}
      {!isNarrow.value && lacks}
    </div>
  );
}

const isOnItsPage = (run: RunView): boolean => route.value.name === 'set' && route.value.id === run.set.id;

/** The way to the page where the set is viewed, named, completed and fired again. */
function ToSet({ run, isOneOfMany }: { readonly run: RunView; readonly isOneOfMany: boolean }) {
  const isGone = endOf(run, null).kept === null;
  const lacks = mayFire.value && !isGone && verifiedOf(run) < run.frames.length;
  if ((isOneOfMany && !lacks) || isOnItsPage(run)) return null;
  return (
    <a class="button new-set" href={addressOf.set(run.set.id)}>
      {lacks ? text.set.complete : text.set.look}
    </a>
  );
}

function Shortly({ run, schedule }: Pick<Props, 'run' | 'schedule'>) {
  const { state, words, kept } = endOf(run, schedule);
  // The number of verified frames means nothing if some are gone.
  const isAllThere = run !== null && kept === verifiedOf(run);
  return (
    <p class="outcome" data-state={state}>
      <Mark of={MARKS[state]} />
      <strong>{words}</strong>
      {schedule !== null && <span>{countsOf(schedule)}</span>}
      {schedule === null && run !== null && isAllThere && (
        <span>{text.run.made(verifiedOf(run), run.frames.length)}</span>
      )}
    </p>
  );
}

function OtherSets() {
  const viewpoint = readViewpoint(request.value.labels.viewpoint) ?? null;
  return (
    <>
      <button type="button" class="new-set" onClick={askAnew}>
        {text.run.newSet}
      </button>
      {viewpoint !== null && (
        <button
          type="button"
          class="new-set"
          onClick={() => {
            nextViewpoint();
            askAnew();
          }}
        >
          {text.labels.nextOf(viewpoint + 1)}
        </button>
      )}
    </>
  );
}
