// What every run does, kept on disk: written as it happens, read again after a crash.
export { journalFile, type KeptAside } from './database.js';
export { Journal } from './journal.js';
export { findSet, type KeptSet, newestSets } from './kept-sets.js';
export { JournalReader, type UnfinishedRun } from './reader.js';
export type {
  Aside,
  Extended,
  FrameFile,
  FrameTimes,
  LeftOut,
  ListedSet,
  Made,
  RunBegun,
  RunEnded,
  RunOutcome,
  SetBegun,
  StoredFrame,
  StoredMade,
  StoredRun,
  StoredSet,
  Stray,
  Transition,
} from './stored.js';
export { assertWay, FRAME_WAYS, RUN_WAYS } from './ways.js';
