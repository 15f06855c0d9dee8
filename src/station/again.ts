// A set is taken up again after its end: frames of it are fired once more, or the missing ones are made. Here is what has to hold
// before, and what the journal is told; how frames are fired knows the run. It knows no station, and fires nothing.
import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { z } from 'zod';
import { EvenrungError, errorCodeSchema } from '../../shared/errors.js';
import type { Again } from '../../shared/kept.js';
import { readSetRecord, type SetRecord } from '../../shared/set-record.js';
import type { FrameState, FrameView, Unfinished } from '../../shared/state.js';
import type { Body, ReadinessAsked } from '../camera/index.js';
import { checksumsOf, RECORD, SetFolder } from '../frames/index.js';
import type {
  Journal,
  RunEnded,
  StoredFrame,
  StoredRun,
  StoredSet,
  UnfinishedRun,
} from '../journal/index.js';
import { scheduledIn } from '../series/index.js';
import type { SetMemo } from '../set/index.js';
import { type EarlierFrame, earlierOf, type TakenUp } from '../set/index.js';
import { findSet } from './kept-sets.js';

/** A set that has ended, and which frames of it are to be made. */
export interface ChosenSet {
  readonly run: StoredRun;
  readonly set: StoredSet;
  readonly folder: string;
  readonly purpose: TakenUp['purpose'];
  /** Their numbers, ascending. */
  readonly frames: readonly number[];
}

// --- choosing

/**
 * @param written id of the set, or the beginning of it
 * @param chosen null for all frames that are missing
 * @throws EvenrungError no-such-set, run-unfinished, nothing-to-complete, frames-out-of-range
 */
export function chooseSet(journal: Journal | undefined, written: string, chosen: Again | null): ChosenSet {
  if (journal === undefined)
    throw new EvenrungError(
      'no-such-set',
      'Nothing that was fired is kept here: there is no set to go on with.',
    );
  const set = findSet(journal, written);
  const run = journal.run(set.run);
  if (journal.unfinishedRun() !== null)
    throw new EvenrungError(
      'run-unfinished',
      'An earlier set was cut off and is not ended yet. Go on with it or end it first.',
    );
  if (run === null || set.folder === null || run.request === null)
    throw new EvenrungError(
      'nothing-to-complete',
      `Of the set ${set.id} nothing is left to go on with${set.folder === null ? ': nothing was stored in it' : ''}. Fire it anew.`,
    );
  const of = { run, set, folder: set.folder };
  if (chosen !== null) return { ...of, purpose: 'again', frames: numbersOf(set, chosen) };
  const frames = set.frames.filter(({ view }) => view.state !== 'verified').map(({ view }) => view.number);
  // What was cut short only at its end, since its folder was gone, has that end still to come.
  if (frames.length > 0 || set.state !== 'complete') return { ...of, purpose: 'complete', frames };
  throw new EvenrungError(
    'nothing-to-complete',
    `The set ${set.id} is complete: all its ${set.frames.length} frames are verified. Choose frames to fire some of them again.`,
  );
}

/** @throws EvenrungError frames-out-of-range */
function numbersOf({ frames, plan }: StoredSet, chosen: Again): number[] {
  if ('pass' in chosen) {
    const numbers = frames.filter(({ view }) => view.pass === chosen.pass).map(({ view }) => view.number);
    if (numbers.length > 0) return numbers;
    const passes = plan.passes.length;
    throw new EvenrungError(
      'frames-out-of-range',
      `The set has no pass ${chosen.pass}: ${passes === 1 ? 'it has one' : `they are counted from 1 to ${passes}`}.`,
    );
  }
  const there = new Set(frames.map(({ view }) => view.number));
  const unknown = chosen.frames.filter((number) => !there.has(number));
  if (unknown.length > 0 || chosen.frames.length === 0)
    throw new EvenrungError(
      'frames-out-of-range',
      `${chosen.frames.length === 0 ? 'No frame is chosen' : `The set has no frame ${unknown.join(', ')}`}: they are counted from 1, the darkest, to ${frames.length}.`,
    );
  return [...new Set(chosen.frames)].sort((a, b) => a - b);
}

// --- what has to hold

/**
 * Reads the body's settings anew, and changes nothing.
 * @throws EvenrungError set-folder-gone, folder-not-writable, set-damaged, body-not-ready with what to set back; what links throw
 */
export async function mustFit(chosen: ChosenSet, body: Body, asked: ReadinessAsked): Promise<void> {
  await mustBeWhole(chosen);
  await body.refresh();
  const stops = body.readiness(asked).filter(({ mark }) => mark === 'stops');
  if (stops.length > 0)
    throw new EvenrungError('body-not-ready', stops.map(({ message }) => message).join(' '), {
      items: stops,
    });
  mustStandAsThen(chosen, body);
}

/** What is verified has to be what it was. A frame that is made again may be gone. */
async function mustBeWhole({ set, folder, frames }: ChosenSet): Promise<void> {
  const there = new Set(await SetFolder.filesIn(folder));
  const verified = set.frames.filter(({ view }) => view.state === 'verified' && view.file !== null);
  const isGone = ({ view }: StoredFrame) => !there.has(view.file ?? '');
  const gone = verified.filter((frame) => isGone(frame) && !frames.includes(frame.view.number));
  if (gone.length > 0)
    throw new EvenrungError(
      'set-damaged',
      `${filesOf(gone)} not in ${folder} any more. Put back a copy first, or choose ${framesOf(gone)} to be fired again.`,
    );
  const kept = verified.filter((frame) => !isGone(frame) && frame.sha256 !== null);
  const sums = await checksumsOf(kept.map(({ view }) => path.join(folder, view.file ?? '')));
  const changed = kept.filter((frame, index) => {
    const sum = sums[index];
    return sum === undefined || sum instanceof Error || sum.sha256 !== frame.sha256;
  });
  if (changed.length > 0)
    throw new EvenrungError(
      'set-damaged',
      `${filesOf(changed)} not what came from the camera any more. Put back a copy first; or move what is there away, and choose ${framesOf(changed)} to be fired again.`,
    );
}

const filesOf = (frames: readonly StoredFrame[]): string =>
  `${frames.map(({ view }) => view.file).join(', ')} ${frames.length === 1 ? 'is' : 'are'}`;
const framesOf = (frames: readonly StoredFrame[]): string =>
  `frame${frames.length === 1 ? '' : 's'} ${frames.map(({ view }) => view.number).join(', ')}`;

/**
 * Frames of one set share aperture and ISO: what was set by hand then has to be set by hand now.
 * @throws EvenrungError body-not-ready
 */
export function mustStandAsThen({ run, set }: Pick<ChosenSet, 'run' | 'set'>, body: Body): void {
  const { aperture, iso } = body.standing();
  const now = { aperture, iso: iso === null ? null : String(iso) };
  const off: string[] = [];
  if (set.base.aperture !== null && now.aperture !== null && set.base.aperture !== now.aperture)
    off.push(`the aperture from f/${now.aperture} to f/${set.base.aperture}`);
  if (
    set.base.iso !== null &&
    now.iso !== null &&
    set.base.iso !== now.iso &&
    isoToSet({ run, set }) === null
  )
    off.push(`the ISO from ${now.iso} to ${set.base.iso}`);
  if (off.length === 0) return;
  throw new EvenrungError(
    'body-not-ready',
    `The camera does not stand as it did when the set was made. Set ${off.join(', and ')}, then try again.`,
    { aperture: set.base.aperture, iso: set.base.iso },
  );
}

/** @returns the ISO of a set that Evenrung set itself, to follow the light; null where it stood as the photographer had it */
export function isoToSet({ run, set }: Pick<ChosenSet, 'run' | 'set'>): number | null {
  const follows = (scheduledIn(run)?.light ?? null) !== null;
  return follows ? Number(set.base.iso) || null : null;
}

/** @returns how the base was moved for a set, as its record tells; none where it cannot be read */
export async function shiftsIn(folder: string): Promise<SetRecord['baseShifts']> {
  try {
    return readSetRecord(await readFile(path.join(folder, RECORD), 'utf8')).record.baseShifts;
  } catch {
    return [];
  }
}

// --- in the journal

const takenUpRunSchema = z.object({
  takenUp: z.object({
    /** How the run had ended. */
    state: z.enum(['complete', 'stopped', 'halted']),
    sentence: z.string(),
    error: errorCodeSchema.nullable().catch('internal'),
    endedAt: z.string().nullable(),
  }),
  /** What it kept before. */
  before: z.unknown(),
});

/** @returns how a run had ended of which one set is taken up again; null where the run itself is under way */
const endBefore = ({ memo }: Pick<StoredRun, 'memo'>) => takenUpRunSchema.safeParse(memo).data ?? null;

/** Whether only one set of it is in hand, which was taken up after the end: no schedule goes on with it. */
export const isTakenUp = (run: Pick<StoredRun, 'memo'>): boolean => endBefore(run) !== null;

/**
 * From now on the set is under way: what its frames were is kept before they are planned anew, all of it at once.
 * @returns what is to be gone on with
 * @throws EvenrungError storing-failed, folder-not-writable
 */
export async function takeUpAgain(journal: Journal, chosen: ChosenSet): Promise<UnfinishedRun> {
  const { set, run } = chosen;
  const there = new Set(await SetFolder.filesIn(chosen.folder));
  const again = set.frames.filter(
    ({ view }) => view.state === 'verified' && chosen.frames.includes(view.number),
  );
  const isThere = ({ view }: StoredFrame) => view.file !== null && there.has(view.file);
  const memo = set.memo as SetMemo | null;
  const takenUp: TakenUp = {
    purpose: chosen.purpose,
    frames: chosen.frames,
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
    journal.rememberForSet(set.id, { meteredTv: null, lensAt: null, ...memo, takenUp } satisfies SetMemo);
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

const plannedAnew = (view: FrameView): FrameView => ({
  ...view,
  ...{
    state: 'planned',
    recorded: null,
    clipped: null,
    file: null,
    reason: null,
    baseMoved: null,
    marks: [],
  },
});

const gone = (view: FrameView): FrameView => ({
  ...plannedAnew(view),
  ...{ state: 'rejected', reason: 'Its file was not there any more.' },
});

const outcomeOf = ({ state }: StoredSet): TakenUp['outcome'] =>
  state === 'complete' || state === 'stopped' ? state : 'halted';

/** What an earlier taking up has not moved yet. */
const leftBehind = (
  before: TakenUp | null,
  { frames }: StoredSet,
  there: ReadonlySet<string>,
): EarlierFrame[] =>
  (before?.earlier ?? []).filter(({ frame: { view }, aside }) => {
    const isFrame = frames.some((now) => now.view.file === view.file);
    return aside !== null && view.file !== null && there.has(view.file) && !isFrame;
  });

const IN_BETWEEN: ReadonlySet<FrameState> = new Set(['armed', 'fired', 'stored']);

/** @returns what is nobody's here; where the set was cut off and never gone on with, a frame may be among it: then none */
function othersIn({ frames, memo }: StoredSet, there: ReadonlySet<string>): readonly string[] {
  const before = (memo as SetMemo | null)?.takenUp ?? null;
  if (before?.abandoned === true) return before.others;
  if (frames.some(({ view }) => IN_BETWEEN.has(view.state))) return [];
  const known = new Set(frames.map(({ view }) => view.file));
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
 * Ends a run that nobody goes on with, in the journal alone. Frames that were to be fired again are what they were before.
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
    if (memo !== null && takenUp !== null)
      journal.rememberForSet(set.id, { ...memo, takenUp: { ...takenUp, abandoned: true } } satisfies SetMemo);
    const isComplete = journal.set(set.id)?.frames.every(({ view }) => view.state === 'verified') ?? false;
    const before = takenUp?.outcome ?? 'halted';
    const state = isComplete ? 'complete' : before === 'complete' ? 'halted' : before;
    journal.abandonSet(set.id, { state, sentence });
    endRun(journal, run.id, { state, sentence });
  });
}

function goBack(journal: Journal, set: string, { view }: StoredFrame, earlier: StoredFrame | null): void {
  if (earlier === null || view.state === 'verified') return;
  const { sha256, bytes, firedAt, storedAt, verifiedAt } = earlier;
  if (view.state === 'fired') {
    const { number, offset, shutter } = view;
    const reason = 'Evenrung was ended while the frame was being made.';
    journal.addStray(set, { frame: number, offset, shutter, releasedAt: new Date().toISOString(), reason });
  }
  if (view.state === 'armed') journal.frameChanged(set, { ...view, state: 'planned' });
  if (view.state === 'fired' || view.state === 'stored')
    journal.frameChanged(set, { ...view, state: 'rejected' });
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

/** @returns what is told of a set that was cut off after it was taken up again; null where it was not */
export function shownTakenUp({ run, set }: UnfinishedRun): Unfinished | null {
  const takenUp = ((set?.memo ?? null) as SetMemo | null)?.takenUp ?? null;
  if (!isTakenUp(run) || set === null || takenUp === null) return null;
  const frames = set.frames.length;
  const verified = set.frames.filter(
    ({ view }) => view.state === 'verified' || earlierOf(takenUp, view.number) !== null,
  ).length;
  const what =
    takenUp.purpose === 'complete'
      ? 'A set was cut off while it was being completed'
      : `A set was cut off while ${takenUp.frames.length === 1 ? `frame ${takenUp.frames[0]} was` : `frames ${takenUp.frames.join(', ')} were`} being fired again`;
  return {
    ...{ run: run.id, set: set.id },
    startedAt: set.startedAt,
    verified,
    frames,
    folder: set.folder,
    scheduled: false,
    sentence: `${what}, when Evenrung was ended or the computer went down. Go on with it, if the camera still stands where it stood; or end it, and its frames are as they were, where no new one was verified.`,
  };
}
