// From the frames that are wanted, and what the body can do, to passes in firing order. Pure: knows no body,
// no clock, no file.
//
// The plan takes the least time under the cost model of cost.ts; among plans that take equally long, it has
// the fewest passes. candidates.ts lists every pass that could be fired, and cover/ finds exactly the
// cheapest choice that makes every wanted offset. Among equally cheap choices the order of the list decides,
// from the darkest offset up: a bracket comes before a single frame, then the pass that spans least, so that
// neighbouring exposures lie close in time, then the darker centre. Passes are fired from the darkest to the
// brightest, which moves the centre least.
//
// If the least spread is asked for, the plan has the least spread, and after that takes the least time
// (choice.ts). One release may fire a frame or a whole pass; a plan uses one of these two ways throughout,
// with the brackets that the body has for it. If the request does not say which, the plan goes frame by
// frame; for the least spread it takes whichever way has less of it.
import { EvenrungError } from '../../shared/errors.js';
import { shortened } from '../../shared/plain-words.js';
import type { ReleaseWay } from '../../shared/request.js';
import {
  type BodyLimits,
  firedBy,
  fromEv,
  hasOneRelease,
  labelledShutters,
  nearestSetting,
  parseShutter,
  SHUTTER_SCALES,
  type ShutterSetting,
  timeAt,
} from '../exposure/index.js';
import { possiblePasses } from './candidates.js';
import { choose } from './choice.js';
import { estimate } from './estimate.js';
import { baseNotOffered, cannotBeMade, notInOneRelease } from './impossible.js';
import { assign, darkestFirst, mayReorder, withFewestChanges } from './order.js';
import type { Conditions, Estimate, Pass, Plan, PlanRequest } from './types.js';
import { warningsFor } from './warnings.js';

/**
 * @returns the least plan
 * @throws EvenrungError outside-shutter-range, longer-than-link, step-not-offered, not-settable,
 *   outside-compensation-range: the sentence and the details say which frames cannot be made, why, and what
 *   would help; one-release-not-offered if one release a pass is asked for
 */
export function planSet(request: PlanRequest, limits: BodyLimits, conditions: Conditions = {}): Plan {
  const plans = waysFor(request, limits).flatMap((way) => planBy(way, request, limits, conditions) ?? []);
  const [first, ...others] = plans;
  if (first === undefined) throw cannotBeMade(request, limits, conditions);
  const plan = others.reduce(
    (best, other) => (isLess(other.estimate, best.estimate, request) ? other : best),
    first,
  );
  return {
    ...plan,
    provenLeast: plans.every(({ provenLeast }) => provenLeast),
    gapSeconds: Math.max(...plans.map(({ gapSeconds }) => gapSeconds)),
  };
}

/** The ways to try, the preferred one first. For a single frame both ways are the same. */
function waysFor({ release, least, offsets }: PlanRequest, limits: BodyLimits): ReleaseWay[] {
  const canEither = hasOneRelease(limits);
  if (release === 'pass' && offsets.length > 1 && !canEither) throw notInOneRelease(limits);
  if (release === 'frame' || !canEither) return ['frame'];
  if (release === 'pass') return ['pass'];
  return least === 'spread' ? ['frame', 'pass'] : ['frame'];
}

/** @returns undefined if some frame cannot be made this way */
function planBy(
  way: ReleaseWay,
  request: PlanRequest,
  allLimits: BodyLimits,
  conditions: Conditions,
): Plan | undefined {
  const limits = firedBy(allLimits, way);
  const isSpread = request.least === 'spread';
  const isFree = isSpread || mayReorder(limits, conditions);
  const standingTv = isFree ? conditions.standingTv : undefined;
  const possible = possiblePasses(request, limits);
  const choice = choose({ request, limits, possible, standingTv }, way);
  if (choice === undefined) return undefined;
  // Among choices that `choose` counts as equal in spread, the quickest may have less spread once it is
  // estimated.
  const inTime = isSpread
    ? choose({ request: { ...request, least: 'time' }, limits, possible, standingTv }, way)
    : undefined;
  const inOrders = [...choice.choices, ...(inTime?.choices ?? [])].flatMap((chosen) => {
    const ascending = assign(darkestFirst(chosen));
    const reordered = isFree ? [withFewestChanges(ascending, conditions)] : [];
    return isSpread || !isFree ? [...reordered, ascending] : reordered;
  });
  const { settleSeconds } = request;
  const [first, ...others] = inOrders.map(
    (passes): Walked => ({
      passes,
      taken: estimate(passes, limits, { ...conditions, settleSeconds, release: way }),
    }),
  );
  if (first === undefined) return undefined;
  const { passes, taken } = others.reduce(
    (best, walked) => (isLess(walked.taken, best.taken, request) ? walked : best),
    first,
  );
  return {
    ...request,
    release: way,
    passes,
    estimate: taken,
    warnings: warningsFor(request, passes, allLimits, taken, conditions),
    provenLeast: choice.isProven,
    gapSeconds: choice.gapMilliseconds / 1000,
  };
}

/** Passes in firing order, and the times that it takes to fire them one after another. */
interface Walked {
  readonly passes: readonly Pass[];
  readonly taken: Estimate;
}

/** @returns whether one takes less than the other of whatever the request wants kept short */
function isLess(one: Estimate, other: Estimate, { least }: PlanRequest): boolean {
  const spread = least === 'spread' ? (one.spreadSeconds ?? 0) - (other.spreadSeconds ?? 0) : 0;
  return spread < 0 || (spread === 0 && one.seconds < other.seconds);
}

/** A request whose base is still as somebody wrote it. */
export type WrittenPlanRequest = Omit<PlanRequest, 'base'> & { readonly base: string };

/**
 * As planSet, with the base as it was written.
 * @throws EvenrungError as resolveBase and planSet; if only the base is not offered, the error suggests
 *   bases that would do
 */
export function planWritten(
  { base, ...others }: WrittenPlanRequest,
  limits: BodyLimits,
  conditions: Conditions = {},
): Plan {
  const { mode } = others;
  const seconds = secondsWritten(base);
  if (mode === 'manual' && nearestSetting(seconds, labelledShutters(limits)) === undefined)
    throw baseNotOffered(base, seconds, others, limits);
  const request = { ...others, base: resolveBase(base, limits, mode) };
  return planSet(request, limits, { ...conditions, baseWritten: base });
}

/**
 * @param written a shutter time in any spelling, such as `1/60` or `0"5`
 * @param mode in aperture priority the time need not be a setting of the body: it is only what estimates
 *   are counted from
 * @returns the setting that it means
 * @throws EvenrungError unreadable-shutter, base-not-offered
 */
export function resolveBase(
  written: string,
  limits: BodyLimits,
  mode: PlanRequest['mode'] = 'manual',
): ShutterSetting {
  const seconds = secondsWritten(written);
  if (mode === 'aperture')
    return (
      nearestSetting(seconds, [...SHUTTER_SCALES.third, ...SHUTTER_SCALES.half]) ??
      timeAt(fromEv(-Math.log2(seconds)))
    );
  const setting = nearestSetting(seconds, labelledShutters(limits));
  if (setting !== undefined) return setting;
  throw baseNotOffered(written, seconds, null, limits);
}

function secondsWritten(written: string): number {
  const time = parseShutter(written);
  const refuse = (code: 'unreadable-shutter' | 'base-not-offered', message: string) =>
    new EvenrungError(code, message, { field: 'base' });
  if (time === undefined)
    throw refuse(
      'unreadable-shutter',
      `'${shortened(written)}' is not a shutter time for the base exposure: write it like 1/60, 0.5 or 30.`,
    );
  if (time.kind === 'bulb')
    throw refuse('base-not-offered', 'Bulb cannot be the base exposure: give a shutter time, such as 30.');
  return time.seconds;
}
