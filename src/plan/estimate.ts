// What a plan takes: time, spread, frames, storage, and how far apart in time neighbouring exposures are.
// Unlike the cost model, this walks the passes in their order and counts every settings change; clock.ts says
// how long each thing takes.
import type { ReleaseWay } from '../../shared/request.js';
import {
  type BodyLimits,
  type BracketShape,
  isSameShape,
  labelledShutters,
  type ShutterSetting,
  type Sixths,
} from '../exposure/index.js';
import { clockFor, type Exposure } from './clock.js';
import type { Estimate, Pass } from './types.js';

export interface EstimateOptions {
  /** Bytes of one file, if known. */
  readonly fileBytes?: number | undefined;
  /** Seconds to wait before each pass. */
  readonly settleSeconds?: number | undefined;
  /** The setting of the body's shutter before the first pass, to which it has to return after the last. */
  readonly standingTv?: Sixths | undefined;
  /** What one release fires; a frame if it is left out. */
  readonly release?: ReleaseWay | undefined;
  /** Whether the body takes a dark frame after a long exposure. */
  readonly noiseReduction?: boolean | undefined;
}

/** @param passes in firing order */
export function estimate(
  passes: readonly Pass[],
  limits: BodyLimits,
  {
    fileBytes,
    settleSeconds = 0,
    standingTv,
    release = 'frame',
    noiseReduction = false,
  }: EstimateOptions = {},
): Estimate {
  const clock = clockFor(limits, release, noiseReduction);
  let bracket: BracketShape | null = null;
  const standing = labelledShutters(limits).find(({ tv }) => tv === standingTv);
  let at: ShutterSetting | undefined = standing;
  const passSeconds: number[] = [];
  const starts = new Map<number, number>();
  const exposures: Exposure[] = [];
  for (const pass of passes) {
    const before = clock.now;
    if (!isSameShape(pass.shape, bracket)) clock.change(limits.secondsPerChange);
    bracket = pass.shape;
    clock.change(changeSeconds(at, pass.centreShutter, limits));
    at = pass.centreShutter;
    clock.wait(settleSeconds);
    const made = clock.fire(pass);
    pass.frames.forEach((frame, index) => {
      if (frame.wanted) starts.set(frame.offset, made[index]?.opens ?? clock.now);
    });
    exposures.push(...made);
    const isLast = passes.length === passSeconds.length + 1;
    passSeconds.push((isLast ? clock.allHere : clock.now) - before);
  }
  // The bracket goes off and the shutter goes back, once all is here.
  const back =
    at === undefined || standing === undefined
      ? limits.secondsPerChange
      : changeSeconds(at, standing, limits);
  const seconds = clock.allHere + back + (bracket === null ? 0 : limits.secondsPerChange);
  const actuations = passes.reduce((sum, pass) => sum + pass.frames.length, 0);
  return {
    seconds: tidy(seconds),
    spreadSeconds: tidy((exposures.at(-1)?.closes ?? 0) - (exposures[0]?.opens ?? 0)),
    passSeconds: passSeconds.map(tidy),
    actuations,
    bytes: fileBytes === undefined ? null : fileBytes * actuations,
    longestGapSeconds: tidy(longestGap(starts)),
  };
}

/**
 * @returns a function of two settings: the seconds to move the shutter from one to the other; 0 if it need
 *   not move
 */
function changeSeconds(from: ShutterSetting | undefined, to: ShutterSetting, limits: BodyLimits): number {
  if (from?.tv === to.tv) return 0;
  if (from === undefined) return limits.secondsPerChange;
  // All of them stand under one label.
  if (from.bulb === true && to.bulb === true) return 0;
  const between = labelledShutters(limits).filter(
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
