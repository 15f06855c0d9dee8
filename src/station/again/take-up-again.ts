// Takes up a set that has ended: frames of it are fired once more, or the missing ones are made.
import { asEvenrungError } from '../../../shared/errors.js';
import { parseSetRequest } from '../../../shared/request.js';
import type { Body } from '../../camera/index.js';
import type { Journal } from '../../journal/index.js';
import { extendPlan, fromWirePlan, type Plan } from '../../plan/index.js';
import type { Run } from '../../set/index.js';
import { forgetSchedule } from '../firing.js';
import type { Parts } from '../parts.js';
import { remake } from '../remake.js';
import type { ChosenSet } from './choose.js';
import { abandon, keepTakenUp } from './kept.js';
import { mustFit } from './must-fit.js';

/** @returns the plan with the frames that the set is extended by; null if it is not */
function extended({ set, run, extension }: ChosenSet, body: Body, planner: Parts['planner']): Plan | null {
  if (extension === null) return null;
  const request = parseSetRequest(run.request);
  const { step, mode, settleSeconds, least } = request;
  const plan = fromWirePlan(set.plan, { step, mode, settleSeconds, least }, body.limits);
  return extendPlan(
    plan,
    extension,
    planner.limitsOf(body),
    planner.conditionsOf({ ...request, base: set.plan.base.shutter }, body),
  );
}

/**
 * Returns as soon as it is under way. The earlier files are kept; if a new frame cannot be made, they stay in
 * the set.
 * @throws EvenrungError as mustFit and extendPlan; base-not-offered, storing-failed, folder-not-writable,
 *   ending
 */
export async function takeUpAgain(
  parts: Parts,
  journal: Journal,
  chosen: ChosenSet,
  { body, startedBy }: { readonly body: Body; readonly startedBy: string },
): Promise<Run> {
  const { one, bodies, report, planner, firing, lateProofs, events } = parts;
  // Work that is still under way in its folder is finished first.
  await firing.proved(chosen.set.id);
  await lateProofs.withdraw(chosen.set.id);
  const frames = chosen.set.plan.offsets.length;
  planner.askFor({ ...parseSetRequest(chosen.run.request), frames });
  let plan: Plan | null = null;
  try {
    await mustFit(chosen, body, await report.readinessAsked());
    plan = extended(chosen, body, planner);
  } catch (cause) {
    throw bodies.loseIfLost(asEvenrungError(cause));
  }
  one.mustNotBeEnding();
  const left = await keepTakenUp(journal, chosen, plan);
  try {
    const run = await remake(parts, left, { body, startedBy });
    forgetSchedule(events);
    firing.begin(startedBy, run, body);
    return run;
  } catch (cause) {
    abandon(journal, left, `Nothing was fired: ${asEvenrungError(cause).message}`);
    throw cause;
  }
}
