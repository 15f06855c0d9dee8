// Span, step and body limits to passes. Pure.
export type { Estimate } from './estimate.js';
export { type Pass, type Plan, type PlannedFrame, type PlanRequest, planSet, resolveBase } from './plan.js';
export {
  limitsFromStated,
  meteredFirst,
  readCounts,
  STATED_DEFAULTS,
  type StatedLimits,
} from './stated-limits.js';
export type { Conditions } from './warnings.js';
export { toWirePlan } from './wire.js';
