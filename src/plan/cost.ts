// The cost model of the planner, in whole milliseconds: nobody times a camera finer, and whole numbers add up exactly.
//
//   a plan costs     the sum of what its passes cost
//   a pass costs     one settings change, which moves the centre, at its mean; none where the body stands there already
//                    + the time to settle, where that is asked for
//                    + for each of its frames, asked for or not, its exposure (at least 1 ms) and the body's own time
//
// A body that walks to a value passes the settings in between. How many depends on the pass before; the mean is taken: a
// third of the settings that the request spans (the mean distance of two points on a line is a third of it).
// Arming and disarming the bracket is left out: it is paid once a set in all plans that are mostly brackets, which fire each
// shape in one go and single frames last.
import type { BodyLimits, ShutterSetting, Sixths } from '../exposure/index.js';
import type { PossiblePass } from './candidates.js';
import type { PlanRequest } from './types.js';

const milliseconds = (seconds: number): number => Math.round(seconds * 1000);

/**
 * @param standingTv the setting that the shutter stands on, where a pass that is centred there can come first or last
 * @returns what a pass costs, in whole milliseconds, at least 1
 */
export function costModel(
  request: PlanRequest,
  limits: BodyLimits,
  standingTv?: Sixths,
): (pass: PossiblePass) => number {
  const change = milliseconds(
    limits.secondsPerChange + limits.secondsPerSetting * meanSettings(request, limits),
  );
  const settle = milliseconds(request.settleSeconds ?? 0);
  const overhead = milliseconds(limits.secondsPerFrame);
  const exposure = (shutter: ShutterSetting) => Math.max(1, milliseconds(shutter.seconds));
  return ({ centreShutter, frames }) =>
    (centreShutter.tv === standingTv ? 0 : change) +
    frames.reduce((sum, { shutter }) => sum + overhead + exposure(shutter), settle);
}

function meanSettings({ offsets, base }: PlanRequest, { shutters }: BodyLimits): number {
  const longest = base.tv - (offsets.at(-1) ?? 0);
  const shortest = base.tv - (offsets[0] ?? 0);
  return shutters.filter(({ tv }) => tv >= longest && tv <= shortest).length / 3;
}
