// Resumes or ends a run that was cut off: first the set that was under way, then, on a schedule, the slots
// that are left.
import { asEvenrungError } from '../../shared/errors.js';
import { parseSetRequest } from '../../shared/request.js';
import type { Body } from '../camera/index.js';
import type { UnfinishedRun } from '../journal/index.js';
import { asPlaced, lineSoFar, type ScheduledOptions, scheduledIn, scheduledMemoIn } from '../series/index.js';
import { type Run, THIS_COMPUTER } from '../set/index.js';
import { hourAndMinute } from '../system/index.js';
import { abandon, isFetched, isTakenUp } from './again/kept.js';
import { mustLookInside, mustStandAsThen } from './again/must-fit.js';
import { type BegunRun, forgetSchedule } from './firing.js';
import type { Parts } from './parts.js';
import { bodyOf, nothingLeft, remake } from './remake.js';
import { carryOutSeries, type SeriesAsked, sequenceOf, setsOf } from './series.js';
import { singleIn } from './single-options.js';

/** @returns who began it, if that is known; who took a set up again is not kept */
export const beganBy = ({ run }: UnfinishedRun): string =>
  (isTakenUp(run) ? null : (singleIn(run) ?? scheduledIn(run)))?.startedBy ?? THIS_COMPUTER;

export interface Resuming {
  /** Who resumes it, as a person would name them. */
  readonly startedBy: string;
  /** A set that was held stays held, since nobody has said that it may fire. */
  readonly staysHeld: boolean;
}

/**
 * Returns as soon as the run is under way.
 * @throws EvenrungError nothing-unfinished, no-body, body-not-ready, folder-not-writable; whatever links
 *   throw
 */
export async function resume(parts: Parts, left: UnfinishedRun, resuming: Resuming): Promise<BegunRun> {
  const { run } = left;
  const scheduled = isTakenUp(run) ? null : scheduledIn(run);
  return scheduled === null
    ? resumeSet(parts, left, resuming)
    : resumeSeries(parts, left, scheduled, resuming);
}

async function resumeSet(
  parts: Parts,
  { run, set }: UnfinishedRun,
  { startedBy, staysHeld }: Resuming,
): Promise<Run> {
  const body = bodyOf(parts.bodies, run);
  if (set !== null && isTakenUp(run)) {
    await body.refresh();
    if (isFetched(set)) mustLookInside(body);
    else mustStandAsThen({ run, set }, body);
  }
  const made = await remake(parts, { run, set }, { body, startedBy });
  if (staysHeld && set?.state === 'held') made.hold();
  carryOn(parts, made, body, startedBy);
  made.note(goneOnWith());
  return made;
}

/**
 * Ends a run that was cut off: files that came back are taken in, and the record says how far the set got.
 * Without its body or its folder, only the journal says so.
 * @throws EvenrungError storing-failed
 */
export async function endCutOff(parts: Parts, left: UnfinishedRun): Promise<void> {
  const startedBy = beganBy(left);
  const { one, bodies, journal } = parts;
  try {
    await one.begin(startedBy, async () => {
      const body = bodyOf(bodies, left.run);
      const made = await remake(parts, left, { body, startedBy });
      made.stop();
      carryOn(parts, made, body, startedBy);
    });
    await one.settled();
  } catch (cause) {
    const { message } = asEvenrungError(cause);
    if (journal !== undefined)
      abandon(journal, left, `Ended after it was interrupted, without a record: ${message}`);
  }
}

function carryOn(
  { events, firing }: Pick<Parts, 'events' | 'firing'>,
  made: Run,
  body: Body,
  startedBy: string,
): void {
  forgetSchedule(events);
  events.tell({ type: 'unfinished', unfinished: null });
  firing.begin(startedBy, made, body);
}

async function resumeSeries(
  parts: Parts,
  left: UnfinishedRun,
  kept: ScheduledOptions,
  { startedBy, staysHeld }: Resuming,
): Promise<BegunRun> {
  const { events, journal } = parts;
  const { run, set } = left;
  const memo = scheduledMemoIn(run.memo);
  if (run.request === null || memo === null) throw nothingLeft();
  const body = bodyOf(parts.bodies, run);
  const request = asPlaced(parseSetRequest(run.request), kept);
  if (request === null) throw nothingLeft();
  const asked: SeriesAsked = { run: run.id, request, kept, body, startedBy, memo };
  const sets = setsOf(parts, asked);
  const iso = kept.light === null || set === null ? null : Number(set.base.iso) || null;
  const inHand = set === null ? null : await remake(parts, left, { body, startedBy, iso });
  const slot = Math.max(0, memo.sequence.slots.nextIndex - 1);
  const sequence = sequenceOf(parts, asked, sets, {
    // The memo was written when the last set began; only the journal knows how that set ended.
    memo: { ...memo.sequence, complete: journal?.completeSets(run.id) ?? memo.sequence.complete },
    inHand: inHand === null ? null : sets.resume(inHand, body, slot),
  });
  if (staysHeld && memo.sequence.held === true) sequence.hold();
  events.tell({ type: 'unfinished', unfinished: null });
  events.tell({ type: 'schedule', schedule: sequence.view });
  const line = journal === undefined ? [] : lineSoFar(journal, run.id, kept.foreseen.schedule, body);
  for (const one of line) events.tell({ type: 'line-set', run: run.id, set: one });
  const begun = carryOutSeries(parts, asked, sequence);
  sequence.note(goneOnWith());
  return begun;
}

const goneOnWith = (): string => `Resumed after a restart, at ${hourAndMinute(new Date())}.`;
