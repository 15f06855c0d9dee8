// What a plan takes: time, frames, storage, and how far neighbouring exposures lie apart in time. Unlike the cost model this
// walks the passes in their order and counts every settings change.
import {
  type BodyLimits,
  type BracketShape,
  isSameShape,
  type ShutterSetting,
  type Sixths,
} from '../exposure/index.js';
import type { Estimate, Pass } from './types.js';

export interface EstimateOptions {
  /** Bytes of one file, where somebody told. */
  readonly fileBytes?: number | undefined;
  /** Seconds to wait before each pass. */
  readonly settleSeconds?: number | undefined;
  /** What the shutter of the body stands on before the first pass and has to stand on again after the last. */
  readonly standingTv?: Sixths | undefined;
}

/** @param passes in firing order */
export function estimate(
  passes: readonly Pass[],
  limits: BodyLimits,
  { fileBytes, settleSeconds = 0, standingTv }: EstimateOptions = {},
): Estimate {
  let clock = 0;
  let bracket: BracketShape | null = null;
  const standing = limits.shutters.find(({ tv }) => tv === standingTv);
  let at: ShutterSetting | undefined = standing;
  const passSeconds: number[] = [];
  const starts = new Map<number, number>();
  for (const pass of passes) {
    const before = clock;
    if (!isSameShape(pass.shape, bracket)) clock += limits.secondsPerChange;
    bracket = pass.shape;
    clock += changeSeconds(at, pass.centreShutter, limits);
    at = pass.centreShutter;
    clock += settleSeconds;
    for (const frame of pass.frames) {
      if (frame.wanted) starts.set(frame.offset, clock);
      clock += frame.shutter.seconds + limits.secondsPerFrame;
    }
    passSeconds.push(clock - before);
  }
  // The bracket goes off and the shutter goes back.
  const back =
    at === undefined || standing === undefined
      ? limits.secondsPerChange
      : changeSeconds(at, standing, limits);
  const seconds = clock + back + (bracket === null ? 0 : limits.secondsPerChange);
  const actuations = passes.reduce((sum, pass) => sum + pass.frames.length, 0);
  return {
    seconds: tidy(seconds),
    passSeconds: passSeconds.map(tidy),
    actuations,
    bytes: fileBytes === undefined ? null : fileBytes * actuations,
    longestGapSeconds: tidy(longestGap(starts)),
  };
}

/** @returns seconds for moving the shutter, as a function of from and to; 0 where it need not move */
function changeSeconds(from: ShutterSetting | undefined, to: ShutterSetting, limits: BodyLimits): number {
  if (from?.tv === to.tv) return 0;
  if (from === undefined) return limits.secondsPerChange;
  const between = limits.shutters.filter(
    ({ tv }) => tv > Math.min(from.tv, to.tv) && tv <= Math.max(from.tv, to.tv),
  ).length;
  return limits.secondsPerChange + limits.secondsPerSetting * between;
}

function longestGap(starts: ReadonlyMap<number, number>): number {
  const inOrder = [...starts].sort(([a], [b]) => a - b).map(([, start]) => start);
  return inOrder
    .slice(1)
    .reduce((longest, start, index) => Math.max(longest, Math.abs(start - (inOrder[index] ?? start))), 0);
}

const tidy = (seconds: number): number => Math.round(seconds * 1000) / 1000;
