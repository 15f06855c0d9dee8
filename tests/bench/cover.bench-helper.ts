// Seeded instances of the covering problem as bodies pose it, for the unit test and for measuring.
import type { Candidate } from '../../src/plan/cover/index.js';

/** EV in sixths, like everywhere. */
export interface BodyKind {
  readonly name: string;
  readonly wantedSteps: readonly number[];
  readonly shapes: readonly Shape[];
  /** Centres at most this far from the middle of the wanted span. */
  readonly centreRange?: number;
  /** Frames at most this far beyond the wanted span, drawn anew for each instance. */
  readonly slack: readonly [least: number, most: number];
  /** Share of rows that have no single frame. */
  readonly withoutSingles?: number;
}

interface Shape {
  readonly step: number;
  readonly below: number;
  readonly above: number;
}

export interface Instance {
  readonly name: string;
  readonly rows: number;
  readonly candidates: readonly Candidate[];
}

const THIRDS = [2, 4, 6, 8, 10, 12, 14, 16, 18];
const symmetric = (count: number, steps: readonly number[]): Shape[] =>
  steps.map((step) => ({ step, below: (count - 1) / 2, above: (count - 1) / 2 }));

export const BODY_KINDS: readonly BodyKind[] = [
  { name: 'no bracket', wantedSteps: [2, 3, 4, 6], shapes: [], slack: [0, 6] },
  { name: '3 at any third step', wantedSteps: [2, 4, 6], shapes: symmetric(3, THIRDS), slack: [0, 40] },
  {
    name: '3 and 5 in whole stops',
    wantedSteps: [2, 3, 4],
    shapes: [...symmetric(3, [6, 12, 18]), ...symmetric(5, [6, 12])],
    slack: [0, 40],
  },
  {
    name: '3 and 5 at 1 EV, wanted closer',
    wantedSteps: [2, 3, 4],
    shapes: [...symmetric(3, [6]), ...symmetric(5, [6])],
    slack: [0, 20],
  },
  {
    name: '3, 5, 7, 9 in pairs of thirds and wholes, nine up to 1 EV',
    wantedSteps: [2, 4, 6],
    shapes: [
      ...symmetric(3, [2, 4, 6, 12, 18]),
      ...symmetric(5, [2, 4, 6, 12, 18]),
      ...symmetric(7, [2, 4, 6, 12]),
      ...symmetric(9, [2, 4, 6]),
    ],
    slack: [0, 40],
  },
  {
    name: '3, 5, 7, 9 at any third step',
    wantedSteps: [2, 4],
    shapes: [
      ...symmetric(3, THIRDS),
      ...symmetric(5, THIRDS),
      ...symmetric(7, THIRDS),
      ...symmetric(9, [2, 4, 6]),
    ],
    slack: [0, 60],
  },
  {
    name: '2, 3 one-sided, 3 and 5',
    wantedSteps: [2, 3, 4, 6],
    shapes: [
      ...[2, 3, 4, 6, 12].flatMap((step) => [
        { step, below: 0, above: 1 },
        { step, below: 1, above: 0 },
        { step, below: 0, above: 2 },
      ]),
      ...symmetric(3, [2, 3, 4, 6, 12]),
      ...symmetric(5, [6]),
    ],
    slack: [0, 20],
  },
  {
    name: 'compensation-limited',
    wantedSteps: [2, 3, 4, 6],
    shapes: [
      ...symmetric(3, [2, 3, 4, 6, 12, 18]),
      ...symmetric(5, [2, 3, 4, 6]),
      ...symmetric(7, [2, 3, 4, 6]),
    ],
    centreRange: 18,
    slack: [0, 30],
  },
  {
    name: 'shutter-limited',
    wantedSteps: [2, 3, 4, 6],
    shapes: [...symmetric(3, [4, 6, 9, 12]), ...symmetric(5, [4, 6, 9]), ...symmetric(9, [2, 3])],
    slack: [0, 4],
  },
  {
    name: 'singles missing',
    wantedSteps: [2, 3, 4],
    shapes: [...symmetric(3, [2, 3, 4, 6]), ...symmetric(5, [2, 3, 6]), ...symmetric(7, [2, 6])],
    slack: [6, 30],
    withoutSingles: 0.3,
  },
];

/** @returns numbers from 0 up to 1, the same for the same seed (a 32-bit mix) */
export function seeded(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

const between = (random: () => number, least: number, most: number): number =>
  least + Math.floor(random() * (most - least + 1));

/** @param rows how many are wanted; fewer come where the body's centres would not reach them */
export function makeInstance(kind: BodyKind, seed: number, wantedRows: number): Instance {
  const random = seeded(seed);
  const step = kind.wantedSteps[between(random, 0, kind.wantedSteps.length - 1)] ?? 6;
  const grid = step % 2 === 0 ? 2 : 3;
  const reach = kind.centreRange;
  const longestReach = Math.max(0, ...kind.shapes.map(({ step, above }) => step * above));
  const rows =
    reach === undefined
      ? wantedRows
      : Math.min(wantedRows, 1 + Math.floor((2 * (reach + longestReach)) / step));
  const last = (rows - 1) * step;
  const middle = Math.floor(last / 2 / step) * step;
  const slack = between(random, ...kind.slack);
  const slackAbove = between(random, ...kind.slack);
  const fixed = between(random, 300, 1200);
  const overhead = between(random, 200, 2000);
  const longest = 2 ** (random() * 10 + 5);
  const roundsFrames = process.env['ROUNDF'] === '1';
  const exposure = (offset: number) => {
    const exact = Math.min(32_000, longest * 2 ** ((offset - last) / 6));
    return roundsFrames ? Math.round(exact) : exact;
  };
  const candidates: Candidate[] = [];
  const singles: Shape = { step: 0, below: 0, above: 0 };
  for (const shape of [...kind.shapes, singles]) {
    for (
      let centre = -slack + (((slack % grid) + grid) % grid);
      centre <= last + slackAbove;
      centre += grid
    ) {
      if (reach !== undefined && Math.abs(centre - middle) > reach) continue;
      if (centre - shape.below * shape.step < -slack || centre + shape.above * shape.step > last + slackAbove)
        continue;
      const offsets = Array.from(
        { length: shape.below + shape.above + 1 },
        (_, k) => centre + (k - shape.below) * shape.step,
      );
      const makes = offsets.filter((o) => o >= 0 && o <= last && o % step === 0).map((o) => o / step);
      if (makes.length === 0) continue;
      if (offsets.length === 1 && random() < (kind.withoutSingles ?? 0)) continue;
      const cost = offsets.reduce((sum, o) => sum + overhead + exposure(o), fixed);
      candidates.push({ makes, cost: Math.max(1, Math.round(cost)) });
    }
  }
  const order = between(random, 0, 2);
  if (order === 1) candidates.sort((a, b) => b.makes.length - a.makes.length);
  if (order === 2) shuffle(candidates, random);
  return {
    name: `${kind.name}, seed ${seed}: ${rows} rows ${step}/6 EV apart, ${candidates.length} candidates`,
    rows,
    candidates,
  };
}

function shuffle<T>(items: T[], random: () => number): void {
  for (let k = items.length - 1; k > 0; k -= 1) {
    const other = between(random, 0, k);
    const kept = items[k] as T;
    items[k] = items[other] as T;
    items[other] = kept;
  }
}
