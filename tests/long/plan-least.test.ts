// The planner against an independent solver: equal cost and equal passes on seeded random instances. The whole range runs in
// `npm run soak -- plan`.
import { describe, expect, it } from 'vitest';
import { compare, type Tally } from '../plan-compare.js';
import { KIND_NAMES } from '../plan-reference.js';

const INSTANCES = 300;

describe('the least plan, against HiGHS (npm package highs)', () => {
  it(`${INSTANCES} instances over ${KIND_NAMES.length} kinds of body`, { timeout: 120_000 }, async () => {
    const tally: Tally = new Map();
    const wrong: string[] = [];
    for (let seed = 1; seed <= INSTANCES; seed += 1) wrong.push(...(await compare(seed, tally)));
    expect(wrong).toEqual([]);
    // Every kind is met, and most of its requests can be: a test on refusals alone would prove little.
    for (const kind of KIND_NAMES) expect(tally.get(kind)?.planned ?? 0).toBeGreaterThan(10);
  });
});
