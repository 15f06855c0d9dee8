// Every pass that could be fired for a request: each bracket shape, and the single frame, around each centre that can be
// set, as long as none of its frames falls outside the shutter's settings (bodies clamp silently) or outlasts the link.
import type { BodyLimits, BracketShape, ShutterSetting, Sixths } from '../exposure/index.js';
import type { PlanRequest } from './plan.js';

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
  const shutters = usableShutters(limits);
  const passes = shapesOf(limits).flatMap((shape) =>
    centres(request, limits, shutters, shape).flatMap(
      (centre) => passAt(centre, shape, request, shutters) ?? [],
    ),
  );
  const extras = (pass: PossiblePass) => pass.frames.length - pass.makes.length;
  return passes.sort(
    (a, b) =>
      Number(a.shape === null) - Number(b.shape === null) ||
      spanOf(a) - spanOf(b) ||
      extras(a) - extras(b) ||
      a.centre - b.centre ||
      a.frames.length - b.frames.length,
  );
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

/** The bracket shapes, each once, and the single frame. */
function shapesOf({ brackets }: BodyLimits): (BracketShape | null)[] {
  const each = new Map(brackets.map((shape) => [`${shape.step}:${shape.pattern.join()}`, shape]));
  return [...[...each.values()].filter((shape) => shape.pattern.length > 1), null];
}

/** Only centres from where some frame of the shape can make something wanted. */
function centres(
  { offsets, base, mode }: PlanRequest,
  { compensation }: BodyLimits,
  shutters: ReadonlyMap<Sixths, ShutterSetting>,
  shape: BracketShape | null,
): Sixths[] {
  const reach = shape === null ? 0 : Math.max(...shape.pattern.map(Math.abs)) * shape.step;
  const lowest = (offsets[0] ?? 0) - reach;
  const highest = (offsets.at(-1) ?? 0) + reach;
  const all =
    mode === 'manual'
      ? [...shutters.values()].filter((setting) => setting.settable).map((setting) => base.tv - setting.tv)
      : onGrid(compensation.range, compensation.grid);
  return all.filter((centre) => centre >= lowest && centre <= highest).sort((a, b) => a - b);
}

function onGrid(range: Sixths, grid: Sixths): Sixths[] {
  const steps = Math.floor(range / grid);
  return Array.from({ length: 2 * steps + 1 }, (_, index) => (index - steps) * grid);
}

function passAt(
  centre: Sixths,
  shape: BracketShape | null,
  { offsets, base }: PlanRequest,
  shutters: ReadonlyMap<Sixths, ShutterSetting>,
): PossiblePass | undefined {
  const centreShutter = shutters.get(base.tv - centre);
  if (centreShutter === undefined) return undefined;
  const frames: PossibleFrame[] = [];
  const made = new Set<number>();
  for (const position of shape?.pattern ?? SINGLE) {
    const offset = centre + position * (shape?.step ?? 0);
    const shutter = shutters.get(base.tv - offset);
    if (shutter === undefined) return undefined;
    const row = offsets.indexOf(offset);
    if (row >= 0) made.add(row);
    frames.push({ offset, shutter, row: row < 0 ? null : row });
  }
  if (made.size === 0) return undefined;
  return { centre, centreShutter, shape, frames, makes: [...made].sort((a, b) => a - b) };
}

function spanOf({ frames }: PossiblePass): Sixths {
  const offsets = frames.map((frame) => frame.offset);
  return Math.max(...offsets) - Math.min(...offsets);
}
