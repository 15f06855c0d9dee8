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
// shape in one go and single frames last. For the least spread, and over the link below, each shape after the first pays a change
// (choice.ts).
//
// Over a link that takes release and fetch apart (clock.ts), with L seconds before an exposure, R after it, T for a transfer:
//
//   frame by frame   a frame costs max(T, L + exposure + R): the file of the frame before comes meanwhile. The time to settle
//                    counts with the first frame of its pass: files come then, too. The first file has none before it, the
//                    last one comes alone: what that adds, min(T, L + first exposure + R), is nearly the same in every plan,
//                    and left out
//   one release      two sums. The shutter: change + settling + L + all (exposure + R). The cable: change + T for each frame.
//                    The plan takes as long as the longer of them, with what comes before the first file and after the last
//                    closing: max(shutter + T, cable + settling + L + first exposure + R)
//
// The spread is the same without what lies before the first opening and after the last closing: nearly the same in every plan of
// one way. A pass pays its change wherever the body stands, and a single frame behind a bracket pays for switching that off.
import {
  type ApartTiming,
  type BodyLimits,
  labelledShutters,
  type ShutterSetting,
  type Sixths,
} from '../exposure/index.js';
import type { PossiblePass } from './candidates.js';
import type { PlanRequest } from './types.js';

export const milliseconds = (seconds: number): number => Math.round(seconds * 1000);

const exposure = ({ seconds }: ShutterSetting): number => Math.max(1, milliseconds(seconds));

/** What a pass costs, in whole milliseconds, at least 1. */
export type Cost = (pass: PossiblePass) => number;

/** @param standingTv the setting that the shutter stands on, where a pass that is centred there can come first or last */
export function costModel(request: PlanRequest, limits: BodyLimits, standingTv?: Sixths): Cost {
  const change = changeCost(request, limits, standingTv);
  const settle = milliseconds(request.settleSeconds ?? 0);
  const { apart } = limits;
  if (apart !== undefined) {
    const { around, transfer } = inMilliseconds(apart);
    return (pass) =>
      pass.frames.reduce(
        (sum, { shutter }, index) =>
          sum + Math.max(transfer, (index === 0 ? settle : 0) + around + exposure(shutter)),
        change(pass),
      );
  }
  const overhead = milliseconds(limits.secondsPerFrame);
  return (pass) =>
    change(pass) + pass.frames.reduce((sum, { shutter }) => sum + overhead + exposure(shutter), settle);
}

/** What passes of one release cost; each cost at least 1. */
export interface OneReleaseCosts {
  readonly shutter: Cost;
  readonly cable: Cost;
  /** What the shutter's sum lacks at its end, and the cable's at its beginning. */
  readonly afterShutter: number;
  readonly beforeCable: number;
}

/** @param standingTv as for costModel */
export function oneReleaseCosts(
  request: PlanRequest,
  limits: BodyLimits,
  apart: ApartTiming,
  standingTv?: Sixths,
): OneReleaseCosts {
  const change = changeCost(request, limits, standingTv);
  const settle = milliseconds(request.settleSeconds ?? 0);
  const { before, after, around, transfer } = inMilliseconds(apart);
  const shortest = Math.max(1, milliseconds(request.base.seconds * 2 ** ((request.offsets[0] ?? 0) / 6)));
  return {
    shutter: (pass) =>
      change(pass) +
      pass.frames.reduce((sum, { shutter }) => sum + exposure(shutter) + after, settle + before),
    cable: (pass) => Math.max(1, change(pass) + pass.frames.length * transfer),
    afterShutter: transfer,
    beforeCable: settle + around + shortest,
  };
}

function inMilliseconds({ secondsBeforeExposure, secondsAfterExposure, secondsPerTransfer }: ApartTiming) {
  return {
    before: milliseconds(secondsBeforeExposure),
    after: milliseconds(secondsAfterExposure),
    around: milliseconds(secondsBeforeExposure + secondsAfterExposure),
    transfer: milliseconds(secondsPerTransfer),
  };
}

function changeCost(request: PlanRequest, limits: BodyLimits, standingTv: Sixths | undefined): Cost {
  const change = milliseconds(
    limits.secondsPerChange + limits.secondsPerSetting * meanSettings(request, limits),
  );
  return ({ centreShutter }) => (centreShutter.tv === standingTv ? 0 : change);
}

function meanSettings({ offsets, base }: PlanRequest, limits: BodyLimits): number {
  const longest = base.tv - (offsets.at(-1) ?? 0);
  const shortest = base.tv - (offsets[0] ?? 0);
  return labelledShutters(limits).filter(({ tv }) => tv >= longest && tv <= shortest).length / 3;
}
