// Span, step and body limits to passes. Pure.

export { type End, type Extension, extendedMost, extendPlan, withoutFrames } from './extend.js';
export { planSet, planWritten, resolveBase, type WrittenPlanRequest } from './plan.js';
export { type MeteredAt, placeReadings } from './readings.js';
export {
  limitsFromStated,
  meteredFirst,
  readInOneGo,
  STATED_DEFAULTS,
  type StatedLimits,
} from './stated-limits.js';
export type { Conditions, Estimate, Pass, Plan, PlannedFrame, PlanRequest } from './types.js';
export { fromWirePlan, toWirePlan } from './wire.js';
