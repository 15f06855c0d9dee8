// Schemas and types of everything that crosses the wire. Imports nothing of src/.
export * from './access.js';
export * from './clipping.js';
export * from './errors.js';
export * from './ev.js';
export * from './fold.js';
export * from './kept.js';
export * from './pages.js';
export * from './plan.js';
export * from './profile.js';
export * from './readiness.js';
export * from './request.js';
export * from './run-request.js';
export * from './schedule.js';
export * from './set-record.js';
export * from './state.js';
export * from './stream.js';
export * from './watch.js';
