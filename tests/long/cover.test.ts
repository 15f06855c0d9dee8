// The exact cover against two references that share nothing with it: trying all subsets of the candidates, and a published
// solver for integer programs (HiGHS, from npm).
import { createRequire } from 'node:module';
import type { Highs } from 'highs';
import { describe, expect, it } from 'vitest';
import { type Candidate, leastCover } from '../../src/plan/cover/index.js';
import { countedLeastCover } from '../../src/plan/cover/least-cover.js';
import {
  BODY_KINDS,
  type BodyKind,
  between,
  type Instance,
  makeInstance,
  type Rounding,
  seeded,
} from '../bench/cover.bench-helper.js';

/** Far more than any of these takes. */
const MANY_NODES = 20_000;
/** Of each kind of body; more by `EVENRUNG_COVER_INSTANCES=200`, which also prints nodes and times. */
const INSTANCES = Number(process.env.EVENRUNG_COVER_INSTANCES ?? 20);
const IS_LONG = INSTANCES > 20;

const single = (row: number, cost: number): Candidate => ({ makes: [row], cost });

const ANY_THIRD = BODY_KINDS[1] as BodyKind;

const isCovered = (rows: number, chosen: readonly Candidate[]): boolean =>
  Array.from({ length: rows }, (_, row) => chosen.some(({ makes }) => makes.includes(row))).every(Boolean);

const total = (chosen: readonly Candidate[]): number => chosen.reduce((sum, { cost }) => sum + cost, 0);

const at = (candidates: readonly Candidate[], chosen: readonly number[]): Candidate[] =>
  chosen.map((index) => candidates[index] as Candidate);

/** @returns the chosen in the order of the darkest row that each is for, the first in the list where several make it */
function walked(rows: number, candidates: readonly Candidate[], chosen: readonly number[]): number[] {
  const ascending = [...chosen].sort((a, b) => a - b);
  const order: number[] = [];
  for (let row = 0; row < rows; row += 1) {
    if (at(candidates, order).some(({ makes }) => makes.includes(row))) continue;
    order.push(ascending.find((index) => candidates[index]?.makes.includes(row)) as number);
  }
  return order;
}

/** Negative where a stands before b: less cost, then fewer, then the earlier candidate where they first differ. */
function compare(candidates: readonly Candidate[], a: readonly number[], b: readonly number[]): number {
  const byCost = total(at(candidates, a)) - total(at(candidates, b));
  if (byCost !== 0 || a.length !== b.length) return byCost || a.length - b.length;
  const place = a.findIndex((index, k) => index !== b[k]);
  return place < 0 ? 0 : (a[place] as number) - (b[place] as number);
}

/** Tries every subset of the candidates. */
function byTryingAll(rows: number, candidates: readonly Candidate[]): number[] | undefined {
  let best: number[] | undefined;
  for (let subset = 0; subset < 2 ** candidates.length; subset += 1) {
    const chosen = candidates.flatMap((_, index) => ((subset >>> index) & 1 ? [index] : []));
    if (!isCovered(rows, at(candidates, chosen))) continue;
    const order = walked(rows, candidates, chosen);
    if (best === undefined || compare(candidates, order, best) < 0) best = order;
  }
  return best;
}

/** Few distinct costs, so that ties on every level are common. */
function tightProblem(seed: number): { rows: number; candidates: Candidate[] } {
  const random = seeded(seed);
  const rows = between(random, 1, 10);
  const count = between(random, 1, 11);
  const mostCost = between(random, 1, 6);
  const candidates = Array.from({ length: count }, () => {
    const first = between(random, 0, rows - 1);
    const gap = between(random, 1, 3);
    const length = between(random, 1, 5);
    const makes = Array.from({ length }, (_, k) => first + k * gap).filter(
      (row) => row < rows && random() < 0.9,
    );
    return { makes, cost: between(random, 1, mostCost) };
  });
  return { rows, candidates };
}

describe('the least cover, against trying all subsets', () => {
  const problems = Array.from({ length: 1500 }, (_, seed) => tightProblem(seed));

  it('is the same on all three levels: cost, count, and the order of the list', () => {
    let coverable = 0;
    for (const { rows, candidates } of problems) {
      const expected = byTryingAll(rows, candidates);
      const made = leastCover(rows, candidates);
      expect(made?.chosen, JSON.stringify({ rows, candidates })).toEqual(expected);
      if (expected === undefined) continue;
      coverable += 1;
      expect(made).toMatchObject({ proven: true, cost: total(at(candidates, expected)), bound: made?.cost });
    }
    // Both answers are tried often.
    expect(coverable).toBeGreaterThan(300);
    expect(problems.length - coverable).toBeGreaterThan(300);
  });
});

// Its types describe the module as CommonJS, so it is loaded as that.
const highs = await (createRequire(import.meta.url)('highs') as () => Promise<Highs>)();

/** @returns least cost and count by the integer program, or undefined where there is no cover */
function byReference({ rows, candidates }: Instance): { cost: number; count: number } | undefined {
  const terms = (chosen: readonly number[]) => chosen.map((index) => `x${index}`).join('\n + ');
  const indexes = [...candidates.keys()];
  const needs = Array.from({ length: rows }, (_, row) =>
    indexes.filter((index) => candidates[index]?.makes.includes(row)),
  );
  if (needs.some((making) => making.length === 0)) return undefined;
  // No cover needs more than 63 candidates: cost and count are one number.
  const objective = candidates.map(({ cost }, index) => `${cost * 64 + 1} x${index}`).join('\n + ');
  const problem = `Minimize\n ${objective}\nSubject To\n ${needs.map((making) => `${terms(making)} >= 1`).join('\n ')}\nBinary\n ${indexes.map((index) => `x${index}`).join('\n ')}\nEnd`;
  const solved = highs.solve(problem, { output_flag: false, mip_rel_gap: 0, mip_abs_gap: 0.5 });
  if (solved.Status !== 'Optimal') throw new Error(`The reference ended with ${solved.Status}.`);
  const value = Math.round(solved.ObjectiveValue);
  return { cost: Math.floor(value / 64), count: value % 64 };
}

interface Effort {
  readonly rows: number;
  readonly nodes: number;
  readonly milliseconds: number;
  /** Whether the bound of the first node was the least cost. */
  readonly isBoundExact: boolean;
}

function expectAsReference(instance: Instance): Effort {
  const { rows, candidates, name } = instance;
  const started = performance.now();
  const counted = countedLeastCover(rows, candidates, MANY_NODES);
  const milliseconds = performance.now() - started;
  const expected = byReference(instance);
  if (counted === undefined || expected === undefined) {
    expect(counted, name).toEqual(expected);
    return { rows, nodes: 0, milliseconds, isBoundExact: true };
  }
  const { cover, nodes } = counted;
  const chosen = at(candidates, cover.chosen);
  expect(isCovered(rows, chosen), name).toBe(true);
  expect({ cost: total(chosen), count: chosen.length }, name).toEqual(expected);
  expect(cover, name).toMatchObject({ proven: true, cost: expected.cost, bound: expected.cost });
  expect(cover.chosen, name).toEqual(walked(rows, candidates, cover.chosen));
  const atOnce = leastCover(rows, candidates, { mostNodes: 1 });
  return { rows, nodes, milliseconds, isBoundExact: atOnce?.bound === expected.cost };
}

function instancesOf(kind: BodyKind): Instance[] {
  return Array.from({ length: INSTANCES }, (_, seed) => {
    const rows = rowsFor(seed);
    // Where costs are rounded pass by pass, many rows take both solvers long.
    const rounding: Rounding = rows <= 16 && seed % 3 === 0 ? 'passes' : 'frames';
    return makeInstance(kind, seed, rows, rounding);
  });
}

/** @returns 61 for every twentieth, 9 for every fourth; else up to 16, or up to 60 (31 by default: the reference is slow) */
function rowsFor(seed: number): number {
  const random = seeded(seed);
  if (seed % 20 === 3) return 61;
  if (seed % 4 === 1) return 9;
  return seed % 4 === 2 ? between(random, 17, IS_LONG ? 60 : 31) : between(random, 1, 16);
}

describe('the least cover, against the reference solver', () => {
  it.each(BODY_KINDS)(
    'has its cost and its count: $name',
    (kind) => {
      const efforts = instancesOf(kind).map(expectAsReference);
      expect(efforts).toHaveLength(INSTANCES);
      if (IS_LONG) print(kind, efforts);
    },
    3_600_000,
  );
});

/** For all sizes, and for the two that matter most: nine frames, and the longest set that there is. */
function print({ name }: BodyKind, efforts: readonly Effort[]): void {
  for (const size of ['all', 9, 61]) {
    const some = efforts.filter(({ rows }) => size === 'all' || rows === size);
    // A body whose centres reach only so far has no 61 rows.
    if (some.length === 0) continue;
    const exact = some.filter(({ isBoundExact }) => isBoundExact).length;
    console.log(
      [
        `${name}, ${size} rows: ${some.length} instances, ${exact} bounded exactly by the first node`,
        `nodes ${spread(some.map(({ nodes }) => nodes))}`,
        `ms ${spread(some.map(({ milliseconds }) => Math.round(milliseconds * 100) / 100))}`,
      ].join('; '),
    );
  }
}

function spread(values: readonly number[]): string {
  const ascending = [...values].sort((a, b) => a - b);
  return `${ascending[ascending.length >> 1]} at the median, ${ascending.at(-1)} at most`;
}

/** @returns the cover as the words of the objective have it, by a table over all sets of open rows */
function byTable(rows: number, candidates: readonly Candidate[]): number[] | undefined {
  const masks = candidates.map(({ makes }) => makes.reduce((mask, row) => mask | (1 << row), 0));
  const least = new Float64Array(2 ** rows);
  const rest = (open: number, index: number) => open & ~(masks[index] as number);
  const costWith = (open: number, index: number) =>
    (candidates[index]?.cost as number) * 64 + 1 + (least[rest(open, index)] as number);
  const making = (open: number) =>
    [...masks.keys()].filter((index) => (masks[index] as number) & open & -open);
  for (let open = 1; open < least.length; open += 1)
    least[open] = Math.min(...making(open).map((index) => costWith(open, index)));
  if (least.at(-1) === Number.POSITIVE_INFINITY) return undefined;
  const chosen: number[] = [];
  for (let open = least.length - 1; open !== 0; open = rest(open, chosen.at(-1) as number))
    chosen.push(making(open).find((index) => costWith(open, index) === least[open]) as number);
  return chosen;
}

/** Rows without any pattern, or in progressions that are not costed like passes: bounds are less often exact. */
function looseProblem(seed: number): { rows: number; candidates: Candidate[] } {
  const random = seeded(seed);
  const rows = between(random, 3, 12);
  const count = between(random, rows, rows * 5);
  const longest = [0, 3, 5, 9][between(random, 0, 3)] as number;
  const mostCost = [3, 8, 60, 2000][between(random, 0, 3)] as number;
  const progression = () => {
    const first = between(random, 0, rows - 1);
    const gap = between(random, 1, 4);
    const length = between(random, 1, longest);
    return Array.from({ length }, (_, k) => first + k * gap).filter((row) => row < rows);
  };
  const anyRows = () => [...Array(rows).keys()].filter(() => random() < 0.3);
  const candidates = Array.from({ length: count }, () => {
    const makes = longest === 0 ? anyRows() : progression();
    const byRow = Math.max(1, makes.length * Math.round(mostCost / 6) + between(random, 0, 2));
    return { makes, cost: random() < 0.5 ? between(random, 1, mostCost) : byRow };
  });
  return { rows, candidates };
}

describe('among covers of the least cost and count', () => {
  it.each(BODY_KINDS)('the order of the list decides: $name', (kind) => {
    for (let seed = 0; seed < 8; seed += 1) {
      const { name, rows, candidates } = makeInstance(kind, seed, 4 + seed, 'frames');
      expect(leastCover(rows, candidates)?.chosen, name).toEqual(byTable(rows, candidates));
    }
  });

  it('the order of the list decides where costs and rows are of any kind', () => {
    // The last two show a bound that forgets the ways beyond the limit.
    const seeds = [...Array.from({ length: 2000 }, (_, k) => 7000 + k), 43345, 51339];
    for (const seed of seeds) {
      const { rows, candidates } = looseProblem(seed);
      const made = leastCover(rows, candidates);
      expect(made?.chosen, `seed ${seed}`).toEqual(byTable(rows, candidates));
      if (made !== undefined) expect(made, `seed ${seed}`).toMatchObject({ proven: true, bound: made.cost });
    }
  });

  it('a list turned round has another cover, for the same cost and count', () => {
    const { rows, candidates } = makeInstance(ANY_THIRD, 1, 31, 'frames');
    const made = leastCover(rows, candidates);
    const turned = leastCover(rows, [...candidates].reverse());
    expect(turned).toMatchObject({ cost: made?.cost, proven: true });
    expect(turned?.chosen).toHaveLength(made?.chosen.length as number);
    const again = turned?.chosen.map((index) => candidates.length - 1 - index);
    expect(again).not.toEqual(made?.chosen);
  });
});

describe('the limit on the search', () => {
  const { rows, candidates } = makeInstance(ANY_THIRD, 2, 61, 'frames');
  const least = leastCover(rows, candidates);

  it('is not hit by default', () => {
    expect(least).toMatchObject({ proven: true, bound: least?.cost });
  });

  it.each([0, 1, 3])('leaves a cover and an honest bound after %i nodes', (mostNodes) => {
    const made = leastCover(rows, candidates, { mostNodes });
    const chosen = at(candidates, made?.chosen ?? []);
    expect(isCovered(rows, chosen)).toBe(true);
    expect(made).toMatchObject({ proven: false, cost: total(chosen) });
    expect(made?.bound).toBeLessThanOrEqual(least?.cost as number);
    expect(made?.cost).toBeGreaterThanOrEqual(least?.cost as number);
  });

  it('is far off even where costs are rounded pass by pass', () => {
    const noisy = makeInstance(ANY_THIRD, 8, 41, 'passes');
    const counted = countedLeastCover(noisy.rows, noisy.candidates, MANY_NODES);
    expect(counted?.cover.proven).toBe(true);
    expect(counted?.nodes).toBeLessThan(MANY_NODES / 4);
  });
});

describe('unusual requests', () => {
  it('have no cover where a row has no candidate', () => {
    expect(leastCover(2, [single(0, 5)])).toBeUndefined();
    expect(leastCover(1, [])).toBeUndefined();
    expect(leastCover(1, [{ makes: [], cost: 1 }])).toBeUndefined();
  });

  it('have an empty cover where nothing is wanted', () => {
    expect(leastCover(0, [])).toEqual({ chosen: [], cost: 0, proven: true, bound: 0 });
  });

  it('go up to 63 rows', () => {
    const rows = Array.from({ length: 63 }, (_, row) => row);
    const singles = rows.map((row) => single(row, 1 + row)).reverse();
    expect(leastCover(63, singles)).toEqual({
      chosen: [...rows].reverse(),
      cost: 2016,
      proven: true,
      bound: 2016,
    });
    expect(leastCover(63, [...singles, { makes: rows, cost: 2016 }])?.chosen).toEqual([63]);
    expect(leastCover(63, [...singles, { makes: rows, cost: 2017 }])?.chosen).toHaveLength(63);
  });

  it.each([
    ['64 rows', 64, single(0, 1)],
    ['half a row', 1.5, single(0, 1)],
    ['a row that is not wanted', 2, single(2, 1)],
    ['a row below the first', 2, single(-1, 1)],
    ['no cost', 1, single(0, 0)],
    ['a part of a millisecond', 1, single(0, 1.5)],
    ['a cost beyond exact numbers', 1, single(0, 2 ** 40)],
  ])('are refused: %s', (_, rows, candidate) => {
    expect(() => leastCover(rows, [candidate])).toThrow(RangeError);
  });
});
