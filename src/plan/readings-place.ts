// The fewest frames of a body that hold two readings. Pure.
//
// Everything is counted in Tv of the exposure that puts a part on middle grey. The darkest frame may be as slow as keeps the bright
// reading from clipping, and the brightest has to be slow enough to lift the dark reading out of the noise. Of the placements that the
// shutter settings of the body allow, the fewest frames win, then those whose times can all be set by their labels, then the one that
// spares as much above as below; where that cannot be even, more is spared above: clipping is sudden, noise is not.
import { MOST_FRAMES } from '../../shared/request.js';
import {
  type BodyLimits,
  fastestThatHolds,
  fewestFrames,
  minusSixths,
  type Room,
  type ShutterSetting,
  type Sixths,
  sixths,
  slowestThatHolds,
  timesSixths,
} from '../exposure/index.js';

/** Where two readings lie: Tv of the exposures that put them on middle grey. */
export interface Scene {
  readonly darkestTv: Sixths;
  readonly brightestTv: Sixths;
  readonly room: Room;
}

/** The frames of a set, the darkest first. */
export interface Placement {
  readonly tvs: readonly Sixths[];
  readonly step: Sixths;
}

/** @returns the fewest frames that hold both readings; null if the settings of the body carry none */
export function place(
  { darkestTv, brightestTv, room }: Scene,
  step: Sixths,
  limits: BodyLimits,
): Placement | null {
  const settings = new Map(usableOf(limits).map((setting) => [setting.tv, setting]));
  const slowest = slowestThatHolds(brightestTv, room);
  const fastest = fastestThatHolds(darkestTv, room);
  const fewest = fewestFrames(minusSixths(brightestTv, darkestTv), room, step);
  for (let frames = fewest; frames <= Math.min(MOST_FRAMES, mostFrames(settings, step)); frames += 1) {
    // The range in which the darkest frame may lie: from the place where the last frame is just slow enough,
    // to the place where the darkest just keeps from clipping.
    const end = fastest + step * (frames - 1);
    const starts = Array.from({ length: Math.max(0, end - slowest + 1) }, (_, more) =>
      sixths(slowest + more),
    );
    const placed = starts
      .map((start): Placement => ({ tvs: framesFrom(start, step, frames), step }))
      .filter(({ tvs }) => tvs.every((tv) => settings.has(tv)));
    const settable = placed.filter(({ tvs }) => tvs.every((tv) => settings.get(tv)?.settable));
    // Spare room above: how much faster the darkest frame is than it must be. Spare room below: how much
    // slower the brightest is.
    const uneven = ({ tvs: [start = sixths(0)] }: Placement) => start - slowest - (end - start);
    const [best] = (settable.length > 0 ? settable : placed).sort(
      (a, b) => Math.abs(uneven(a)) - Math.abs(uneven(b)) || uneven(b) - uneven(a),
    );
    if (best !== undefined) return best;
  }
  return null;
}

/** The settings whose files the link brings back, longest first. */
export const usableOf = ({ shutters, longestSeconds }: BodyLimits): ShutterSetting[] =>
  shutters.filter(({ seconds }) => seconds <= longestSeconds);

const framesFrom = (start: Sixths, step: Sixths, frames: number): Sixths[] =>
  Array.from({ length: frames }, (_, index) => minusSixths(start, timesSixths(step, index)));

function mostFrames(settings: ReadonlyMap<Sixths, ShutterSetting>, step: Sixths): number {
  const tvs = [...settings.keys()];
  return tvs.length === 0 ? 0 : Math.floor((Math.max(...tvs) - Math.min(...tvs)) / step) + 1;
}
