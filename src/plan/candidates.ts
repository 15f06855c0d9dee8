// Every pass that could be fired for a request: each bracket shape, and the single frame, around each centre that can be
// set, as long as none of its frames falls outside the shutter's settings (bodies clamp silently) or outlasts the link.
import {
  type BodyLimits,
  type BracketShape,
  minusSixths,
  NO_EV,
  plusSixths,
  type ShutterSetting,
  type Sixths,
  timeAt,
  timesSixths,
} from '../exposure/index.js';
import type { PlanRequest } from './types.js';

/** A pass that could be fired. */
export interface PossiblePass {
  readonly centre: Sixths;
  readonly centreShutter: ShutterSetting;
  /** null for a single frame. */
  readonly shape: BracketShape | null;
  /** In firing order. */
  readonly frames: readonly PossibleFrame[];
  /** Indexes of the wanted offsets that it makes, ascending; never empty. */
  readonly makes: readonly number[];
}

export interface PossibleFrame {
  readonly offset: Sixths;
  readonly shutter: ShutterSetting;
  /** Index of the wanted offset that this frame makes; null for a frame that only comes with its pass. */
  readonly row: number | null;
}

/**
 * @returns what could be fired, in the order of preference among passes of equal cost: brackets before single frames (the
 *   bracket need not be switched off in between); those that span less (neighbouring exposures stay close in time); those
 *   with fewer frames that nobody asked for; those with the darker centre
 */
export function possiblePasses(request: PlanRequest, limits: BodyLimits): PossiblePass[] {
  const ground: Ground = {
    request,
    shutterAt: shutterAt(request, limits),
    rows: new Map(request.offsets.map((offset, row) => [offset, row])),
  };
  const singles = passesOf(null, ground, limits);
  const alone = new Set(singles.flatMap((pass) => pass.makes));
  const brackets = shapesOf(limits).flatMap((shape) => passesOf(shape, ground, limits));
  // A bracket for one wanted frame only is never better than that frame alone, unless it counts that the bracket can stay on.
  const useful =
    request.least === 'spread' || limits.apart !== undefined
      ? brackets
      : brackets.filter(({ makes: [row = -1, more] }) => more !== undefined || !alone.has(row));
  const extras = (pass: PossiblePass) => pass.frames.length - pass.makes.length;
  const spans = new Map(useful.map(({ shape }) => [shape, spanOf(shape)]));
  const span = ({ shape }: PossiblePass) => spans.get(shape) ?? 0;
  useful.sort(
    (a, b) =>
      span(a) - span(b) || extras(a) - extras(b) || a.centre - b.centre || a.frames.length - b.frames.length,
  );
  return [...useful, ...singles];
}

/** The things that every pass of a request is built on. */
interface Ground {
  readonly request: PlanRequest;
  readonly shutterAt: (tv: Sixths) => ShutterSetting | undefined;
  /** The index of each wanted offset. */
  readonly rows: ReadonlyMap<Sixths, number>;
}

function passesOf(shape: BracketShape | null, ground: Ground, limits: BodyLimits): PossiblePass[] {
  return centres(ground, limits, shape).flatMap((centre) => passAt(centre, shape, ground) ?? []);
}

/** In aperture priority the camera chooses the time itself: whatever the light asks for, and none of the settings has to be there. */
function shutterAt({ mode }: PlanRequest, limits: BodyLimits): Ground['shutterAt'] {
  if (mode === 'aperture') return timeAt;
  const shutters = usableShutters(limits);
  return (tv) => shutters.get(tv);
}

/** @returns the settings whose exposures the link can bring back, by Tv */
export function usableShutters({
  shutters,
  longestSeconds,
}: BodyLimits): ReadonlyMap<Sixths, ShutterSetting> {
  return new Map(
    shutters.filter((setting) => setting.seconds <= longestSeconds).map((setting) => [setting.tv, setting]),
  );
}

const SINGLE: readonly number[] = [0];

/** The bracket shapes of more than one frame, each once. */
function shapesOf({ brackets }: BodyLimits): BracketShape[] {
  const each = new Map(brackets.map((shape) => [`${shape.step}:${shape.pattern.join()}`, shape]));
  return [...each.values()].filter((shape) => shape.pattern.length > 1);
}

/** Only centres from which some frame of the shape can make a wanted offset. */
function centres(
  { request: { offsets, base, mode } }: Ground,
  limits: BodyLimits,
  shape: BracketShape | null,
): Sixths[] {
  const reach = shape === null ? 0 : Math.max(...shape.pattern.map(Math.abs)) * shape.step;
  const lowest = (offsets[0] ?? 0) - reach;
  const highest = (offsets.at(-1) ?? 0) + reach;
  const all =
    mode === 'manual'
      ? [...usableShutters(limits).values()]
          .filter(({ settable }) => settable)
          .map(({ tv }) => minusSixths(base.tv, tv))
      : onGrid(limits.compensation.range, limits.compensation.grid);
  return all.filter((centre) => centre >= lowest && centre <= highest).sort((a, b) => a - b);
}

function onGrid(range: Sixths, grid: Sixths): Sixths[] {
  const steps = Math.floor(range / grid);
  return Array.from({ length: 2 * steps + 1 }, (_, index) => timesSixths(grid, index - steps));
}

function passAt(centre: Sixths, shape: BracketShape | null, ground: Ground): PossiblePass | undefined {
  const { request, rows } = ground;
  const { tv } = request.base;
  const centreShutter = ground.shutterAt(minusSixths(tv, centre));
  if (centreShutter === undefined || (shape !== null && centreShutter.bulb === true)) return undefined;
  const step = shape?.step ?? NO_EV;
  const frames: PossibleFrame[] = [];
  const makes: number[] = [];
  for (const position of shape?.pattern ?? SINGLE) {
    const offset = plusSixths(centre, timesSixths(step, position));
    const shutter = ground.shutterAt(minusSixths(tv, offset));
    // No body brackets beyond its labels.
    if (shutter === undefined || (shape !== null && shutter.bulb === true)) return undefined;
    const row = rows.get(offset) ?? null;
    if (row !== null) makes.push(row);
    frames.push({ offset, shutter, row });
  }
  if (makes.length === 0) return undefined;
  return { centre, centreShutter, shape, frames, makes: makes.sort((a, b) => a - b) };
}

const spanOf = (shape: BracketShape | null): Sixths =>
  shape === null ? NO_EV : timesSixths(shape.step, Math.max(...shape.pattern) - Math.min(...shape.pattern));
