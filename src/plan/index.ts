// Span, step and body limits to passes. Pure.
export {
  type Pass,
  type Plan,
  type PlannedFrame,
  type PlanRequest,
  planSet,
  resolveBase,
  toWirePlan,
} from './plan.js';
export {
  limitsFromStated,
  meteredFirst,
  readCounts,
  STATED_DEFAULTS,
  type StatedLimits,
} from './stated-limits.js';
