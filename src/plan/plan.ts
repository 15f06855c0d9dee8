// From what is wanted and what the body can do to firing passes. Pure: knows no body, no clock, no file.
//
// The plan is the least in time under the cost model of cost.ts, then the one with the fewest passes: every pass that could
// be fired is listed (candidates.ts), and the cheapest choice that makes every wanted offset is found exactly (cover/).
// Among equals the list's order decides, from the darkest offset up: brackets before single frames, then what spans least, so
// that neighbouring exposures lie close in time, then the darker centre. Passes are fired from the darkest to the lightest,
// which moves the centre least.
import { EvenrungError } from '../../shared/errors.js';
import { shortened } from '../../shared/plain-words.js';
import {
  type BodyLimits,
  fromEv,
  nearestSetting,
  parseShutter,
  SHUTTER_SCALES,
  type ShutterSetting,
  timeAt,
} from '../exposure/index.js';
import { type PossiblePass, possiblePasses } from './candidates.js';
import { costModel } from './cost.js';
import { leastCover } from './cover/index.js';
import { estimate } from './estimate.js';
import { baseNotOffered, cannotBeMade } from './impossible.js';
import type { Conditions, Estimate, Pass, Plan, PlanRequest } from './types.js';
import { warningsFor } from './warnings.js';

/**
 * @returns the least plan
 * @throws EvenrungError outside-shutter-range, longer-than-link, step-not-offered, not-settable,
 *   outside-compensation-range: the sentence and the details say which frames cannot be made, why, and what would help
 */
export function planSet(request: PlanRequest, limits: BodyLimits, conditions: Conditions = {}): Plan {
  const possible = possiblePasses(request, limits);
  const isFree = mayReorder(limits, conditions);
  const cost = costModel(request, limits, isFree ? conditions.standingTv : undefined);
  const priced = possible.map((pass) => ({ pass, makes: pass.makes, cost: cost(pass) }));
  const rows = request.offsets.length;
  const cover = leastCover(rows, priced);
  if (cover === undefined) throw cannotBeMade(request, limits, conditions);
  const inOrder = (chosen: readonly number[], of: typeof priced): Walked => {
    const ascending = assign(darkestFirst(chosen.flatMap((index) => of[index]?.pass ?? [])));
    const passes = isFree ? withFewestChanges(ascending, conditions) : ascending;
    return {
      passes,
      taken: estimate(passes, limits, { ...conditions, settleSeconds: request.settleSeconds }),
    };
  };
  const equals = isFree && conditions.standingTv !== undefined ? oneShapeOnly(priced, request) : [];
  const { passes, taken } = equals
    .map((of) => ({ of, other: leastCover(rows, of) }))
    .filter(({ other }) => other?.cost === cover.cost)
    .map(({ of, other }) => inOrder(other?.chosen ?? [], of))
    .reduce(
      (best, walked) => (walked.taken.seconds < best.taken.seconds ? walked : best),
      inOrder(cover.chosen, priced),
    );
  return {
    ...request,
    passes,
    estimate: taken,
    warnings: warningsFor(request, passes, limits, taken, conditions),
    provenLeast: cover.proven,
    gapSeconds: cover.proven ? 0 : (cover.cost - cover.bound) / 1000,
  };
}

/** Passes in firing order, and what the walk along them takes. */
interface Walked {
  readonly passes: readonly Pass[];
  readonly taken: Estimate;
}

/**
 * The cost model does not see that a bracket of another shape has to be set. Among plans of the same cost, one that gets by with
 * one shape and single frames may take less: here is what there is to choose from for each shape that has the step asked for.
 */
function oneShapeOnly<T extends { readonly pass: PossiblePass }>(
  priced: readonly T[],
  { step }: PlanRequest,
): T[][] {
  const shapes = new Set(priced.flatMap(({ pass: { shape } }) => (shape?.step === step ? [shape] : [])));
  return [...shapes].map((only) => priced.filter(({ pass: { shape } }) => shape === null || shape === only));
}

/** From dark to light by the darkest wanted offset that a pass makes. */
function darkestFirst(passes: readonly PossiblePass[]): PossiblePass[] {
  return [...passes].sort((a, b) => a.centre - b.centre || (a.makes[0] ?? 0) - (b.makes[0] ?? 0));
}

/**
 * Where the light moves, neighbours are better fired one after another; where every frame is single, there is nothing to
 * win.
 */
const mayReorder = ({ brackets }: BodyLimits, { lightEvPerMinute }: Conditions): boolean =>
  brackets.length > 0 && (lightEvPerMinute ?? 0) === 0;

/**
 * Each shape is fired in one go, so that it is set once, and single frames last, so that the bracket goes off once. A pass that
 * is centred where the body stands already comes first, or last where it is a single frame: no change before it, or none after
 * it. A set of brackets then takes two changes more than it has passes, with the way back.
 */
function withFewestChanges(passes: readonly Pass[], { standingTv }: Conditions): Pass[] {
  const stands = ({ centreShutter }: Pass) => centreShutter.tv === standingTv;
  const groups = new Map<string, Pass[]>();
  for (const pass of passes) {
    const key = pass.shape === null ? '' : `${pass.shape.step}: ${pass.shape.pattern.join()}`;
    groups.set(key, [...(groups.get(key) ?? []), pass]);
  }
  const singles = groups.get('') ?? [];
  groups.delete('');
  const last = passes.at(-1);
  const endsThere = groups.size === 1 && singles.length === 0 && last !== undefined && stands(last);
  if (groups.size === 0 || endsThere) return [...passes];
  const brackets = [...groups.values()].sort((a, b) => Number(b.some(stands)) - Number(a.some(stands)));
  const [first = [], ...others] = brackets;
  const start = first.filter(stands).slice(0, 1);
  const end = singles.filter(stands);
  return [
    ...start,
    ...first.filter((pass) => !start.includes(pass)),
    ...others.flat(),
    ...singles.filter((pass) => !end.includes(pass)),
    ...end,
  ];
}

/** Where two passes make the same offset, the first one counts, and the other frame only comes with its pass. */
function assign(passes: readonly PossiblePass[]): Pass[] {
  const made = new Set<number>();
  return passes.map(({ centre, centreShutter, shape, frames }) => ({
    centre,
    centreShutter,
    shape,
    frames: frames.map(({ offset, shutter, row }) => {
      const wanted = row !== null && !made.has(row);
      if (wanted) made.add(row);
      return { offset, shutter, wanted };
    }),
  }));
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
  if (mode === 'manual' && nearestSetting(seconds, limits.shutters) === undefined)
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
  const setting = nearestSetting(seconds, limits.shutters);
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
      `The base '${shortened(written)}' is not a valid shutter time: write for example 1/60, 0.5 or 30.`,
    );
  if (time.kind === 'bulb')
    throw refuse(
      'base-not-offered',
      'Bulb cannot be the base: frames are counted from a time. Give one, such as 30.',
    );
  return time.seconds;
}
