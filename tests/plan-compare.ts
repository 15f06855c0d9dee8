// Plans one seeded instance with the planner and with the reference, and reports differences.
import { EvenrungError } from '../shared/errors.js';
import { planSet } from '../src/plan/index.js';
import { costOfPlan, instance, referenceCost } from './plan-reference.js';

export interface Count {
  planned: number;
  impossible: number;
  /** Milliseconds, one entry an instance. */
  readonly ours: number[];
  readonly theirs: number[];
}

/** By kind of body. */
export type Tally = Map<string, Count>;

/** @returns what is wrong, one line each; nothing if both agree */
export async function compare(seed: number, tally: Tally): Promise<string[]> {
  const given = instance(seed);
  const count = tally.get(given.kind) ?? { planned: 0, impossible: 0, ours: [], theirs: [] };
  tally.set(given.kind, count);
  const frames = given.request.offsets.length;
  const name = `seed ${seed}, ${given.kind}, ${frames} offsets`;
  let began = performance.now();
  const made = plan(given);
  count.ours.push(performance.now() - began);
  began = performance.now();
  const reference = await referenceCost(given);
  count.theirs.push(performance.now() - began);
  if (made === null || reference === null) {
    count.impossible += 1;
    return (made === null) === (reference === null)
      ? []
      : [`${name}: possible ${made !== null}, reference ${reference !== null}`];
  }
  count.planned += 1;
  const ours = costOfPlan(made, given);
  const wrong: string[] = [];
  if (!made.provenLeast) wrong.push(`${name}: not proven least`);
  if (ours.cost !== reference.cost || ours.passes !== reference.passes) {
    wrong.push(
      `${name}: ${ours.cost} ms in ${ours.passes} passes, reference ${reference.cost} ms in ${reference.passes}`,
    );
  }
  return wrong;
}

function plan({ request, limits }: ReturnType<typeof instance>) {
  try {
    return planSet(request, limits);
  } catch (cause) {
    if (cause instanceof EvenrungError) return null;
    throw cause;
  }
}
