// When a frame was fired, stored and verified, as the program has it and as the journal has it: after a crash the record is made from the
// journal, and has to say the same.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, it } from 'vitest';
import type { FrameState } from '../../shared/state.js';
import { Journal } from '../../src/journal/index.js';
import { NO_TIMES, timesAfter } from '../../src/set/set-frame.js';
import { frame, RUN, setBegun } from './journal-sample.js';

let root = '';
let journal: Journal;
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(root);
  journal.beginRun(RUN);
  journal.beginSet(setBegun('a-set'));
});
afterEach(async () => {
  journal.close();
  await rm(root, { recursive: true, force: true });
});

it.each<[FrameState, ...FrameState[]]>([
  ['armed', 'fired', 'stored', 'verified'],
  ['armed', 'fired', 'stored', 'rejected', 'armed', 'fired'],
  ['armed', 'fired', 'stored', 'rejected', 'armed', 'fired', 'rejected'],
  ['armed', 'fired', 'stored', 'verified', 'rejected', 'armed', 'fired', 'stored'],
  ['armed', 'fired', 'stored', 'verified', 'verified'],
  ['stored', 'verified', 'planned', 'armed', 'fired', 'rejected', 'stored'],
])('%s %s %s %s %s %s %s: the program and the journal have the same times', (...ways) => {
  let state: FrameState = 'planned';
  let times = NO_TIMES;
  for (const next of ways) {
    journal.frameChanged('a-set', frame(3, next));
    times = timesAfter(times, state, next);
    state = next;
    const stored = journal.set('a-set')?.frames[2] ?? NO_TIMES;
    const isThere = (at: string | null) => at !== null;
    expect([stored.firedAt, stored.storedAt, stored.verifiedAt].map(isThere)).toEqual(
      [times.firedAt, times.storedAt, times.verifiedAt].map(isThere),
    );
  }
});
