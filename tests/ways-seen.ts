// Set-up of every test file: notes which ways between states it takes (assertWay tells of each). tests/journal writes states by hand,
// also such as no set goes through, and does not count; nor does what runs in a process of its own.

import { subscribe } from 'node:diagnostics_channel';
import { appendFileSync, mkdirSync } from 'node:fs';
import path from 'node:path';
import { expect } from 'vitest';
import { WAY_TAKEN, type WayTaken } from '../src/journal/ways.js';
import { WAYS_FOLDER } from './ways-taken.js';

const SEEN = Symbol.for('evenrung:ways-seen');
const inWorker = globalThis as unknown as Record<symbol, Set<string> | undefined>;

// Many files share a worker.
if (inWorker[SEEN] === undefined) {
  const seen = new Set<string>();
  inWorker[SEEN] = seen;
  subscribe(WAY_TAKEN, (message) => {
    const { table, from, to } = message as WayTaken;
    const way = `${table}: ${from} -> ${to}`;
    if (
      seen.has(way) ||
      expect.getState().testPath?.includes(`${path.sep}tests${path.sep}journal${path.sep}`)
    )
      return;
    seen.add(way);
    mkdirSync(WAYS_FOLDER, { recursive: true });
    appendFileSync(path.join(WAYS_FOLDER, `${process.pid}.txt`), `${way}\n`);
  });
}
