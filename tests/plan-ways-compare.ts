// Chooses the passes of one seeded instance either way with the planner and with the reference, and reports
// differences.
import { firedBy, hasOneRelease } from '../src/exposure/index.js';
import { possiblePasses } from '../src/plan/candidates.js';
import { choose } from '../src/plan/choice.js';
import { leastCost, statedCost, waysInstance } from './plan-ways-reference.js';

export interface Compared {
  /** The question: `frame time` and so on. */
  readonly question: string;
  /** Whether the instance can be planned; if not, it is impossible for the reference as well. */
  readonly isPlanned: boolean;
  readonly isProven: boolean;
  /** One line each; nothing if both agree. */
  readonly wrong: readonly string[];
}

/**
 * @param mostOffsets larger instances are skipped: the solver takes long for them
 * @returns null for those, and if one release a pass is asked of a body that has no bracket for it
 */
export async function compareWays(
  seed: number,
  mostOffsets = Number.POSITIVE_INFINITY,
): Promise<Compared | null> {
  const given = waysInstance(seed);
  const { release, least, offsets } = given.request;
  if (offsets.length > mostOffsets) return null;
  if (release === 'pass' && !hasOneRelease(given.limits)) return null;
  const limits = firedBy(given.limits, release);
  const { request } = given;
  const possible = possiblePasses(request, limits);
  const choice = choose({ request, limits, possible, standingTv: undefined }, release);
  const reference = await leastCost(given);
  const question = `${release} ${least}`;
  const name = `seed ${seed}, ${given.kind}, ${offsets.length} offsets`;
  if (choice === undefined || reference === null) {
    const wrong = (choice === undefined) === (reference === null) ? [] : [`${name}: possible for one alone`];
    return { question, isPlanned: false, isProven: true, wrong };
  }
  const costs = choice.choices.map((passes) => statedCost(passes, given));
  const isWithin = (cost: number) => cost >= reference && cost - choice.gapMilliseconds <= reference;
  const wrong = costs.every(isWithin) ? [] : [`${name}: ${costs.join()} ms, reference ${reference} ms`];
  return { question, isPlanned: true, isProven: choice.isProven, wrong };
}
