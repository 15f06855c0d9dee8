// Which of the passes that could be fired make up the least plan, under the cost model of cost.ts. Several choices may be equally
// good there: whoever walks along them in time decides (plan.ts).
//
// Least time, frame by frame, is one sum, and one cover (cover/). The two others are more than a sum:
//
// Least time in one release is the larger of two sums, A and B. No choice takes less than the least A, nor less than the least B, nor
// less than half of the least A + B. The covers that are least in these three are tried, and the best of them is nearly always as
// good as one of the bounds: then it is the least. Else the gap is told.
//
// Least spread pays a change for every shape after the first. The cover that knows nothing of that is a bound: with one shape alone it
// is the least; with two, only a cover by one single shape can be better, and those are all tried. With three and more, covers by
// two of them are tried as well, and no choice of several shapes can be better than the bound with one change.
import type { BodyLimits, BracketShape, Sixths } from '../exposure/index.js';
import type { PossiblePass } from './candidates.js';
import { type Cost, costModel, milliseconds, oneReleaseCosts } from './cost.js';
import { type Cover, leastCover } from './cover/index.js';
import type { PlanRequest } from './types.js';

export interface Choice {
  /** Choices of the same, least cost: the preferred first. */
  readonly choices: readonly (readonly PossiblePass[])[];
  /** False where a better one may exist, which could save `gapMilliseconds` at most. */
  readonly isProven: boolean;
  readonly gapMilliseconds: number;
}

/** @param standingTv the setting that the shutter stands on, where a pass that is centred there may come first or last */
export interface ChoiceAsked {
  readonly request: PlanRequest;
  /** With the brackets of one way alone. */
  readonly limits: BodyLimits;
  readonly possible: readonly PossiblePass[];
  readonly standingTv: Sixths | undefined;
}

type Chosen = readonly PossiblePass[];

/** @returns undefined where some wanted offset cannot be made */
export function choose(asked: ChoiceAsked, release: 'frame' | 'pass'): Choice | undefined {
  const { request, limits } = asked;
  const { apart } = limits;
  if (request.least === 'spread') {
    const cost =
      release === 'pass' && apart !== undefined
        ? oneReleaseCosts(request, limits, apart).shutter
        : costModel(request, limits);
    return leastSpread(asked, cost);
  }
  return release === 'pass' && apart !== undefined ? leastInOneRelease(asked, apart) : leastSum(asked);
}

/** A cover, as the passes that it is made of. */
interface Covered extends Pick<Cover, 'cost' | 'bound' | 'proven'> {
  readonly chosen: Chosen;
}

function coverOf({ request }: ChoiceAsked, possible: Chosen, cost: Cost): Covered | undefined {
  const cover = leastCover(
    request.offsets.length,
    possible.map((pass) => ({ makes: pass.makes, cost: cost(pass) })),
  );
  if (cover === undefined) return undefined;
  return { ...cover, chosen: cover.chosen.flatMap((index) => possible[index] ?? []) };
}

function leastSum(asked: ChoiceAsked): Choice | undefined {
  const { request, limits, possible, standingTv } = asked;
  const cost = costModel(request, limits, standingTv);
  const cover = coverOf(asked, possible, cost);
  if (cover === undefined) return undefined;
  const equals = (standingTv === undefined ? [] : oneShapeOnly(asked))
    .map((only) => coverOf(asked, only, cost))
    .filter((other) => other !== undefined && other.cost === cover.cost)
    .map((other) => other?.chosen ?? []);
  return {
    choices: [cover.chosen, ...equals],
    isProven: cover.proven,
    gapMilliseconds: cover.proven ? 0 : cover.cost - cover.bound,
  };
}

/**
 * The cost model of time does not see that a bracket of another shape has to be set. Among plans of the same cost, one that gets by
 * with one shape and single frames may take less: here is what there is to choose from for each shape that has the step asked for.
 */
function oneShapeOnly({ possible, request: { step } }: ChoiceAsked): PossiblePass[][] {
  const shapes = new Set(possible.flatMap(({ shape }) => (shape?.step === step ? [shape] : [])));
  return [...shapes].map((only) => possible.filter(({ shape }) => shape === null || shape === only));
}

function leastInOneRelease(asked: ChoiceAsked, apart: NonNullable<BodyLimits['apart']>): Choice | undefined {
  const { request, limits, possible, standingTv } = asked;
  const { shutter, cable, afterShutter, beforeCable } = oneReleaseCosts(request, limits, apart, standingTv);
  const byShutter = coverOf(asked, possible, shutter);
  const byCable = coverOf(asked, possible, cable);
  const byBoth = coverOf(asked, possible, (pass) => shutter(pass) + cable(pass));
  if (byShutter === undefined || byCable === undefined || byBoth === undefined) return undefined;
  const bound = Math.max(
    byShutter.bound + afterShutter,
    byCable.bound + beforeCable,
    Math.ceil((byBoth.bound + afterShutter + beforeCable) / 2),
  );
  const sum = (chosen: Chosen, cost: Cost) => chosen.reduce((total, pass) => total + cost(pass), 0);
  const takes = ({ chosen }: Covered) =>
    Math.max(sum(chosen, shutter) + afterShutter, sum(chosen, cable) + beforeCable);
  return leastOf([byShutter, byCable, byBoth], takes, bound);
}

function leastSpread(asked: ChoiceAsked, cost: Cost): Choice | undefined {
  const { possible, limits } = asked;
  const all = coverOf(asked, possible, cost);
  if (all === undefined) return undefined;
  const another = milliseconds(limits.secondsPerChange);
  const takes = ({ chosen, cost: sum }: Covered) => sum + (shapesOf(chosen).length - 1) * another;
  const used = shapesOf(all.chosen);
  if (used.length < 2) return leastOf([all], takes, all.bound);
  const by = (...shapes: (BracketShape | null)[]) =>
    coverOf(
      asked,
      possible.filter(({ shape }) => shapes.includes(shape)),
      cost,
    ) ?? [];
  const alone = shapesOf(possible).flatMap((shape) => by(shape));
  const inPairs = used.length < 3 ? [] : pairsOf(used).flatMap(([one, other]) => by(one, other));
  const bound = Math.min(all.bound + another, ...alone.map((cover) => cover.bound));
  return leastOf([all, ...alone, ...inPairs], takes, bound);
}

const shapesOf = (passes: Chosen): (BracketShape | null)[] => [...new Set(passes.map(({ shape }) => shape))];

const pairsOf = <T>(items: readonly T[]): [T, T][] =>
  items.flatMap((one, index) => items.slice(index + 1).map((other): [T, T] => [one, other]));

/** @param bound nothing takes less */
function leastOf(covers: readonly Covered[], takes: (cover: Covered) => number, bound: number): Choice {
  const least = Math.min(...covers.map(takes));
  return {
    choices: covers.filter((cover) => takes(cover) === least).map(({ chosen }) => chosen),
    isProven: least <= bound,
    gapMilliseconds: Math.max(0, least - bound),
  };
}
