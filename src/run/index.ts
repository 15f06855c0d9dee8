// The engine: states, events, the run.
export { Alarm } from './alarm.js';
export { EventLog, type Watcher } from './event-log.js';
export {
  BODY_CHOICES,
  type BodyChoice,
  Finder,
  type FinderOptions,
  type Found,
  type Surveyed,
} from './finder.js';
export {
  Journal,
  JournalReader,
  type ListedSet,
  type StoredFrame,
  type StoredRun,
  type StoredSet,
  type Transition,
} from './journal/index.js';
export { findSet, type KeptSet, newestSets, setOnDisk } from './kept-sets.js';
export type { LearnOptions, LearnStep } from './learn.js';
export { Owner, whoOwns } from './owner.js';
export { Run, type RunOptions } from './run.js';
export { crossesSunrise, foreseeSchedule, zoneHere } from './schedule/index.js';
export { Station, type StationOptions } from './station.js';
export { wallDay, wallSecond } from './wall-clock.js';
export { inTurn, isMissing, PRIVATE, setAside, writeWhole } from './whole-file.js';
