// Joins the rooms: one set, one series or one lesson at a time; the events that everyone sees; resuming after
// a crash.

export { filesInCamera, type Wanted } from './again/choose.js';
export { Alarm } from './alarm.js';
export { EventLog } from './event-log.js';
export { setOnDisk } from './set-on-disk.js';
export { Station } from './station.js';
