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
    secondsPerPiece: pick([0, 0.1, 0.28, 1, 10, null, null]),
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
  const piece = apart.secondsPerPiece === null ? null : ms(apart.secondsPerPiece);
  // The rest of the earlier file on the cable, at most a piece; nothing inside one release, and all of the
  // frame's own file if files come whole.
  const longest = request.release === 'pass' ? 0 : piece;
  const waits = (body: number) => {
    if (piece === null || longest === null) return transfer;
    return body >= transfer ? 0 : Math.min(transfer - body, longest);
  };
  const singly = (frames: readonly ShutterSetting[]) => {
    let now = change;
    frames.forEach((frame, index) => {
      const body = around + exposed(frame) + (index > 0 ? 0 : settle);
      now += body + waits(body);
    });
    return now;
  };
  // The frame that the whole pass waits for, if files come whole: from its end on the cable never stood still.
  const together = (frames: readonly ShutterSetting[]) => {
    const ends = frames.map((_, index) =>
      frames.slice(0, index + 1).reduce((sum, frame) => sum + exposed(frame) + rest, lag),
    );
    const over =
      piece === null
        ? Math.max(...ends.map((end, index) => end + (ends.length - index) * transfer))
        : (ends.at(-1) ?? 0);
    return change + settle + over;
  };
  const darkest = Math.max(1, ms(request.base.seconds * 2 ** (Math.min(...request.offsets) / 6)));
  const first = settle + around + darkest;
  return {
    shutter: request.release === 'pass' ? together : singly,
    cable: (frames: readonly ShutterSetting[]) => Math.max(1, change + frames.length * transfer),
    afterShutter: transfer - waits(first),
    beforeCable: first,
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
  const { shutter, cable, afterShutter, beforeCable, another } = sums(given);
  const sum = (cost: (frames: readonly ShutterSetting[]) => number) =>
    passes.reduce((total, pass) => total + cost(pass.frames.map((frame) => frame.shutter)), 0);
  const shapes = new Set(passes.map(shapeKey));
  if (given.request.least === 'spread') return sum(shutter) + (shapes.size - 1) * another;
  shapes.delete('single');
  const set = Math.max(0, shapes.size - 1) * another;
  return Math.max(sum(shutter) + afterShutter, sum(cable) + beforeCable) + set;
}

/** @returns the least that any choice of passes costs, in milliseconds; null if some offset cannot be made */
export async function leastCost(given: WaysInstance): Promise<number | null> {
  const { release, least, offsets } = given.request;
  const most = given.limits.apart.mostInOneGo ?? Number.POSITIVE_INFINITY;
  const fits = ({ pattern }: { pattern: readonly number[] }) => release === 'frame' || pattern.length <= most;
  const limits = { ...given.limits, brackets: given.limits.brackets.filter(fits) };
  const { shutter, cable, afterShutter, beforeCable, another } = sums(given);
  const passes = cheapest(allowedPasses({ request: given.request, limits }), [shutter, cable]);
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
    return Math.round(await solved([terms(shutter), ...all].join(' + '), rows, names)) - another;
  }
  const arming = counted.map(() => `${another} more`);
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
