// Whether a set still fits its slot and the link at another base, and what could be given up if it does not.
// Every answer has been planned.

import { formatDuration } from '../../../shared/duration.js';
import { EvenrungError } from '../../../shared/errors.js';
import { LONGEST_INTERVAL_SECONDS } from '../../../shared/schedule.js';
import {
  type BodyLimits,
  evInWords,
  type IsoSetting,
  labelledShutters,
  NO_EV,
  type ShutterSetting,
  type Sixths,
} from '../../exposure/index.js';
import { type Conditions, extendedMost, type Plan, type PlanRequest, planSet } from '../../plan/index.js';
import { handySeconds } from './handy.js';

export interface FitsAsked {
  /** The set with the base that it would have. */
  readonly request: PlanRequest;
  readonly limits: BodyLimits;
  readonly conditions?: Conditions | undefined;
  readonly everySeconds: number;
  /** The most frames that may be added at each end while the set is made; none if it is left out. */
  readonly extend?: number | undefined;
}

export type FitsVerdict =
  | { readonly fits: true; readonly plan: Plan }
  /** `plan` is null if the set cannot be made at all. */
  | { readonly fits: false; readonly sentence: string; readonly plan: Plan | null };

/**
 * Plans the set, and checks whether it is done within the interval even with all frames that may be added
 * while it is made.
 */
export function fits({ request, limits, conditions, everySeconds, extend = 0 }: FitsAsked): FitsVerdict {
  const plan = planned(request, limits, conditions);
  if (plan instanceof EvenrungError) return { fits: false, sentence: plan.message, plan: null };
  const most = extend === 0 ? plan : extendedMost(plan, extend, limits, conditions);
  if (most.estimate.seconds <= everySeconds) return { fits: true, plan };
  const takes = formatDuration(Math.ceil(most.estimate.seconds));
  const sentence = `With a base exposure of ${request.base.label} s the set takes ${takes}, longer than the interval of ${formatDuration(everySeconds)}.`;
  return { fits: false, sentence, plan };
}

function planned(request: PlanRequest, limits: BodyLimits, conditions?: Conditions): Plan | EvenrungError {
  try {
    return planSet(request, limits, conditions);
  } catch (cause) {
    if (cause instanceof EvenrungError) return cause;
    throw cause;
  }
}

/**
 * @returns the longest shutter that the base can have so that the set still fits; undefined if there is
 *   none
 */
export function slowestBaseThatFits(asked: FitsAsked): ShutterSetting | undefined {
  return labelledShutters(asked.limits).find(
    (base) =>
      base.settable &&
      !isHopeless(base, asked) &&
      fits({ ...asked, request: { ...asked.request, base } }).fits,
  );
}

/** Saves planning if the exposures alone take too long, or if one of them does not exist. */
function isHopeless(base: ShutterSetting, { request, limits, everySeconds }: FitsAsked): boolean {
  const frames = request.offsets.map((offset) => limits.shutters.find(({ tv }) => tv === base.tv - offset));
  const seconds = frames.reduce((sum, frame) => sum + (frame?.seconds ?? Number.POSITIVE_INFINITY), 0);
  return seconds > everySeconds || frames.some((frame) => (frame?.seconds ?? 0) > limits.longestSeconds);
}

export type GiveUp =
  | { readonly code: 'fewer-frames'; readonly sentence: string; readonly offsets: readonly Sixths[] }
  | { readonly code: 'interval'; readonly sentence: string; readonly everySeconds: number }
  | {
      readonly code: 'iso';
      readonly sentence: string;
      readonly iso: IsoSetting;
      readonly base: ShutterSetting;
    };

export interface IsoChoice {
  readonly now: IsoSetting;
  /** The ISO settings that the body offers up to the cap, ascending. */
  readonly offered: readonly IsoSetting[];
}

/**
 * @param iso null if ISO cannot be set
 * @returns one way of each kind that makes the set fit, if there is one: frames on the light side left out,
 *   a longer interval, a higher ISO with a shorter base. None if the set fits as it is.
 */
export function whatToGiveUp(asked: FitsAsked, iso: IsoChoice | null): GiveUp[] {
  const verdict = fits(asked);
  if (verdict.fits) return [];
  return [
    fewerFrames(asked),
    longerInterval(verdict.plan),
    iso === null ? null : higherIso(asked, iso),
  ].filter((way) => way !== null);
}

function fewerFrames(asked: FitsAsked): GiveUp | null {
  const { request } = asked;
  for (let kept = request.offsets.length - 1; kept >= 1; kept -= 1) {
    const offsets = request.offsets.slice(0, kept);
    const verdict = fits({ ...asked, request: { ...request, offsets } });
    if (!verdict.fits) continue;
    const out = request.offsets.length - kept;
    const which = out === 1 ? 'the brightest frame' : `the ${out} brightest frames`;
    const takes = formatDuration(Math.ceil(verdict.plan.estimate.seconds));
    const ends = evInWords(offsets.at(-1) ?? NO_EV);
    return {
      code: 'fewer-frames',
      sentence: `Leave out ${which}: the set then ends at ${ends} EV and takes ${takes}.`,
      offsets,
    };
  }
  return null;
}

function longerInterval(plan: Plan | null): GiveUp | null {
  const everySeconds = plan === null ? Number.POSITIVE_INFINITY : handySeconds(plan.estimate.seconds);
  if (everySeconds > LONGEST_INTERVAL_SECONDS) return null;
  return {
    code: 'interval',
    sentence: `Shoot a set every ${formatDuration(everySeconds)}.`,
    everySeconds,
  };
}

/** The lowest ISO at which the set fits. */
function higherIso(asked: FitsAsked, { now, offered }: IsoChoice): GiveUp | null {
  for (const iso of offered.filter(({ sv }) => sv > now.sv)) {
    const tv = asked.request.base.tv + iso.sv - now.sv;
    const base = labelledShutters(asked.limits).find((setting) => setting.tv === tv && setting.settable);
    if (base === undefined || !fits({ ...asked, request: { ...asked.request, base } }).fits) continue;
    return {
      code: 'iso',
      sentence: `Raise the ISO from ${now.iso} to ${iso.iso}, with a base exposure of ${base.label} s instead of ${asked.request.base.label} s.`,
      iso,
      base,
    };
  }
  return null;
}
