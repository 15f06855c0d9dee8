// A set that is extended: frames beyond its ends, planned like any others and fired after those that are
// there. Step and base stay as they are, or the frames would not belong together. Also the way back, for
// frames that were not made. Pure.
import type { ErrorCode } from '../../shared/error-codes.js';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { MOST_FRAMES } from '../../shared/request.js';
import { type BodyLimits, hasOneRelease, plusSixths, type Sixths, timesSixths } from '../exposure/index.js';
import { planSet } from './plan.js';
import type { Conditions, Pass, Plan } from './types.js';

/** How many frames are added at each end. */
export interface Extension {
  readonly darker: number;
  readonly brighter: number;
}

export type End = keyof Extension;

/**
 * @param plan the plan of the set as it is
 * @returns the plan with the added frames: its own passes first, then those of the darker end, then those
 *   of the brighter one. At each end the frame next to the set is fired first, so that a set that is stopped
 *   there has no gap. The spread of the whole is not known, since the new passes may be fired much later
 * @throws EvenrungError frames-out-of-range; as planSet, with how many can be made at that end in
 *   `details.most`
 */
export function extendPlan(
  plan: Plan,
  extension: Extension,
  limits: BodyLimits,
  conditions: Conditions = {},
): Plan {
  mustBeFew(plan, extension);
  const parts = (['darker', 'brighter'] as const).flatMap((end) =>
    extension[end] === 0 ? [] : planEnd(plan, end, extension[end], limits, conditions),
  );
  return parts.reduce(joined, plan);
}

/**
 * The largest set that may come of a request to extend at ends that clip; for limits that have to be known
 * beforehand.
 * @param count the most frames at each end
 * @returns the plan with all of them that can be made
 */
export function extendedMost(
  plan: Plan,
  count: number,
  limits: BodyLimits,
  conditions: Conditions = {},
): Plan {
  const [darker, brighter] = (['darker', 'brighter'] as const).map((end) =>
    mostBeyond(plan, end, count + 1, limits, conditions),
  ) as [number, number];
  const left = MOST_FRAMES - plan.offsets.length;
  const few = { darker: Math.min(darker, left), brighter: Math.min(brighter, Math.max(0, left - darker)) };
  return extendPlan(plan, few, limits, conditions);
}

/** @throws EvenrungError frames-out-of-range */
function mustBeFew({ offsets }: Plan, { darker, brighter }: Extension): void {
  const left = MOST_FRAMES - offsets.length;
  if (darker + brighter <= left) return;
  throw new EvenrungError(
    'frames-out-of-range',
    `${darker + brighter} more frames are too many: the set has ${offsets.length}, and ${MOST_FRAMES} are the most. ${left === 0 ? 'No more can be added' : `Add at most ${left}`}, or shoot a new set with a wider step.`,
    { most: left },
  );
}

/** @returns the offsets beyond an end, ascending */
export function offsetsBeyond(
  { offsets, step }: Pick<Plan, 'offsets' | 'step'>,
  end: End,
  count: number,
): Sixths[] {
  const [darkest, brightest] = [offsets[0], offsets.at(-1)];
  if (darkest === undefined || brightest === undefined) return [];
  return Array.from({ length: count }, (_, index) =>
    end === 'darker'
      ? plusSixths(darkest, timesSixths(step, index - count))
      : plusSixths(brightest, timesSixths(step, index + 1)),
  );
}

function planEnd(plan: Plan, end: End, count: number, limits: BodyLimits, conditions: Conditions): Plan {
  try {
    return innerFirst(planBeyond(plan, end, count, limits, conditions), end);
  } catch (cause) {
    throw beyondReach(asEvenrungError(cause), end, mostBeyond(plan, end, count, limits, conditions), plan);
  }
}

function planBeyond(
  { base, mode, step, settleSeconds, least, release, ...plan }: Plan,
  end: End,
  count: number,
  limits: BodyLimits,
  conditions: Conditions,
): Plan {
  return planSet(
    {
      ...{ base, mode, step, settleSeconds, least },
      offsets: offsetsBeyond({ ...plan, step }, end, count),
      // A body may stand otherwise than it did then.
      release: hasOneRelease(limits) ? release : 'frame',
    },
    limits,
    conditions,
  );
}

function innerFirst(plan: Plan, end: End): Plan {
  const nearest = ({ frames }: Pass): number => {
    const offsets = frames.flatMap(({ offset, wanted }) => (wanted ? [offset] : []));
    return end === 'darker' ? -Math.max(...offsets) : Math.min(...offsets);
  };
  const order = plan.passes
    .map((_, index) => index)
    .sort((a, b) => {
      const [one, other] = [plan.passes[a], plan.passes[b]] as [Pass, Pass];
      return nearest(one) - nearest(other) || a - b;
    });
  const { passSeconds } = plan.estimate;
  return {
    ...plan,
    passes: order.map((index) => plan.passes[index] as Pass),
    estimate: { ...plan.estimate, passSeconds: order.map((index) => passSeconds[index] ?? 0) },
  };
}

/** @returns how many frames can be made beyond an end, fewer than `count` */
function mostBeyond(plan: Plan, end: End, count: number, limits: BodyLimits, conditions: Conditions): number {
  for (let most = 0; ; most += 1) {
    if (most + 1 >= count) return most;
    try {
      planBeyond(plan, end, most + 1, limits, conditions);
    } catch {
      return most;
    }
  }
}

const NOT_THAT_LONG: ReadonlySet<ErrorCode> = new Set(['outside-shutter-range', 'longer-than-link']);

/** Another base or another step would be another set: what planSet suggests is of no use here. */
function beyondReach(
  { code, message, details }: EvenrungError,
  end: End,
  most: number,
  { mode }: Plan,
): EvenrungError {
  const { suggestions: _, ...told } = details;
  const can =
    most === 0
      ? `No ${end} frame can be added to this set`
      : `At most ${most} ${end} can be added to this set`;
  const instead =
    mode === 'manual' && NOT_THAT_LONG.has(code)
      ? end === 'darker'
        ? '. To reach farther, shoot a new set at a lower ISO, with a smaller aperture or a neutral-density filter.'
        : '. To reach farther, shoot a new set at a higher ISO or with a wider aperture.'
      : code === 'outside-compensation-range'
        ? '. To reach farther, shoot a new set in manual mode.'
        : '.';
  return new EvenrungError(code, `${message} ${can}${instead}`, { ...told, field: end, most });
}

function joined(plan: Plan, added: Plan): Plan {
  const bytes =
    plan.estimate.bytes === null || added.estimate.bytes === null
      ? null
      : plan.estimate.bytes + added.estimate.bytes;
  const known = new Set(plan.warnings.map(({ code }) => code));
  return {
    ...plan,
    offsets: [...plan.offsets, ...added.offsets].sort((a, b) => a - b),
    passes: [...plan.passes, ...added.passes],
    estimate: {
      seconds: plan.estimate.seconds + added.estimate.seconds,
      spreadSeconds: null,
      passSeconds: [...plan.estimate.passSeconds, ...added.estimate.passSeconds],
      actuations: plan.estimate.actuations + added.estimate.actuations,
      bytes,
      longestGapSeconds: Math.max(plan.estimate.longestGapSeconds, added.estimate.longestGapSeconds),
    },
    warnings: [...plan.warnings, ...added.warnings.filter(({ code }) => !known.has(code))],
    provenLeast: plan.provenLeast && added.provenLeast,
    gapSeconds: Math.max(plan.gapSeconds, added.gapSeconds),
  };
}

/**
 * @param plan with `passes` and `offsets`, in sixths or as it crosses the wire
 * @param offsets frames at its ends that are no longer wanted
 * @returns the plan without them. A pass none of whose frames are wanted is removed only if no other pass
 *   comes after it, so that each pass keeps its number
 */
export function withoutFrames<
  Frame extends { readonly offset: number; readonly wanted: boolean },
  OfPass extends { readonly frames: readonly Frame[] },
  Planned extends {
    readonly offsets: readonly number[];
    readonly passes: readonly OfPass[];
    readonly estimate: { readonly passSeconds: readonly number[] };
  },
>(plan: Planned, offsets: ReadonlySet<number>): Planned {
  const passes = plan.passes.map((pass) =>
    pass.frames.some(({ offset, wanted }) => wanted && offsets.has(offset))
      ? {
          ...pass,
          frames: pass.frames.map((frame) =>
            offsets.has(frame.offset) ? { ...frame, wanted: false } : frame,
          ),
        }
      : pass,
  );
  while (passes.length > 1 && !passes.at(-1)?.frames.some(({ wanted }) => wanted)) passes.pop();
  return {
    ...plan,
    passes,
    offsets: plan.offsets.filter((offset) => !offsets.has(offset)),
    estimate: { ...plan.estimate, passSeconds: plan.estimate.passSeconds.slice(0, passes.length) },
  };
}
