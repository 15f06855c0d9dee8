// Enters in the journal that a set is taken up again after its end: that it is under way, what its frames
// were before, and how it and its run end. It knows no body, and fires nothing.
import { z } from 'zod';
import { errorCodeSchema } from '../../../shared/error-codes.js';
import { isSameEv } from '../../../shared/ev.js';
import type { FrameState, FrameView } from '../../../shared/state.js';
import { namesOf, SetFolder } from '../../frames/index.js';
import type {
  Journal,
  RunEnded,
  StoredFrame,
  StoredRun,
  StoredSet,
  UnfinishedRun,
} from '../../journal/index.js';
import { type Plan, toWirePlan, withoutFrames } from '../../plan/index.js';
import {
  type EarlierFrame,
  ENDED_MEANWHILE,
  earlierOf,
  framesOf,
  lackingIn,
  type SetMemo,
  stray,
  type TakenUp,
  UNMADE,
  unmadeAtEnds,
  wayBack,
} from '../../set/index.js';
import { type ChosenSet, fetchable } from './choose.js';

const takenUpRunSchema = z.object({
  takenUp: z.object({
    /** How the run had ended. */
    state: z.enum(['complete', 'stopped', 'halted']),
    sentence: z.string(),
    error: errorCodeSchema.nullable().catch('internal'),
    endedAt: z.string().nullable(),
  }),
  /** The memo that the run had before. */
  before: z.unknown(),
});

/** @returns how a run had ended of which one set is taken up again; null if the run itself is under way */
const endBefore = ({ memo }: Pick<StoredRun, 'memo'>) => takenUpRunSchema.safeParse(memo).data ?? null;

/**
 * Whether only one set of the run is under way, which was taken up after the end: then its schedule does not
 * continue.
 */
export const isTakenUp = (run: Pick<StoredRun, 'memo'>): boolean => endBefore(run) !== null;

/** Whether the set is taken up only to look for missing files in the camera, without firing anything. */
export const isFetched = ({ memo }: Pick<StoredSet, 'memo'>): boolean =>
  (memo as SetMemo | null)?.takenUp?.purpose === 'fetch';

/**
 * Puts the set under way: its frames are kept as they were, and then planned anew, all in one transaction.
 * @param plan the plan with the frames that the set is extended by; null if it is not extended
 * @returns the run to resume
 * @throws EvenrungError storing-failed, folder-not-writable
 */
export async function keepTakenUp(
  journal: Journal,
  chosen: ChosenSet,
  plan: Plan | null,
): Promise<UnfinishedRun> {
  const { set, run } = chosen;
  const added = plan === null ? [] : framesBeyond(set, plan);
  const there = new Set(await SetFolder.filesIn(chosen.folder));
  const again = set.frames.filter(
    ({ view }) => view.state === 'verified' && chosen.frames.includes(view.number),
  );
  const isThere = ({ view }: StoredFrame) => view.file !== null && there.has(view.file);
  const memo = set.memo as SetMemo | null;
  const takenUp: TakenUp = {
    purpose: chosen.purpose,
    frames: [...chosen.frames, ...added.map(({ number }) => number)],
    ...(chosen.purpose === 'fetch' ? { lacked: lackingIn(fetchable(set)) } : {}),
    earlier: [
      ...leftBehind(memo?.takenUp ?? null, set, there),
      ...again.filter(isThere).map((frame): EarlierFrame => ({ frame, aside: null })),
    ],
    others: othersIn(set, there),
    since: new Date().toISOString(),
    outcome: outcomeOf(set),
    endedAt: set.endedAt ?? new Date().toISOString(),
  };
  journal.together(() => {
    journal.takeUpAgain(set.id);
    const { state, sentence, error, endedAt } = run;
    journal.rememberForRun(run.id, {
      takenUp: { state, sentence: sentence ?? '', error, endedAt },
      before: run.memo,
    });
    const { added: _, ...kept } = memo ?? { meteredTv: null, lensAt: null };
    const numbers = added.map(({ number }) => number);
    journal.rememberForSet(set.id, {
      ...kept,
      ...(numbers.length === 0 ? {} : { added: numbers }),
      takenUp,
    } satisfies SetMemo);
    if (plan !== null) journal.extendSet(set.id, { plan: toWirePlan(plan), frames: added });
    for (const frame of again)
      journal.frameChanged(set.id, isThere(frame) ? plannedAnew(frame.view) : gone(frame.view), NO_FILE);
  });
  const left = journal.unfinishedRun();
  if (left === null) throw new Error(`The run '${run.id}' was taken up and is not under way.`);
  return left;
}

const NO_FILE = {
  ...{ arrived: null, sha256: null, bytes: null },
  times: { firedAt: null, storedAt: null, verifiedAt: null },
};

const plannedAnew = (view: FrameView): FrameView => ({ ...view, ...UNMADE, state: 'planned' });

const gone = (view: FrameView): FrameView => ({
  ...plannedAnew(view),
  ...{ state: 'rejected', reason: 'Its file was missing.' },
});

/** @returns the frames of the plan that the set has not, as planned */
function framesBeyond({ frames, strays }: StoredSet, plan: Plan): FrameView[] {
  const known = { frames: frames.map(({ view }) => view), strays };
  return framesOf(plan, known)
    .map(({ view }) => view)
    .filter(({ offset }) => known.frames.every((one) => !isSameEv(one.offset, offset)));
}

const outcomeOf = ({ state }: StoredSet): TakenUp['outcome'] =>
  state === 'complete' || state === 'stopped' ? state : 'halted';

/** Files that an earlier taking up has not moved yet. */
function leftBehind(
  before: TakenUp | null,
  { frames }: StoredSet,
  there: ReadonlySet<string>,
): EarlierFrame[] {
  const inSet = new Set(frames.flatMap(({ view }) => namesOf(view)));
  return (before?.earlier ?? []).filter(
    ({ frame: { view }, aside }) =>
      aside !== null && namesOf(view).some((name) => there.has(name) && !inSet.has(name)),
  );
}

const IN_BETWEEN: ReadonlySet<FrameState> = new Set(['armed', 'fired', 'stored']);

/**
 * @returns files in the folder that belong to nobody here. If the set was cut off and never resumed, one of
 *   them may be a frame: then none
 */
function othersIn({ frames, memo }: StoredSet, there: ReadonlySet<string>): readonly string[] {
  const before = (memo as SetMemo | null)?.takenUp ?? null;
  if (before?.abandoned === true) return before.others;
  if (frames.some(({ view }) => IN_BETWEEN.has(view.state))) return [];
  const known = new Set(frames.flatMap(({ view }) => namesOf(view)));
  return [...there].filter((name) => !known.has(name));
}

/**
 * Ends a run. One on a schedule, of which a set was taken up again, has ended as it had ended before.
 * @throws EvenrungError storing-failed
 */
export function endRun(journal: Journal, id: string, ended: RunEnded): void {
  const run = journal.run(id);
  const before = run === null ? null : endBefore(run);
  if (run === null || before === null) {
    journal.endRun(id, ended);
    return;
  }
  journal.together(() => {
    journal.rememberForRun(id, before.before ?? null);
    journal.endRun(id, run.kind === 'scheduled' ? before.takenUp : ended);
  });
}

/**
 * Ends a run that nobody resumes, in the journal alone. Frames that were to be fired again are again what
 * they were before.
 * @throws EvenrungError storing-failed
 */
export function abandon(journal: Journal, { run, set }: UnfinishedRun, sentence: string): void {
  if (!isTakenUp(run)) {
    journal.abandonRun(run.id, sentence);
    return;
  }
  const memo = (set?.memo ?? null) as SetMemo | null;
  const takenUp = memo?.takenUp ?? null;
  journal.together(() => {
    if (set === null) {
      endRun(journal, run.id, endOfLast(journal, run));
      return;
    }
    for (const frame of set.frames) goBack(journal, set.id, frame, earlierOf(takenUp, frame.view.number));
    leaveOut(journal, set, memo?.added ?? []);
    if (memo !== null && takenUp !== null)
      journal.rememberForSet(set.id, { ...memo, takenUp: { ...takenUp, abandoned: true } } satisfies SetMemo);
    const isComplete = journal.set(set.id)?.frames.every(({ view }) => view.state === 'verified') ?? false;
    const before = takenUp?.outcome ?? 'halted';
    const state = isComplete ? 'complete' : before === 'complete' ? 'halted' : before;
    journal.abandonSet(set.id, { state, sentence });
    endRun(journal, run.id, { state, sentence });
  });
}

/** Frames that the set was to be extended by, and that were not made, leave it. */
function leaveOut(journal: Journal, { id, frames, plan }: StoredSet, added: readonly number[]): void {
  const unmade = unmadeAtEnds(frames, added);
  if (unmade.length === 0) return;
  for (const { view } of unmade)
    if (view.state === 'fired') journal.addStray(id, stray(view, new Date(), ENDED_MEANWHILE));
  journal.leaveOut(id, {
    plan: withoutFrames(plan, new Set(unmade.map(({ view }) => view.offset))),
    frames: unmade.map(({ view }) => view.number),
  });
}

function goBack(journal: Journal, set: string, { view }: StoredFrame, earlier: StoredFrame | null): void {
  if (earlier === null || view.state === 'verified') return;
  const { sha256, bytes, firedAt, storedAt, verifiedAt } = earlier;
  if (view.state === 'fired') journal.addStray(set, stray(view, new Date(), ENDED_MEANWHILE));
  for (const state of wayBack(view.state)) journal.frameChanged(set, { ...view, state });
  journal.frameChanged(
    set,
    { ...earlier.view, attempts: view.attempts },
    { arrived: null, sha256, bytes, times: { firedAt, storedAt, verifiedAt } },
  );
}

/** @returns how a run ends of which only that was not written any more */
export function endOfLast(journal: Journal, run: Pick<StoredRun, 'id'>): RunEnded {
  const [last] = journal.sets({ run: run.id, limit: 1 });
  const state = last?.state === 'complete' || last?.state === 'stopped' ? last.state : 'halted';
  return { state, sentence: last?.sentence ?? 'Nothing was fired.', error: last?.error ?? null };
}
