// Lays passes side by side over the wanted offsets: each offset once, nothing fired that was not asked for.
//
// Walking from the darkest offset up, best[i] is the best cover of the offsets from i on. A cover is better with fewer
// passes, then with fewer single frames; among equals the one whose first pass is larger, so that what is left over
// stands at the light end. That is exact for contiguous passes, in (offsets x shapes) steps.
import type { BodyLimits, BracketShape, ShutterSetting, Sixths } from '../exposure/index.js';
import type { Pass, PlanRequest } from './plan.js';

interface Cover {
  readonly passes: number;
  readonly singles: number;
  readonly first: Pass | undefined;
  readonly rest: Cover | undefined;
}

const SINGLE: BracketShape = { step: 0, pattern: [0] };

/** @returns the passes from dark to light, or undefined where no cover exists within the limits */
export function tile(request: PlanRequest, limits: BodyLimits): Pass[] | undefined {
  const shutters = new Map(limits.shutters.map((setting) => [setting.tv, setting]));
  const shapes = [
    ...limits.brackets.filter((shape) => shape.step === request.step && isGapless(shape)),
    SINGLE,
  ].sort((a, b) => b.pattern.length - a.pattern.length);
  const best: (Cover | undefined)[] = new Array(request.offsets.length + 1);
  best[request.offsets.length] = { passes: 0, singles: 0, first: undefined, rest: undefined };
  for (let start = request.offsets.length - 1; start >= 0; start -= 1) {
    for (const shape of shapes) {
      const rest = best[start + shape.pattern.length];
      if (rest === undefined) continue;
      const pass = passAt(start, shape, request, limits, shutters);
      if (pass === undefined) continue;
      const singles = rest.singles + (shape === SINGLE ? 1 : 0);
      const cover = { passes: rest.passes + 1, singles, first: pass, rest };
      if (isBetter(cover, best[start])) best[start] = cover;
    }
  }
  return best[0] === undefined ? undefined : passesOf(best[0]);
}

const isBetter = (a: Cover, b: Cover | undefined): boolean =>
  b === undefined || a.passes < b.passes || (a.passes === b.passes && a.singles < b.singles);

function passesOf(cover: Cover): Pass[] {
  const passes: Pass[] = [];
  for (let at: Cover | undefined = cover; at?.first !== undefined; at = at.rest) passes.push(at.first);
  return passes;
}

/** @returns whether the frames of the shape are neighbours, and the metered one is among them */
function isGapless({ pattern }: BracketShape): boolean {
  const positions = new Set(pattern);
  const lowest = Math.min(...pattern);
  return (
    positions.size === pattern.length &&
    Math.max(...pattern) - lowest === pattern.length - 1 &&
    positions.has(0)
  );
}

function passAt(
  start: number,
  shape: BracketShape,
  request: PlanRequest,
  limits: BodyLimits,
  shutters: ReadonlyMap<Sixths, ShutterSetting>,
): Pass | undefined {
  const darkest = request.offsets[start];
  if (darkest === undefined) return undefined;
  const centre = darkest - Math.min(...shape.pattern) * shape.step;
  const centreShutter = shutters.get(request.base.tv - centre);
  if (centreShutter === undefined || !canCentre(centre, centreShutter, request, limits)) return undefined;
  const frames = shape.pattern.flatMap((position) => {
    const offset = centre + position * shape.step;
    const shutter = shutters.get(request.base.tv - offset);
    return shutter === undefined ? [] : [{ offset, shutter }];
  });
  if (frames.length < shape.pattern.length) return undefined;
  return { centre, centreShutter, shape: shape === SINGLE ? null : shape, frames };
}

function canCentre(
  centre: Sixths,
  shutter: ShutterSetting,
  { mode }: PlanRequest,
  { compensation }: BodyLimits,
): boolean {
  if (mode === 'manual') return shutter.settable;
  return Math.abs(centre) <= compensation.range && centre % compensation.grid === 0;
}
