// What every run does, kept on disk: written as it happens, read again after a crash.
export { journalFile, type KeptAside } from './database.js';
export { Journal, type JournalOptions } from './journal.js';
export { JournalReader, type Page, type UnfinishedRun } from './reader.js';
export { isDamage, refusedAtOpening } from './refused.js';
export { makeReady } from './state-folder.js';
export type {
  Aside,
  FrameFile,
  FrameTimes,
  ListedSet,
  RunBegun,
  RunEnded,
  RunKind,
  RunOutcome,
  SetBegun,
  SetChange,
  StoredFrame,
  StoredRun,
  StoredSet,
  Stray,
  Transition,
  Versioned,
  WholeRunState,
} from './stored.js';
