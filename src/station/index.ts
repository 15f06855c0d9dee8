// Joins the rooms: one set, one series or one lesson at a time; the events that everyone sees; going on after an end.
export { Alarm } from './alarm.js';
export { EventLog } from './event-log.js';
export { findSet, type KeptSet, newestSets, setOnDisk } from './kept-sets.js';
export { Station } from './station.js';
