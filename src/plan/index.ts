// Span, step and body limits to passes. Pure.

export { type End, type Extension, extendedMost, extendPlan, withoutFrames } from './extend.js';
export { planSet, planWritten, resolveBase, type WrittenPlanRequest } from './plan.js';
export { type MeteredAt, placeReadings } from './readings.js';
export { isSun, nextTest, testExposures } from './sounding/next.js';
export { mustHaveStep } from './sounding/place.js';
export {
  MOST_SOUNDING_SECONDS,
  MOST_TEST_FRAMES,
  type Next,
  type Proposed,
  type Seen,
  type SeenEnd,
  type SeenLost,
  type Shown,
  type SoFar,
  type SoundingAt,
  type TestExposure,
  type TestPurpose,
} from './sounding/types.js';
export { type LostAtEnds, MAY_BE_SUN, percent, SUN_SEEN, whyInWords } from './sounding/words.js';
export {
  limitsFromStated,
  meteredFirst,
  readInOneGo,
  STATED_DEFAULTS,
  type StatedLimits,
} from './stated-limits.js';
export type { Conditions, Estimate, Pass, Plan, PlannedFrame, PlanRequest } from './types.js';
export { fromWirePlan, toWirePlan } from './wire.js';
