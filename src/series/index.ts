// Sets again and again: when they begin, and a base and a span that follow the light.
export { lineSoFar } from './line.js';
export { estimateSchedule, scheduleInWords } from './schedule/estimate.js';
export { fits, slowestBaseThatFits, whatToGiveUp } from './schedule/fits.js';
export { foreseeSchedule, zoneHere } from './schedule/foresee.js';
export { handySeconds } from './schedule/handy.js';
export { lastSetEnds, resolveSchedule, slotStarts } from './schedule/resolve.js';
export { type Sleep, SlotClock, type SlotProgress } from './schedule/slots.js';
export { sunEvents } from './schedule/sun.js';
export { crossesSunrise } from './schedule/sunrise.js';
export {
  asPlaced,
  placedOf,
  SCHEDULED_OPTIONS_VERSION,
  type ScheduledOptions,
  scheduledIn,
} from './scheduled-options.js';
export {
  followerFor,
  type Hands,
  type ScheduledMemo,
  ScheduledSets,
  scheduledMemoIn,
} from './scheduled-sets.js';
export { Sequence, type SequenceOptions } from './sequence.js';
export type { EndedSet, SetMaker } from './set-maker.js';
export { type SpanLimits, spanLimits } from './span.js';
export { mostOfSpan } from './span-room.js';
export type { SequenceEnd } from './tally.js';
