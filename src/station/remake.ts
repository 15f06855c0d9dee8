// Makes the run of a set that is already in the journal, so that it can be resumed, ended, or taken up again.
import { EvenrungError } from '../../shared/errors.js';
import { parseSetRequest } from '../../shared/request.js';
import { type BodyInHand, isSameBody } from '../bodies/index.js';
import type { Body } from '../camera/index.js';
import { SetFolder } from '../frames/index.js';
import type { StoredRun, UnfinishedRun } from '../journal/index.js';
import { fromWirePlan } from '../plan/index.js';
import type { Run, SetMemo } from '../set/index.js';
import { isTakenUp } from './again/kept.js';
import { isoToSet, shiftsIn } from './again/must-fit.js';
import type { MadeRun } from './firing.js';
import type { Parts } from './parts.js';
import { singleIn } from './single-options.js';

/**
 * The body that a run was begun with.
 * @throws EvenrungError no-body, body-not-ready if another one is there
 */
export function bodyOf(bodies: Pick<BodyInHand, 'must'>, { body: wanted }: Pick<StoredRun, 'body'>): Body {
  const body = bodies.must();
  if (isSameBody(body.identity, wanted)) return body;
  const name = wanted.serial === null ? wanted.model : `${wanted.model}, serial number ${wanted.serial}`;
  throw new EvenrungError(
    'body-not-ready',
    `The set was begun with another camera: ${name}. Connect that one to resume, or close the set.`,
  );
}

/**
 * The set that was under way, as its journal left it.
 * @throws EvenrungError nothing-unfinished, folder-not-writable
 */
export async function remake(
  { planner, firing }: Pick<Parts, 'planner' | 'firing'>,
  { run, set }: UnfinishedRun,
  { body, startedBy, iso = null }: Pick<MadeRun, 'body' | 'startedBy' | 'iso'>,
): Promise<Run> {
  if (set === null || set.folder === null || run.request === null) throw nothingLeft();
  const request = parseSetRequest(run.request);
  planner.askFor({ ...request, frames: set.plan.offsets.length });
  const { step, mode, settleSeconds, least, extend } = request;
  const plan = fromWirePlan(set.plan, { step, mode, settleSeconds, least }, body.limits);
  const baseShifts = await shiftsIn(set.folder);
  const folder = await SetFolder.reopen(set.folder);
  const { memo, id, ordinal, name, note, viewpoint } = set;
  return firing.makeRun({
    ...{ id: run.id, set: { id, ordinal, name, note, viewpoint }, plan, body, folder, baseShifts, startedBy },
    ...(isTakenUp(run) ? {} : { extend }),
    limits: planner.limitsOf(body),
    conditions: planner.conditionsOf({ ...request, base: set.plan.base.shutter }, body),
    iso: isTakenUp(run) ? isoToSet({ run, set }) : iso,
    beginsAt: restOfDelay({ run, set }),
    begun: { ...set, memo: (memo ?? null) as SetMemo | null },
  });
}

/**
 * @returns when a delay is over that had not passed when the set was cut off; null if there is nothing left
 *   to wait for
 */
function restOfDelay({ run, set }: Pick<UnfinishedRun, 'run' | 'set'>): Date | null {
  const isUntouched = set?.frames.every(({ view }) => view.attempts === 0) ?? true;
  const beginsAt = new Date(singleIn(run)?.beginsAt ?? 0);
  return isUntouched && beginsAt.getTime() > Date.now() ? beginsAt : null;
}

export const nothingLeft = () =>
  new EvenrungError('nothing-unfinished', 'Nothing is left of the interrupted set to resume.');
