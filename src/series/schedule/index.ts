// Runs on a schedule: when sets begin, what they take together, what to be careful of. Knows plans; no run, no body, no file.
export { type Clock, type Sources, systemClock } from '../../system/clock.js';
export { estimateSchedule, type ScheduleEstimate, type SetTakes, scheduleInWords } from './estimate.js';
export {
  type FitsAsked,
  type FitsVerdict,
  fits,
  type GiveUp,
  slowestBaseThatFits,
  whatToGiveUp,
} from './fits.js';
export { foreseeSchedule, type SetEstimate, zoneHere } from './foresee.js';
export { handySeconds } from './handy.js';
export { type Circumstances, lastSetEnds, resolveSchedule, slotStart, slotStarts } from './resolve.js';
export {
  type NextSlot,
  type Sleep,
  type Slot,
  SlotClock,
  type SlotProgress,
  type Waited,
} from './slots.js';
export { sunEvents } from './sun.js';
export { crossesSunrise, type SunriseCaution } from './sunrise.js';
