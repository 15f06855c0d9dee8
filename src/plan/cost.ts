// The cost model of the planner, in whole milliseconds: nobody times a camera finer, and whole numbers add up exactly.
//
//   a plan costs     the sum of what its passes cost
//   a pass costs     one settings change, which moves the centre, at its mean; none if the body is set to it already
//                    + the settling time, if one is asked for
//                    + for each of its frames, asked for or not, its exposure (at least 1 ms) and the body's own time
//
// A body that steps through all values passes the settings in between. How many depends on the pass before, so the mean is
// taken: a third of the settings that the request spans (the mean distance of two points on a line is a third of it).
// Arming and disarming the bracket is left out: plans that are mostly brackets pay it once a set, since they fire each shape in
// one go and single frames last. For the least spread, and over the link below, each shape after the first pays a change
// (choice.ts).
//
// Over a link that takes release and fetch apart (clock.ts) there are two sums, with L seconds before an exposure, R after it, T for
// a transfer:
//
//   the shutter      a pass: change + settling + L + exposure + R for each frame, and a wait for the cable after it. What one release
//                    fires pays L once and waits for nothing
//   the cable        a pass: change + T for each frame
//
// The wait of a frame is what the file of the frame before still lacks after body = (settling +) L + exposure + R, and a piece at
// most: min(piece, max(0, T - body)). If files come whole, it is the frame's own file: T. One release then waits for its own
// files, too: its pass costs change + settling and the walk along it, each file coming after its exposure and after the file
// before.
//
// The plan takes as long as the longer sum, plus what the shutter's sum lacks after the last closing, or the cable's before the
// first file:
//
//   max(shutter + T - wait of the first frame, cable + settling + L + first exposure + R)
//
// The first frame waits for no file before it, so its wait is subtracted; if files come whole that leaves T - T, since each
// frame has paid for its file. Whenever a wait fills a frame up to T (files that come whole, or in one piece), the shutter's sum
// is never the shorter one: both ways are the same formula, and there one sum decides.
//
// The spread is the shutter's sum without the time before the first opening and after the last closing, which is nearly the same
// in every plan of one way. A pass pays its change whatever the body is set to, and a single frame after a bracket pays for
// switching that off.
import type { ReleaseWay } from '../../shared/request.js';
import {
  type ApartTiming,
  type BodyLimits,
  labelledShutters,
  NO_EV,
  type ShutterSetting,
  type Sixths,
  toEv,
} from '../exposure/index.js';
import type { PossiblePass } from './candidates.js';
import type { PlanRequest } from './types.js';

export const milliseconds = (seconds: number): number => Math.round(seconds * 1000);

const exposure = ({ seconds }: ShutterSetting): number => Math.max(1, milliseconds(seconds));

/** The cost of a pass in whole milliseconds, at least 1. */
export type Cost = (pass: PossiblePass) => number;

/**
 * Over a link that releases and fetches at once.
 * @param standingTv the shutter's present setting, if a pass that is centred there can come first or last
 */
export function costAtOnce(request: PlanRequest, limits: BodyLimits, standingTv?: Sixths): Cost {
  const change = changeCost(request, limits, standingTv);
  const settle = milliseconds(request.settleSeconds ?? 0);
  const overhead = milliseconds(limits.secondsPerFrame);
  return (pass) =>
    change(pass) + pass.frames.reduce((sum, { shutter }) => sum + overhead + exposure(shutter), settle);
}

/** The costs of passes over a link that takes release and fetch apart; each at least 1. */
export interface CostsApart {
  readonly shutter: Cost;
  readonly cable: Cost;
  /** Time that the shutter's sum lacks at its end, and the cable's sum at its beginning. */
  readonly afterShutter: number;
  readonly beforeCable: number;
}

/** @param standingTv as for costAtOnce */
export function costsApart(
  release: ReleaseWay,
  request: PlanRequest,
  limits: BodyLimits,
  apart: ApartTiming,
  standingTv?: Sixths,
): CostsApart {
  const change = changeCost(request, limits, standingTv);
  const settle = milliseconds(request.settleSeconds ?? 0);
  const timing = inMilliseconds(apart);
  const { around, transfer } = timing;
  const wait = waitFor(release, timing);
  const shortest = Math.max(1, milliseconds(request.base.seconds * 2 ** toEv(request.offsets[0] ?? NO_EV)));
  const first = settle + around + shortest;
  const frameByFrame: Cost = (pass) =>
    pass.frames.reduce((sum, { shutter }, index) => {
      const body = (index === 0 ? settle : 0) + around + exposure(shutter);
      return sum + body + wait(body);
    }, change(pass));
  return {
    shutter: release === 'frame' ? frameByFrame : (pass) => change(pass) + settle + oneRelease(pass, timing),
    cable: (pass) => Math.max(1, change(pass) + pass.frames.length * transfer),
    afterShutter: transfer - wait(first),
    beforeCable: first,
  };
}

type Milliseconds = ReturnType<typeof inMilliseconds>;

/** @returns how long a frame waits for the cable, from how long the body was busy with it */
function waitFor(release: ReleaseWay, { transfer, piece }: Milliseconds): (body: number) => number {
  if (piece === null) return () => transfer;
  const most = release === 'frame' ? piece : 0;
  return (body) => Math.min(most, Math.max(0, transfer - body));
}

/** @returns from the release of a pass until the next one can follow */
function oneRelease({ frames }: PossiblePass, { before, after, transfer, piece }: Milliseconds): number {
  let rested = before;
  let here = 0;
  for (const { shutter } of frames) {
    rested += exposure(shutter) + after;
    here = Math.max(here, rested) + transfer;
  }
  return piece === null ? here : rested;
}

function inMilliseconds({
  secondsBeforeExposure,
  secondsAfterExposure,
  secondsPerTransfer,
  secondsPerPiece,
}: ApartTiming) {
  return {
    before: milliseconds(secondsBeforeExposure),
    after: milliseconds(secondsAfterExposure),
    around: milliseconds(secondsBeforeExposure + secondsAfterExposure),
    transfer: milliseconds(secondsPerTransfer),
    piece: secondsPerPiece === null ? null : milliseconds(secondsPerPiece),
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
