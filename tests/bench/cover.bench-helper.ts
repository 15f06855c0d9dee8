// Seeded covering problems as bodies pose them, for testing and measuring the exact cover of src/plan/cover. Each has a
// span of evenly spaced offsets and every pass that a body of some kind could fire over it.
import type { Candidate } from '../../src/plan/cover/index.js';

/** A body. EV in sixths, like everywhere. */
export interface BodyKind {
  readonly name: string;
  readonly wantedSteps: readonly number[];
  readonly shapes: readonly Shape[];
  /** How far frames may lie beyond either end of the wanted span, drawn for each end. */
  readonly overhang: readonly [least: number, most: number];
  /** How far centres may lie from the middle of the wanted span. */
  readonly centreRange?: number;
  /** Share of the rows that have no single frame. */
  readonly withoutSingles?: number;
}

/** A bracket: so many frames below and above the centre. */
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

/**
 * Where milliseconds are rounded: at each frame, so that a frame costs the same in every pass; or at each pass, so that
 * two ways to fire the same frames differ by noise.
 */
export type Rounding = 'frames' | 'passes';

const THIRD_STEPS = [2, 4, 6, 8, 10, 12, 14, 16, 18];
const SINGLE: Shape = { step: 0, below: 0, above: 0 };

const symmetric = (count: number, steps: readonly number[]): Shape[] =>
  steps.map((step) => ({ step, below: (count - 1) / 2, above: (count - 1) / 2 }));

export const BODY_KINDS: readonly BodyKind[] = [
  { name: 'no bracket', wantedSteps: [2, 3, 4, 6], shapes: [], overhang: [0, 6] },
  {
    name: '3 at any third of a stop',
    wantedSteps: [2, 4, 6],
    shapes: symmetric(3, THIRD_STEPS),
    overhang: [0, 40],
  },
  {
    name: '3 and 5 in whole stops',
    wantedSteps: [2, 3, 4],
    shapes: [...symmetric(3, [6, 12, 18]), ...symmetric(5, [6, 12])],
    overhang: [0, 40],
  },
  {
    name: '3 and 5 at 1 EV only',
    wantedSteps: [2, 3, 4],
    shapes: [...symmetric(3, [6]), ...symmetric(5, [6])],
    overhang: [0, 20],
  },
  {
    name: '3, 5, 7, 9, few steps, nine up to 1 EV',
    wantedSteps: [2, 4, 6],
    shapes: [
      ...symmetric(3, [2, 4, 6, 12, 18]),
      ...symmetric(5, [2, 4, 6, 12, 18]),
      ...symmetric(7, [2, 4, 6, 12]),
      ...symmetric(9, [2, 4, 6]),
    ],
    overhang: [0, 40],
  },
  {
    name: '3, 5, 7, 9 at any third of a stop, nine up to 1 EV',
    wantedSteps: [2, 4],
    shapes: [
      ...symmetric(3, THIRD_STEPS),
      ...symmetric(5, THIRD_STEPS),
      ...symmetric(7, THIRD_STEPS),
      ...symmetric(9, [2, 4, 6]),
    ],
    overhang: [0, 60],
  },
  {
    name: '2 and 3 to one side, 3 and 5 to both',
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
    overhang: [0, 20],
  },
  {
    name: 'centres within 3 EV (compensation)',
    wantedSteps: [2, 3, 4, 6],
    shapes: [
      ...symmetric(3, [2, 3, 4, 6, 12, 18]),
      ...symmetric(5, [2, 3, 4, 6]),
      ...symmetric(7, [2, 3, 4, 6]),
    ],
    overhang: [0, 30],
    centreRange: 18,
  },
  {
    name: 'no frame far outside (shutter)',
    wantedSteps: [2, 3, 4, 6],
    shapes: [...symmetric(3, [4, 6, 9, 12]), ...symmetric(5, [4, 6, 9]), ...symmetric(9, [2, 3])],
    overhang: [0, 4],
  },
  {
    name: 'some rows without a single',
    wantedSteps: [2, 3, 4],
    shapes: [...symmetric(3, [2, 3, 4, 6]), ...symmetric(5, [2, 3, 6]), ...symmetric(7, [2, 6])],
    overhang: [6, 30],
    withoutSingles: 0.3,
  },
];

/** @returns numbers from 0 up to 1, the same for the same seed (a counter whose bits are mixed) */
export function seeded(seed: number): () => number {
  let counter = seed >>> 0;
  return () => {
    counter = (counter + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(counter ^ (counter >>> 15), 1 | counter);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

/** @returns a whole number, both ends possible */
export const between = (random: () => number, least: number, most: number): number =>
  least + Math.floor(random() * (most - least + 1));

/** @param wantedRows fewer come where a body's centres would not reach so many */
export function makeInstance(kind: BodyKind, seed: number, wantedRows: number, rounding: Rounding): Instance {
  const random = seeded(seed);
  const step = kind.wantedSteps[between(random, 0, kind.wantedSteps.length - 1)] as number;
  const rows = Math.min(wantedRows, mostRows(kind, step));
  const last = (rows - 1) * step;
  const costOf = costs(random, last, rounding);
  const passes = passesOver(kind, last, step, random).filter(
    (frames) => frames.length > 1 || random() >= (kind.withoutSingles ?? 0),
  );
  const candidates = passes
    .map((frames) => ({ makes: rowsAmong(frames, last, step), cost: costOf(frames) }))
    .filter(({ makes }) => makes.length > 0);
  const order = between(random, 0, 2);
  if (order === 1) candidates.sort((a, b) => b.makes.length - a.makes.length);
  if (order === 2) shuffle(candidates, random);
  const name = `${kind.name}, seed ${seed}: ${rows} rows ${step}/6 EV apart, ${candidates.length} candidates`;
  return { name, rows, candidates };
}

function mostRows({ centreRange, shapes }: BodyKind, step: number): number {
  if (centreRange === undefined) return Number.POSITIVE_INFINITY;
  const reach = centreRange + Math.max(...shapes.map((shape) => shape.step * shape.above));
  return 1 + Math.floor((2 * reach) / step);
}

/** @returns the offsets of the frames of every pass, counted from the darkest wanted one */
function passesOver(kind: BodyKind, last: number, step: number, random: () => number): number[][] {
  const grid = step % 2 === 0 ? 2 : 3;
  const darkest = -between(random, ...kind.overhang);
  const lightest = last + between(random, ...kind.overhang);
  const middle = Math.floor(last / 2 / step) * step;
  const passes: number[][] = [];
  for (const { step: bracketStep, below, above } of [...kind.shapes, SINGLE]) {
    for (let centre = Math.ceil(darkest / grid) * grid; centre <= lightest; centre += grid) {
      if (Math.abs(centre - middle) > (kind.centreRange ?? Number.POSITIVE_INFINITY)) continue;
      const count = below + above + 1;
      const frames = Array.from({ length: count }, (_, k) => centre + (k - below) * bracketStep);
      if (frames.every((offset) => offset >= darkest && offset <= lightest)) passes.push(frames);
    }
  }
  return passes;
}

const rowsAmong = (frames: readonly number[], last: number, step: number): number[] =>
  frames
    .filter((offset) => offset >= 0 && offset <= last && offset % step === 0)
    .map((offset) => offset / step);

/** Milliseconds: fixed a pass, and for each frame some overhead and the exposure. */
function costs(
  random: () => number,
  last: number,
  rounding: Rounding,
): (frames: readonly number[]) => number {
  const fixed = between(random, 300, 1200);
  const overhead = between(random, 200, 2000);
  const longest = 2 ** (5 + random() * 10);
  const exposure = (offset: number) => Math.min(32_000, longest * 2 ** ((offset - last) / 6));
  const ofFrame = (offset: number) =>
    overhead + (rounding === 'frames' ? Math.round(exposure(offset)) : exposure(offset));
  return (frames) => Math.round(frames.reduce((sum, offset) => sum + ofFrame(offset), fixed));
}

function shuffle<Item>(items: Item[], random: () => number): void {
  for (let k = items.length - 1; k > 0; k -= 1) {
    const other = between(random, 0, k);
    const kept = items[k] as Item;
    items[k] = items[other] as Item;
    items[other] = kept;
  }
}
