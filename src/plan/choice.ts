// Which of the passes that could be fired make up the least plan, under the cost model of cost.ts. Several
// choices may be equally good there; then plan.ts decides, by walking along each of them in time.
//
// Least time over a link that releases and fetches at once is one sum, and one cover (cover/). Everything
// else is more than a sum:
//
// Least time over a link that takes release and fetch apart is, with either way of firing, the longer of two
// sums, the shutter's and the cable's. Whatever the weights, no choice takes less than the least weighted
// mean of both. So each sum alone is minimised first. If the choice that is least in one sum is longer in the
// other, the two choices found so far give the next weights: those at which both weigh the same, as closely
// as whole numbers up to HEAVIEST allow. That is repeated until nothing new is found. The rest between the
// best choice and the bound is reported as a gap. The least spread is the shutter's sum alone.
//
// Each shape has to be set. Each shape by itself is tried. For choices with several shapes, a cover that
// ignores the setting of shapes is a bound, plus the changes that two of them take. As long as a bound lies
// below the best choice, one of its cover's shapes is left out, or made certain, in turn (branch and bound).
import type { ReleaseWay } from '../../shared/request.js';
import type { BodyLimits, BracketShape, Sixths } from '../exposure/index.js';
import type { PossiblePass } from './candidates.js';
import { type Cost, type CostsApart, costAtOnce, costsApart, milliseconds } from './cost.js';
import { leastCover, MOST_COST } from './cover/index.js';
import type { PlanRequest } from './types.js';

export interface Choice {
  /** Choices of the same, least cost: the preferred first. */
  readonly choices: readonly Chosen[];
  /** False if a better choice may exist; it could save at most `gapMilliseconds`. */
  readonly isProven: boolean;
  readonly gapMilliseconds: number;
}

export interface ChoiceAsked {
  readonly request: PlanRequest;
  /** With the brackets of one way alone. */
  readonly limits: BodyLimits;
  readonly possible: Chosen;
  /** The shutter's present setting, if a pass that is centred there may come first or last. */
  readonly standingTv: Sixths | undefined;
}

type Chosen = readonly PossiblePass[];

/** @returns undefined if some wanted offset cannot be made */
export function choose(asked: ChoiceAsked, release: ReleaseWay): Choice | undefined {
  const { request, limits, standingTv } = asked;
  const { apart } = limits;
  const isSpread = request.least === 'spread';
  if (apart === undefined)
    return isSpread
      ? withShapes(asked, bySum(asked, costAtOnce(request, limits)), BETWEEN_EXPOSURES)
      : leastSum(asked);
  const costs = costsApart(release, request, limits, apart, isSpread ? undefined : standingTv);
  return isSpread
    ? withShapes(asked, bySum(asked, costs.shutter), BETWEEN_EXPOSURES)
    : withShapes(asked, byLongerSum(asked, costs), IN_ALL);
}

function leastSum(asked: ChoiceAsked): Choice | undefined {
  const { request, limits, possible, standingTv } = asked;
  const solve = bySum(asked, costAtOnce(request, limits, standingTv));
  const solved = solve(possible);
  const [cover] = solved?.covers ?? [];
  if (solved === undefined || cover === undefined) return undefined;
  const equals = (standingTv === undefined ? [] : oneShapeOnly(asked))
    .flatMap((only) => solve(only)?.covers ?? [])
    .filter((other) => other.takes === cover.takes);
  return {
    choices: [cover, ...equals].map(({ chosen }) => chosen),
    isProven: solved.isProven,
    gapMilliseconds: solved.isProven ? 0 : cover.takes - solved.bound,
  };
}

/**
 * This cost model does not see that a bracket of another shape has to be set. Among plans of the same cost, one that gets by with one
 * shape and single frames may take less: here is what there is to choose from for each shape that has the step asked for.
 */
function oneShapeOnly({ possible, request: { step } }: ChoiceAsked): PossiblePass[][] {
  const shapes = new Set(possible.flatMap(({ shape }) => (shape?.step === step ? [shape] : [])));
  return [...shapes].map((only) => possible.filter(({ shape }) => shape === null || shape === only));
}

/** Covers of all that is wanted, and what none can go below, in milliseconds. */
interface Solved {
  readonly covers: readonly Found[];
  readonly bound: number;
  /** Whether the least cost is known, and the first cover is the preferred one of that cost. */
  readonly isProven: boolean;
}

interface Found {
  readonly chosen: Chosen;
  /** Milliseconds, without what setting the shapes takes. */
  readonly takes: number;
}

/** @returns undefined if the allowed passes do not make every wanted offset */
type Solve = (allowed: Chosen) => Solved | undefined;

const bySum =
  ({ request }: Pick<ChoiceAsked, 'request'>, cost: Cost): Solve =>
  (allowed) => {
    const candidates = allowed.map((pass) => ({ makes: pass.makes, cost: cost(pass) }));
    const cover = leastCover(request.offsets.length, candidates);
    if (cover === undefined) return undefined;
    const chosen = cover.chosen.flatMap((index) => allowed[index] ?? []);
    return { covers: [{ chosen, takes: cover.cost }], bound: cover.bound, isProven: cover.proven };
  };

/** The heaviest weight that one of the sums may have. */
const HEAVIEST = 32;

function byLongerSum(asked: ChoiceAsked, { shutter, cable, afterShutter, beforeCable }: CostsApart): Solve {
  const dearest = Math.max(...asked.possible.map((pass) => shutter(pass) + cable(pass)));
  const heaviest = Math.max(1, Math.min(HEAVIEST, Math.floor(MOST_COST / dearest)));
  return (allowed) => {
    const covers: (Found & Sums)[] = [];
    let bound = 0;
    const weighed = (byShutter: number, byCable: number): Sums | undefined => {
      const cost: Cost = (pass) => byShutter * shutter(pass) + byCable * cable(pass);
      const solved = bySum(asked, cost)(allowed);
      const chosen = solved?.covers[0]?.chosen;
      if (solved === undefined || chosen === undefined) return undefined;
      const mean = solved.bound + byShutter * afterShutter + byCable * beforeCable;
      bound = Math.max(bound, Math.ceil(mean / (byShutter + byCable)));
      const sum = (of: Cost) => chosen.reduce((total, pass) => total + of(pass), 0);
      const sums = { shutter: sum(shutter) + afterShutter, cable: sum(cable) + beforeCable };
      covers.push({ ...sums, chosen, takes: Math.max(sums.shutter, sums.cable) });
      return sums;
    };
    let [one, other] = [weighed(1, 0), weighed(0, 1)];
    if (one === undefined || other === undefined) return undefined;
    while (one.shutter < one.cable && other.cable < other.shutter) {
      const ratio = [one.cable - other.cable, other.shutter - one.shutter] as const;
      const next = weighed(...inWholeNumbers(...ratio, heaviest));
      if (next === undefined || isSame(next, one) || isSame(next, other)) break;
      if (next.shutter <= next.cable) one = next;
      else other = next;
    }
    covers.sort((a, b) => a.takes - b.takes);
    return { covers, bound, isProven: covers[0]?.takes === bound };
  };
}

/** How long a choice takes by each of the two sums, in milliseconds. */
interface Sums {
  readonly shutter: number;
  readonly cable: number;
}

const isSame = (one: Sums, other: Sums): boolean =>
  one.shutter === other.shutter && one.cable === other.cable;

/** @returns two whole numbers of nearly that ratio, from 1 to the heaviest */
function inWholeNumbers(one: number, other: number, heaviest: number): [number, number] {
  const scale = heaviest / Math.max(one, other);
  return [Math.max(1, Math.round(one * scale)), Math.max(1, Math.round(other * scale))];
}

/** A shape, or null for the bracket off. */
type Shape = BracketShape | null;

/** Which changes the setting of shapes takes. */
interface Changes {
  /** Whether a shape counts; a shape that does not may be used for nothing. */
  readonly counts: (shape: Shape) => boolean;
  /** @param shapes how many of those that count are fired */
  readonly of: (shapes: number) => number;
}

/** Between the first opening and the last closing: every shape after the first one, the bracket off as well. */
const BETWEEN_EXPOSURES: Changes = { counts: () => true, of: (shapes) => Math.max(0, shapes - 1) };

/** In all: every bracket after the first one. On and off once is taken to be paid anyway, so that no frame is singled out for it. */
const IN_ALL: Changes = {
  counts: (shape) => shape !== null,
  of: (shapes) => Math.max(0, shapes - 1),
};

/** Part of what there is to choose from. */
interface Part {
  readonly allowed: Chosen;
  readonly solved: Solved;
  /** Shapes that every choice of this part uses, perhaps together with others. */
  readonly certain: ReadonlySet<Shape>;
  /** Of every choice of this part that has several shapes. */
  readonly bound: number;
}

const MOST_PARTS = 24;

function withShapes({ possible, limits }: ChoiceAsked, solve: Solve, changes: Changes): Choice | undefined {
  const change = milliseconds(limits.secondsPerChange);
  const counted = (passes: Chosen) => [...new Set(passes.map(({ shape }) => shape))].filter(changes.counts);
  const takes = ({ chosen, takes: sum }: Found) => sum + change * changes.of(counted(chosen).length);
  const part = (allowed: Chosen, certain: Part['certain']): Part[] => {
    const solved = solve(allowed);
    return solved === undefined ? [] : [partOf(allowed, solved, certain)];
  };
  const partOf = (allowed: Chosen, solved: Solved, certain: Part['certain']): Part => {
    const bound = solved.bound + change * changes.of(Math.max(2, certain.size));
    return { allowed, solved, certain, bound };
  };
  let open = part(possible, new Set());
  const forNothing = possible.filter(({ shape }) => !changes.counts(shape));
  const fewShapes = [
    { allowed: forNothing, shapes: 0 },
    ...counted(possible).map((only) => ({
      allowed: possible.filter(({ shape }) => shape === only || !changes.counts(shape)),
      shapes: 1,
    })),
  ].flatMap(({ allowed, shapes }) => {
    const solved = solve(allowed);
    return solved === undefined ? [] : [{ solved, bound: solved.bound + change * changes.of(shapes) }];
  });
  const found = [...open, ...fewShapes].flatMap(({ solved }) => solved.covers);
  if (found.length === 0) return undefined;
  let least = Math.min(...found.map(takes));
  let bound = Math.min(least, ...fewShapes.map((one) => one.bound));
  for (let left = MOST_PARTS; left > 0; left -= 1) {
    open = open.filter((one) => one.bound < least).sort((a, b) => b.bound - a.bound);
    const next = open.pop();
    if (next === undefined) break;
    const { allowed, solved, certain } = next;
    const doubtful = counted(solved.covers[0]?.chosen ?? []).find((shape) => !certain.has(shape));
    if (doubtful === undefined) {
      // All shapes of the choice are certain, and its bound is below its cost: the solved cover has a gap.
      bound = Math.min(bound, next.bound);
      continue;
    }
    const without = part(
      allowed.filter(({ shape }) => shape !== doubtful),
      certain,
    );
    open.push(partOf(allowed, solved, new Set([...certain, doubtful])), ...without);
    found.push(...without.flatMap((one) => one.solved.covers));
    least = Math.min(least, ...without.flatMap((one) => one.solved.covers.map(takes)));
  }
  bound = Math.min(bound, least, ...open.map((one) => one.bound));
  return {
    choices: found.filter((one) => takes(one) === least).map(({ chosen }) => chosen),
    isProven: bound === least,
    gapMilliseconds: least - bound,
  };
}
