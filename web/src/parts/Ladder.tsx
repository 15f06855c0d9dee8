// The picture of a set: rungs climb from the darkest frame at the foot to the brightest at the top, braces at the side hold
// the frames of one pass together.
import type { ComponentChildren } from 'preact';
import { useEffect } from 'preact/hooks';
import { evInWords, fromEv, minusSixths } from '../../../shared/ev.js';
import { ENDED } from '../../../shared/fold.js';
import type { WirePlan } from '../../../shared/plan.js';
import type { RunView } from '../../../shared/state.js';
import { clockAheadMs, proofPath, runMapPath, thumbnailPath } from '../api.js';
import { bringIntoSight } from '../follow.js';
import { onDiskOf } from '../kept-sets.js';
import { type LanePart, lanesOf, type Rung, rungsOfPlan, rungsOfRun } from '../ladder.js';
import { addressOf, goTo } from '../route.js';
import { isNarrow } from '../screen.js';
import { awaitsProof } from '../set-light.js';
import { connection, planning, watched } from '../store.js';
import { text } from '../text.js';
import { stopsOf } from '../words.js';
import { refusedNow } from './Ask.js';
import { Clip, SAID_BY_CLIP } from './Clip.js';
import { Mark } from './Mark.js';
import { Metered } from './Metered.js';
import { RefusedPlan } from './RefusedPlan.js';
import { SetPicture } from './SetPicture.js';

export function PlanLadder() {
  const current = planning.value;
  const plan =
    current.state === 'planned' ? current.plan : current.state === 'asking' ? current.before : null;
  const asking = current.state === 'asking';
  return (
    <section class="set" aria-labelledby="ladder-heading" aria-busy={asking} data-planning={current.state}>
      <h2 id="ladder-heading" class="unseen">
        {text.ladder.heading}
      </h2>
      {plan === null ? (
        <NoLadder />
      ) : (
        <>
          <Size plan={plan} isToCome>
            {takes(plan)}
          </Size>
          <Warnings plan={plan} />
          <Rungs rungs={rungsOfPlan(plan)} run={null} />
        </>
      )}
    </section>
  );
}

function NoLadder() {
  const refused = refusedNow();
  if (refused !== null && !isNarrow.value) return <RefusedPlan {...refused} />;
  return <p class="soft">{refused === null ? text.ladder.none : text.ladder.refused}</p>;
}

interface RunLadderProps {
  readonly run: RunView;
  /** On a schedule, the time line is the main thing to look at. */
  readonly isScheduled: boolean;
}

export function RunLadder({ run, isScheduled }: RunLadderProps) {
  const inHand = run.frames.find((frame) => frame.state === 'armed' || frame.state === 'fired')?.number;
  useEffect(() => {
    if (inHand === undefined || ENDED.has(run.state) || isScheduled) return;
    bringIntoSight(document.querySelector(`.rung[data-frame="${inHand}"]`));
  }, [inHand, run.state]);
  return (
    <section class="set" aria-labelledby="ladder-heading" data-stale={connection.value.state !== 'connected'}>
      <h2 id="ladder-heading" class="unseen">
        {text.ladder.heading}
      </h2>
      <Size plan={run.plan} isToCome={false} called={calledOf(run, isScheduled)}>
        {text.ladder.base(run.base.shutter, text.body.settings(run.base.aperture, run.base.iso))}
      </Size>
      <Metered readings={run.plan.readings} />
      <Warnings plan={run.plan} />
      <RunNotes notes={run.notes} />
      <RunPicture run={run} />
      <Rungs rungs={rungsOfRun(run, onDiskOf(run.set.id)?.missing ?? [])} run={run} />
    </section>
  );
}

/** If nobody judges its pictures, or nobody saw the set being made, no room need be kept for its picture. */
function RunPicture({ run }: { readonly run: RunView }) {
  const { id, set, light, isJudged, endedAt } = run;
  const isWatched = watched.value === id;
  if (light === null && (!isJudged || (!isWatched && endedAt !== null))) return null;
  const isGone = onDiskOf(set.id)?.state === 'gone';
  return (
    <SetPicture
      key={set.id}
      light={light}
      map={light === null || light.map === 0 || isGone ? null : runMapPath(id, set.id, light.map)}
      proof={light?.proof?.isMade === true && !isGone ? proofPath(set.id, light.proof.madeAt) : null}
      isAwaited={awaitsProof(run, Date.now() + clockAheadMs)}
      isFollowed={isWatched}
    />
  );
}

/** @returns `Set 3, Boathouse from the jetty, viewpoint 2`, as far as it is known */
function calledOf({ set: { ordinal, name, viewpoint } }: RunView, isScheduled: boolean): string {
  const parts = [
    isScheduled ? text.ladder.ofSet(ordinal) : null,
    name,
    viewpoint === null ? null : text.list.viewpoint(viewpoint),
  ];
  return parts.filter((part) => part !== null).join(', ');
}

interface SizeProps {
  readonly plan: WirePlan;
  readonly isToCome: boolean;
  /** Which set it is, if anybody has named it. */
  readonly called?: string;
  readonly children?: ComponentChildren;
}

function Size({ plan, isToCome, called = '', children }: SizeProps) {
  const darkest = fromEv(plan.offsets[0] ?? 0);
  const brightest = fromEv(plan.offsets.at(-1) ?? 0);
  const [frames, passes] = [plan.offsets.length, plan.passes.length];
  const { seconds, spreadSeconds } = plan.estimate;
  return (
    <p class="size">
      {called !== '' && <strong>{called}</strong>}
      <strong>
        {isToCome
          ? text.ladder.size(frames, passes, seconds, frames > 1 ? spreadSeconds : null)
          : text.ladder.sizeOnly(frames, passes)}
      </strong>
      {frames > 1 && (
        <span>
          {text.ladder.span(
            stopsOf(minusSixths(brightest, darkest)),
            evInWords(darkest),
            evInWords(brightest),
          )}
        </span>
      )}
      {plan.release === 'pass' && <span>{text.ways.inOneRelease(passes)}</span>}
      {children !== undefined && <span class="soft">{children}</span>}
    </p>
  );
}

function takes({ estimate }: WirePlan): string {
  const megabytes = estimate.bytes === null ? null : Math.ceil(estimate.bytes / 1e6);
  return text.ladder.takes(estimate.actuations, estimate.longestGapSeconds, megabytes);
}

function Warnings({ plan }: { readonly plan: WirePlan }) {
  if (plan.warnings.length === 0) return null;
  return (
    <ul class="warnings" aria-label={text.ladder.warnings}>
      {plan.warnings.map((warning) => (
        <li key={warning.code + warning.message} data-code={warning.code}>
          <Mark of="warning" />
          {text.said(warning.message)}
        </li>
      ))}
    </ul>
  );
}

/** A log: only additions are spoken. */
function RunNotes({ notes }: { readonly notes: readonly string[] }) {
  return (
    <div class="run-notes" role="log" aria-label={text.run.notes}>
      {notes.map((note, index) => (
        <p key={index}>
          <Mark of="note" />
          <span>{text.said(note)}</span>
        </p>
      ))}
    </div>
  );
}

function Rungs({ rungs, run }: { readonly rungs: readonly Rung[]; readonly run: RunView | null }) {
  const lanes = lanesOf(rungs);
  const marked = rungs.some((rung) => rung.centre);
  return (
    <>
      <div
        class="ladder"
        data-many={rungs.length > 15}
        data-pictures={run !== null}
        style={{ '--lanes': String(lanes[0]?.length ?? 0) }}
      >
        <p class="end" aria-hidden="true">
          {text.ladder.brightest}
        </p>
        {/* biome-ignore lint/a11y/noRedundantRoles: a list without bullets is no list to some screen readers. */}
        <ol role="list" aria-label={text.ladder.rungs}>
          {rungs
            .map((rung, row) => (
              <RungRow
                key={rung.number}
                rung={rung}
                lanes={lanes[row] ?? []}
                frames={rungs.length}
                run={run}
              />
            ))
            .reverse()}
        </ol>
        <p class="end" aria-hidden="true">
          {text.ladder.darkest}
        </p>
      </div>
      <p class="legend soft">
        {marked ? text.ladder.legend : text.ladder.legendPlain}{' '}
        {run !== null && (
          <>
            <span class="clip-sign" data-side="black" /> {text.ladder.clipLegend.black}{' '}
            <span class="clip-sign" data-side="blown" /> {text.ladder.clipLegend.blown}
          </>
        )}
      </p>
    </>
  );
}

interface RowProps {
  readonly rung: Rung;
  readonly lanes: readonly (LanePart | null)[];
  readonly frames: number;
  readonly run: RunView | null;
}

function RungRow({ rung, lanes, frames, run }: RowProps) {
  const offset = evInWords(fromEv(rung.offset));
  const state = stateOf(rung, run);
  const moved = movedEv(rung);
  return (
    <li
      class="rung"
      aria-label={text.ladder.rung(rung.number, offset, rung.shutter, state, moved)}
      data-moved={moved !== null}
      data-frame={rung.number}
      data-pass={rung.pass}
      data-state={shownState(rung)}
      style={{ '--tone': String(rung.tone) }}
    >
      <span class="unseen">
        {rung.centre ? text.ladder.centreOf(rung.pass) : text.ladder.pass(rung.pass)}
      </span>
      <span class="lanes" aria-hidden="true">
        {lanes.map((part, lane) => (
          <Lane key={lane} part={part} active={part !== null && isActive(run, part.pass)} />
        ))}
      </span>
      <div class="stand">
        <span class="number">{rung.number}</span>
        {run !== null && <Picture rung={rung} run={run} />}
        <span class="exposure">
          <span class="offset">{text.ladder.ev(offset)}</span>
          <span class="shutter">{text.shutter(rung.shutter)}</span>
        </span>
        <span class="how">
          <span class="state">
            <Mark of={shownState(rung)} />
            {state}
          </span>
          <Clip frame={rung} frames={frames} coverage={run?.light?.coverage ?? null} />
        </span>
        <Notes rung={rung} />
      </div>
      <span class="bar" aria-hidden="true" />
    </li>
  );
}

const shownState = ({ state, isMissing }: Rung) => (isMissing ? 'rejected' : state);

/** Of a run that has ended nothing is planned any more. */
function stateOf({ state, isMissing }: Rung, run: RunView | null): string {
  if (isMissing) return text.onDisk.missing;
  const isLeftOut = run !== null && ENDED.has(run.state) && (state === 'planned' || state === 'armed');
  return isLeftOut ? text.ladder.notMade : text.frameStates[state];
}

const movedEv = ({ baseMoved }: Rung): string | null =>
  baseMoved === null ? null : evInWords(fromEv(baseMoved));

function isActive(run: RunView | null, pass: number): boolean {
  if (run === null || ENDED.has(run.state)) return false;
  const state = run.passes[pass - 1];
  return state === 'arming' || state === 'firing';
}

function Lane({ part, active }: { readonly part: LanePart | null; readonly active: boolean }) {
  if (part === null) return <span class="lane" />;
  return (
    <span class="lane" data-shape={part.shape} data-active={active}>
      {part.tag !== null && (
        <span class="tag" data-centre={part.tag === 'centre'}>
          {part.pass}
        </span>
      )}
    </span>
  );
}

function Picture({ rung, run }: { readonly rung: Rung; readonly run: RunView }) {
  const path = thumbnailPath(run.id, run.set.id, rung.number, rung.attempts);
  // The daemon makes a thumbnail as it reads a frame to verify it.
  if (rung.state !== 'verified' || rung.isMissing) return <span class="picture" />;
  return (
    <a
      class="picture"
      href={addressOf.rung(run.set.id, rung.number)}
      aria-label={text.set.open(rung.number)}
      onClick={(event) => {
        // A new tab is the browser's business.
        if (event.ctrlKey || event.metaKey || event.shiftKey) return;
        event.preventDefault();
        goTo(addressOf.rung(run.set.id, rung.number));
      }}
    >
      <img
        key={path}
        src={path}
        alt={text.ladder.picture(rung.number)}
        width="54"
        height="36"
        loading="lazy"
        onError={(event) => {
          event.currentTarget.hidden = true;
        }}
      />
    </a>
  );
}

function Notes({ rung }: { readonly rung: Rung }) {
  // How far the base moved is said by itself.
  const marks = rung.marks.filter(
    ({ code }) => !SAID_BY_CLIP.has(code) && (code !== 'base-moved' || rung.baseMoved === null),
  );
  const moved = movedEv(rung);
  if (rung.reason === null && rung.attempts < 2 && marks.length === 0 && moved === null) return null;
  return (
    <span class="notes">
      {rung.attempts > 1 && <span class="attempts">{text.ladder.attempts(rung.attempts)}</span>}
      {moved !== null && (
        <span class="moved">
          <Mark of={(rung.baseMoved ?? 0) > 0 ? 'lighter' : 'darker'} />
          {text.ladder.moved(moved)}
        </span>
      )}
      {rung.reason !== null && <span class="reason">{text.said(rung.reason)}</span>}
      {marks.map(({ code, sentence }) => (
        <span key={code + sentence} class="frame-mark" data-mark={code}>
          <Mark of="warning" />
          <span>{text.said(sentence)}</span>
        </span>
      ))}
    </span>
  );
}
