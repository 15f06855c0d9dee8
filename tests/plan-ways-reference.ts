// An independent check of the two ways through a pass, for the least time and the least spread: the instances of plan-reference.ts on
// a link that takes release and fetch apart, each written as an integer program by code of its own and solved by HiGHS. The stated
// costs (src/plan/cost.ts) are summed here anew; nothing of the planner is called.
import type { ApartTiming, BodyLimits, ShutterSetting } from '../src/exposure/index.js';
import type { Plan, PlanRequest } from '../src/plan/index.js';
import {
  type AllowedPass,
  allowedPasses,
  type Instance,
  instance,
  leastValue,
  random,
} from './plan-reference.js';

export interface WaysInstance extends Instance {
  readonly request: PlanRequest & { readonly release: 'frame' | 'pass'; readonly least: 'time' | 'spread' };
  readonly limits: BodyLimits & { readonly apart: ApartTiming };
}

const QUESTIONS = [
  ['frame', 'time'],
  ['frame', 'spread'],
  ['pass', 'time'],
  ['pass', 'spread'],
] as const;

/** @returns the instance of this seed; its request may be impossible, and its body may have no bracket that fits into its buffer */
export function waysInstance(seed: number): WaysInstance {
  const given = instance(seed);
  const next = random(seed + 1_000_000);
  const pick = <T>(items: readonly T[]): T => items[Math.floor(next() * items.length)] as T;
  const [release, least] = QUESTIONS[Math.floor(seed / 7) % QUESTIONS.length] as (typeof QUESTIONS)[number];
  const apart = {
    secondsBeforeExposure: pick([0, 0.06, 0.2]),
    secondsAfterExposure: pick([0.05, 0.167, 1]),
    secondsPerTransfer: pick([0, 0.3, 0.833, 3]),
    mostInOneGo: pick([null, 3, 5, 9]),
  };
  const brackets = given.limits.brackets.map((shape) =>
    release === 'pass' ? { ...shape, isOneRelease: true } : shape,
  );
  return {
    kind: `${given.kind}, ${release}, ${least}`,
    request: { ...given.request, release, least, settleSeconds: pick([0, 0, 2]) },
    limits: { ...given.limits, brackets, apart },
  };
}

const ms = (seconds: number) => Math.round(seconds * 1000);
const exposed = (frame: ShutterSetting) => Math.max(1, ms(frame.seconds));

function sums({ request, limits }: WaysInstance) {
  const { apart } = limits;
  const low = request.base.tv - Math.max(...request.offsets);
  const high = request.base.tv - Math.min(...request.offsets);
  const between = limits.shutters.filter(({ tv }) => low <= tv && tv <= high).length;
  const change = ms(limits.secondsPerChange + (limits.secondsPerSetting * between) / 3);
  const settle = ms(request.settleSeconds ?? 0);
  const [lag, rest] = [ms(apart.secondsBeforeExposure), ms(apart.secondsAfterExposure)];
  const around = ms(apart.secondsBeforeExposure + apart.secondsAfterExposure);
  const transfer = ms(apart.secondsPerTransfer);
  const total = (frames: readonly ShutterSetting[], each: (frame: ShutterSetting, index: number) => number) =>
    frames.reduce((sum, frame, index) => sum + each(frame, index), 0);
  const darkest = request.base.seconds * 2 ** (Math.min(...request.offsets) / 6);
  return {
    framewise: (frames: readonly ShutterSetting[]) =>
      change +
      total(frames, (frame, index) =>
        Math.max(transfer, around + exposed(frame) + (index === 0 ? settle : 0)),
      ),
    shutter: (frames: readonly ShutterSetting[]) =>
      change + settle + lag + total(frames, (frame) => exposed(frame) + rest),
    cable: (frames: readonly ShutterSetting[]) => Math.max(1, change + frames.length * transfer),
    afterShutter: transfer,
    beforeCable: settle + around + Math.max(1, ms(darkest)),
    another: ms(limits.secondsPerChange),
  };
}

/** As much of a pass as its cost depends on. */
type Fired = Pick<Plan['passes'][number], 'shape'> & {
  readonly frames: readonly { readonly shutter: ShutterSetting }[];
};

const shapeKey = (pass: Fired): string =>
  pass.shape === null ? 'single' : `${pass.shape.step} ${pass.shape.pattern.join()}`;

/** @returns what passes cost by the stated model, in milliseconds, from the frames that they fire */
export function statedCost(passes: readonly Fired[], given: WaysInstance): number {
  const { framewise, shutter, cable, afterShutter, beforeCable, another } = sums(given);
  const { release, least } = given.request;
  const sum = (cost: (frames: readonly ShutterSetting[]) => number) =>
    passes.reduce((total, pass) => total + cost(pass.frames.map((frame) => frame.shutter)), 0);
  const shapes = new Set(passes.map(shapeKey));
  if (least === 'spread') return sum(release === 'pass' ? shutter : framewise) + (shapes.size - 1) * another;
  shapes.delete('single');
  const set = Math.max(0, shapes.size - 1) * another;
  if (release === 'frame') return sum(framewise) + set;
  return Math.max(sum(shutter) + afterShutter, sum(cable) + beforeCable) + set;
}

/** @returns the least that any choice of passes costs, in milliseconds; null where some offset cannot be made */
export async function leastCost(given: WaysInstance): Promise<number | null> {
  const { release, least, offsets } = given.request;
  const most = given.limits.apart.mostInOneGo ?? Number.POSITIVE_INFINITY;
  const fits = ({ pattern }: { pattern: readonly number[] }) => release === 'frame' || pattern.length <= most;
  const limits = { ...given.limits, brackets: given.limits.brackets.filter(fits) };
  const { framewise, shutter, cable, afterShutter, beforeCable, another } = sums(given);
  const passes = cheapest(allowedPasses({ request: given.request, limits }), [
    release === 'frame' ? framewise : shutter,
    release === 'frame' ? framewise : cable,
  ]);
  if (offsets.some((_, row) => !passes.some(({ rows }) => rows.includes(row)))) return null;
  const terms = (cost: (frames: readonly ShutterSetting[]) => number) =>
    passes.map(({ frames }, index) => `${cost(frames)} x${index}`).join(' + ');
  const covering = offsets.map(
    (_, row) =>
      ` r${row}: ${passes.flatMap(({ rows }, index) => (rows.includes(row) ? [`x${index}`] : [])).join(' + ')} >= 1`,
  );
  const binary = passes.map((_, index) => `x${index}`);
  // A shape has to be set before it is fired; `more` counts the brackets after the first one.
  const shapes = [...new Set(passes.map(({ shape }) => shape))];
  const set = passes.map(({ shape }, index) => ` s${index}: y${shapes.indexOf(shape)} - x${index} >= 0`);
  const brackets = shapes.flatMap((shape, index) => (shape < 0 ? [] : [`y${index}`]));
  const counted = brackets.length < 2 ? [] : [` m: more - ${brackets.join(' - ')} >= -1`];
  const rows = [...covering, ...set, ...counted];
  const names = [...binary, ...shapes.map((_, index) => `y${index}`)];
  if (least === 'spread') {
    const all = shapes.map((_, index) => `${another} y${index}`);
    const sum = terms(release === 'pass' ? shutter : framewise);
    return Math.round(await solved([sum, ...all].join(' + '), rows, names)) - another;
  }
  const arming = counted.map(() => `${another} more`);
  if (release === 'frame')
    return Math.round(await solved([terms(framewise), ...arming].join(' + '), rows, names));
  const longer = [
    ` a: z - ${terms(shutter).replaceAll(' + ', ' - ')} >= ${afterShutter}`,
    ` b: z - ${terms(cable).replaceAll(' + ', ' - ')} >= ${beforeCable}`,
  ];
  return Math.round(await solved(['z', ...arming].join(' + '), [...rows, ...longer], names));
}

const solved = (objective: string, rows: readonly string[], binary: readonly string[]): Promise<number> =>
  leastValue(
    `Minimize\n obj: ${objective}\nSubject To\n${rows.join('\n')}\nBinary\n ${binary.join(' ')}\nEnd\n`,
  );

/** Of the passes of one shape that make the same offsets, those that cost least by one of the sums. */
function cheapest(
  passes: readonly AllowedPass[],
  costs: readonly ((frames: readonly ShutterSetting[]) => number)[],
): AllowedPass[] {
  const kept = new Set<AllowedPass>();
  for (const cost of costs) {
    const best = new Map<string, AllowedPass>();
    for (const pass of passes) {
      const key = `${pass.shape}: ${pass.rows.join()}`;
      const before = best.get(key);
      if (before === undefined || cost(pass.frames) < cost(before.frames)) best.set(key, pass);
    }
    for (const pass of best.values()) kept.add(pass);
  }
  return [...kept];
}
