// How far a run is, from its frames alone: the clock of this device and the daemon's may differ. Pure.
import type { FrameView, RunView } from '../../shared/state.js';

export interface Progress {
  /** The current pass, counted from 1; null before the first and while frames are made up. */
  readonly pass: number | null;
  readonly passes: number;
  readonly verified: number;
  readonly frames: number;
  /** The current frame. */
  readonly frame: FrameView | null;
  readonly secondsLeft: number;
}

/** @param secondsSince how long ago the last event came */
export function progressOf(run: RunView, secondsSince: number): Progress {
  const frames = run.frames.length;
  const exposures = run.frames.reduce((sum, frame) => sum + frame.exposureTime, 0);
  // The part of the estimate that is not exposures, spread evenly: settings changes, release, transfer.
  const beside = Math.max(0, run.plan.estimate.seconds - exposures) / Math.max(1, frames);
  const left = (isInHand: boolean) =>
    run.frames
      .filter(({ state }) => (state === 'armed' || state === 'fired') === isInHand)
      .reduce((sum, frame) => sum + secondsFor(frame, beside), 0);
  const active = run.passes.findIndex((state) => state === 'arming' || state === 'firing');
  return {
    // A pass that the program was killed in stays open while its frames are made up.
    pass: active < 0 || run.state === 'making-up' ? null : active + 1,
    passes: run.passes.length,
    verified: run.frames.filter((frame) => frame.state === 'verified').length,
    frames,
    frame: run.frames.find((frame) => frame.state === 'armed' || frame.state === 'fired') ?? null,
    // If one release fires a whole pass, several frames are under way: time passes for all of them once.
    secondsLeft: left(false) + Math.max(0, left(true) - secondsSince),
  };
}

function secondsFor(frame: FrameView, beside: number): number {
  switch (frame.state) {
    case 'planned':
    case 'rejected':
    case 'armed':
      return frame.exposureTime + beside;
    case 'fired':
      return beside / 2;
    case 'stored':
    case 'verified':
      return 0;
  }
}
