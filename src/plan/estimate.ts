// How long a plan takes: exposures, the body's own time for each frame, and the settings changes between passes.
import type { BodyLimits } from '../exposure/index.js';
import type { Pass } from './plan.js';

/** @returns seconds for all passes and for switching the bracket off at the end, rounded to a millisecond */
export function estimateSeconds(passes: readonly Pass[], limits: BodyLimits): number {
  const frames = passes.flatMap((pass) => pass.frames);
  const exposures = frames.reduce((sum, frame) => sum + frame.shutter.seconds, 0);
  const total =
    exposures + frames.length * limits.secondsPerFrame + changes(passes) * limits.secondsPerChange;
  return Math.round(total * 1000) / 1000;
}

/** One change moves the centre; arming costs one more where the bracket differs from the pass before; and off again at the end. */
function changes(passes: readonly Pass[]): number {
  let count = 0;
  let armed = 0;
  for (const pass of passes) {
    const step = pass.shape?.step ?? 0;
    count += step === armed ? 1 : 2;
    armed = step;
  }
  return armed === 0 ? count : count + 1;
}
