// From what is wanted and what the body can do to firing passes. Pure: knows no body, no clock, no file.
//
// The plan is the least in time under the cost model of cost.ts, then the one with the fewest passes: every pass that could
// be fired is listed (candidates.ts), and the cheapest choice that makes every wanted offset is found exactly (cover/).
// Among equals the list's order decides, from the darkest offset up: brackets before single frames, then what spans least, so
// that neighbouring exposures lie close in time, then the darker centre. Passes are fired from the darkest to the lightest,
// which moves the centre least.
//
// Asked for the least spread it is the least in spread, and then in time (choice.ts). What one release fires, a frame or a pass, is two
// ways to the same frames: a plan goes one of them, with the brackets that the body has for it. Where nobody says which, it goes
// frame by frame; or, for the least spread, the way that has it.
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
 *   outside-compensation-range: the sentence and the details say which frames cannot be made, why, and what would help;
 *   one-release-not-offered where one release a pass is asked for
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

/** The preferred first. A single frame takes one release whatever the body has. */
function waysFor({ release, least, offsets }: PlanRequest, limits: BodyLimits): ReleaseWay[] {
  const canEither = hasOneRelease(limits);
  if (release === 'pass' && offsets.length > 1 && !canEither) throw notInOneRelease(limits);
  if (release === 'frame' || !canEither) return ['frame'];
  if (release === 'pass') return ['pass'];
  return least === 'spread' ? ['frame', 'pass'] : ['frame'];
}

/** @returns undefined where some frame cannot be made this way */
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
  // Of choices with the same spread, the one that is least in time may take less of it.
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

/** Passes in firing order, and what the walk along them takes. */
interface Walked {
  readonly passes: readonly Pass[];
  readonly taken: Estimate;
}

/** @returns whether one takes less than the other of what is to be kept short */
function isLess(one: Estimate, other: Estimate, { least }: PlanRequest): boolean {
  const spread = least === 'spread' ? (one.spreadSeconds ?? 0) - (other.spreadSeconds ?? 0) : 0;
  return spread < 0 || (spread === 0 && one.seconds < other.seconds);
}

/** A request whose base stands as somebody wrote it. */
export type WrittenPlanRequest = Omit<PlanRequest, 'base'> & { readonly base: string };

/**
 * As planSet, with the base as it was written.
 * @throws EvenrungError as resolveBase and planSet; if only the base is not offered, with those that would do as suggestions
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
 * @param mode in aperture priority no setting of the body has to be that: the time is only what estimates are counted from
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
