// An independent check of the planner: random instances over a list of body kinds, each written as a weighted set cover by
// code of its own and solved by HiGHS, a published solver of mixed-integer programs (npm package highs). Shares the
// planner's types and its stated cost model, and none of its code.
import loader, { type Highs } from 'highs';
import { type Sixths, sixths } from '../shared/ev.js';
import { type BodyLimits, SHUTTER_SCALES, type ShutterSetting } from '../src/exposure/index.js';
import type { Plan, PlanRequest } from '../src/plan/index.js';

/** Seeded and small: mulberry32, public domain. @returns numbers from 0 up to, not including, 1 */
export function random(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4_294_967_296;
  };
}

type Random = () => number;

export interface Instance {
  readonly kind: string;
  readonly request: PlanRequest;
  readonly limits: BodyLimits;
}

const pick = <T>(items: readonly T[], next: Random): T => items[Math.floor(next() * items.length)] as T;
const whole = (from: number, to: number, next: Random): number => from + Math.floor(next() * (to - from + 1));

const symmetric = (count: number): number[] =>
  Array.from({ length: count }, (_, index) => index - (count - 1) / 2);
const thirds = [2, 4, 6, 8, 10, 12, 14, 16, 18].map(sixths);
const brackets = (steps: readonly Sixths[], patterns: readonly (readonly number[])[]) =>
  steps.flatMap((step) => patterns.map((pattern) => ({ step, pattern })));
const some = (steps: readonly Sixths[], next: Random): Sixths[] => {
  const kept = steps.filter(() => next() < 0.6);
  return kept.length > 0 ? kept : [pick(steps, next)];
};

/** The brackets of each kind of body, and its restrictions. */
const KINDS: Readonly<
  Record<string, (next: Random) => Partial<BodyLimits> & { mode?: 'manual' | 'aperture' }>
> = {
  'no bracket': () => ({ brackets: [] }),
  'three frames': (next) => ({ brackets: brackets(some(thirds, next), [symmetric(3)]) }),
  'three and five, whole stops': (next) => ({
    brackets: brackets(some([6, 12, 18].map(sixths), next), [symmetric(3), symmetric(5)]),
  }),
  'three to nine in pairs, nine up to 1 EV': (next) => ({
    brackets: some(thirds, next).flatMap((step) =>
      brackets([step], [3, 5, 7, 9].filter((count) => count < 9 || step <= 6).map(symmetric)),
    ),
  }),
  'two and one-sided': (next) => ({
    brackets: brackets(some([2, 4, 6, 12].map(sixths), next), [
      [0, 1],
      [0, -1],
      [0, 1, 2],
      [0, -1, -2],
    ]),
  }),
  'limited by compensation': (next) => ({
    mode: 'aperture',
    brackets: brackets(some(thirds, next), [symmetric(3), symmetric(5)]),
    compensation: { range: sixths(pick([12, 18, 30], next)), grid: sixths(2) },
  }),
  'limited by the shutter': (next) => {
    const from = whole(0, 20, next);
    return {
      brackets: brackets(some(thirds, next), [symmetric(3), symmetric(7)]),
      shutters: SHUTTER_SCALES.third.slice(from, from + whole(10, 40, next)),
    };
  },
};

export const KIND_NAMES = Object.keys(KINDS);

/** @returns the instance of this seed; its request may be impossible */
export function instance(seed: number): Instance {
  const next = random(seed);
  const kind = KIND_NAMES[seed % KIND_NAMES.length] as string;
  const { mode = 'manual', ...special } = (
    KINDS[kind] as (next: Random) => Partial<BodyLimits> & { mode?: 'manual' | 'aperture' }
  )(next);
  const limits: BodyLimits = {
    shutters: SHUTTER_SCALES.third.filter(({ tv }) => tv <= 78),
    brackets: [],
    compensation: { range: sixths(18), grid: sixths(2) },
    longestSeconds: Number.POSITIVE_INFINITY,
    secondsPerChange: pick([0, 0.02, 0.3, 1, 4], next),
    secondsPerSetting: pick([0, 0, 0.05], next),
    secondsPerFrame: pick([0.1, 0.5, 2], next),
    ...special,
  };
  const step = sixths(pick([2, 4, 6, 8, 12], next));
  const room = limits.shutters.length * 2;
  const most = Math.max(1, Math.min(61, Math.floor(room / step) + 1));
  const frames = next() < 0.2 ? most : whole(1, most, next);
  const first = whole(0, Math.max(0, (room - (frames - 1) * step) / 2 - 1), next);
  const darkestTv = (limits.shutters.at(-1)?.tv ?? 0) - first * 2;
  const base = pick(limits.shutters, next);
  const offsets = Array.from({ length: frames }, (_, index) => base.tv - darkestTv + index * step);
  return { kind, request: { offsets: offsets.map(sixths), step, base, mode }, limits };
}

interface Column {
  readonly rows: readonly number[];
  readonly cost: number;
}

/** The stated cost of one pass in milliseconds: a change at its mean, and each frame's exposure and overhead. */
function passCost(frames: readonly ShutterSetting[], { request, limits }: Instance): number {
  const low = request.base.tv - Math.max(...request.offsets);
  const high = request.base.tv - Math.min(...request.offsets);
  const between = limits.shutters.filter(({ tv }) => low <= tv && tv <= high).length;
  const change = Math.round(1000 * (limits.secondsPerChange + (limits.secondsPerSetting * between) / 3));
  const each = Math.round(1000 * limits.secondsPerFrame);
  return (
    change + frames.reduce((sum, frame) => sum + each + Math.max(1, Math.round(1000 * frame.seconds)), 0)
  );
}

/** In aperture priority the camera chooses the time: none of its settings has to be there. */
const anyTimes = (): ShutterSetting[] =>
  Array.from({ length: 1001 }, (_, index) => index - 500).map((tv) => {
    const seconds = 2 ** (-tv / 6);
    return { label: '', wire: '', tv: sixths(tv), seconds, nominalSeconds: seconds, settable: false };
  });

/** A pass that could be fired. */
export interface AllowedPass {
  /** Index among the limits' brackets; -1 for a single frame. */
  readonly shape: number;
  /** Indexes of the offsets that it makes, ascending. */
  readonly rows: readonly number[];
  readonly frames: readonly ShutterSetting[];
}

/** Every pass that the limits allow, by trying every shape at every sixth of an EV. */
export function allowedPasses({ request, limits }: Pick<Instance, 'request' | 'limits'>): AllowedPass[] {
  const byTv = new Map<number, ShutterSetting>(
    (request.mode === 'manual' ? limits.shutters : anyTimes()).map((setting) => [setting.tv, setting]),
  );
  const shapes = [{ step: 0, pattern: [0] as readonly number[] }, ...limits.brackets];
  const allowed: AllowedPass[] = [];
  for (const [index, { step, pattern }] of shapes.entries()) {
    for (let centre = -300; centre <= 300; centre += 1) {
      const reachable =
        request.mode === 'manual'
          ? byTv.get(request.base.tv - centre)?.settable === true
          : Math.abs(centre) <= limits.compensation.range && centre % limits.compensation.grid === 0;
      const frames = pattern.map((position) => byTv.get(request.base.tv - centre - position * step));
      if (!reachable || !byTv.has(request.base.tv - centre) || frames.some((frame) => frame === undefined))
        continue;
      const rows = pattern
        .map((position) => request.offsets.indexOf(sixths(centre + position * step)))
        .filter((row) => row >= 0);
      if (rows.length === 0) continue;
      allowed.push({
        shape: index - 1,
        rows: [...new Set(rows)].sort((a, b) => a - b),
        frames: frames as ShutterSetting[],
      });
    }
  }
  return allowed;
}

/** Of those that make the same offsets the one that costs least. */
function columns(given: Instance): Column[] {
  const best = new Map<string, Column>();
  for (const { rows, frames } of allowedPasses(given)) {
    const cost = passCost(frames, given);
    const before = best.get(rows.join());
    if (before === undefined || cost < before.cost) best.set(rows.join(), { rows, cost });
  }
  return [...best.values()];
}

/** A pass more must never outweigh a millisecond. */
const PASS_WEIGHT = 64;

// Its types describe the module, not the function that the module is.
const load = loader as unknown as () => Promise<Highs>;
let loaded: Promise<Highs> | undefined;

/** @param problem in the LP format @returns the least value of its objective */
export async function leastValue(problem: string): Promise<number> {
  loaded ??= load();
  const highs = await loaded;
  const solution = highs.solve(problem, { mip_rel_gap: 0, mip_abs_gap: 0.5, output_flag: false });
  if (solution.Status !== 'Optimal') throw new Error(`The reference says ${solution.Status}.`);
  return solution.ObjectiveValue;
}

/** @returns least cost in milliseconds and fewest passes, or null if the request cannot be met */
export async function referenceCost(given: Instance): Promise<{ cost: number; passes: number } | null> {
  const all = columns(given);
  const covering = given.request.offsets.map((_, row) =>
    all.flatMap((column, index) => (column.rows.includes(row) ? [index] : [])),
  );
  if (covering.some((indexes) => indexes.length === 0)) return null;
  const objective = all.map(({ cost }, index) => `${cost * PASS_WEIGHT + 1} x${index}`).join(' + ');
  const rows = covering
    .map((indexes, row) => ` r${row}: ${indexes.map((index) => `x${index}`).join(' + ')} >= 1`)
    .join('\n');
  const names = all.map((_, index) => `x${index}`).join(' ');
  const problem = `Minimize\n obj: ${objective}\nSubject To\n${rows}\nBinary\n ${names}\nEnd\n`;
  const weight = Math.round(await leastValue(problem));
  return { cost: Math.floor(weight / PASS_WEIGHT), passes: weight % PASS_WEIGHT };
}

/** @returns the cost of a plan under the same model, from the frames that it fires */
export function costOfPlan(plan: Plan, given: Instance): { cost: number; passes: number } {
  const cost = plan.passes.reduce(
    (sum, pass) =>
      sum +
      passCost(
        pass.frames.map((frame) => frame.shutter),
        given,
      ),
    0,
  );
  return { cost, passes: plan.passes.length };
}
