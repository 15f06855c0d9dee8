// The engine: states, events, the run.
export { EventLog, type Watcher } from './event-log.js';
export { Run, type RunOptions } from './run.js';
export { BODY_CHOICES, type BodyChoice, Station, type StationOptions } from './station.js';
