// What a program that was just started knows of the files that came before: the journal has their moments, the set folder their times.
import { copyFile, mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { readRecorded } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { lastCame } from '../../src/set/assign/last-came.js';
import { fireSet } from '../harness/set.js';
import { frame, RUN, setBegun } from '../journal/journal-sample.js';

let root = '';
let journal: Journal;
let now = new Date('2026-11-25T15:42:10.000Z');
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'), { onKeptAside: () => {}, now: () => now });
});
afterEach(async () => {
  journal.close();
  await rm(root, { recursive: true, force: true });
});

/** A set in which two frames came, the later one with the lower number. */
async function twoCame(): Promise<string> {
  const { folder, record } = await fireSet(root);
  const [file = '', other = ''] = record?.frames.map((one) => one.file ?? '') ?? [];
  journal.beginRun(RUN);
  journal.beginSet(setBegun('a-set', RUN.id, { folder }));
  for (const [number, name] of [[2, other] as const, [1, file] as const]) {
    for (const state of ['armed', 'fired', 'stored', 'verified'] as const) {
      now = new Date(now.getTime() + 1000);
      journal.frameChanged('a-set', frame(number, state, state === 'verified' ? { file: name } : {}));
    }
  }
  return path.join(folder, file);
}

it('is the last verified frame of that body, with the moments at which it was fired and came', async () => {
  const file = await twoCame();
  const { takenAt, exposureTime } = await readRecorded(file);
  expect(await lastCame(journal, RUN.body)).toEqual({
    last: { takenAt, digest: null },
    anchor: {
      takenAt,
      exposureTime,
      firedAt: '2026-11-25T15:42:16.000Z',
      storedAt: '2026-11-25T15:42:17.000Z',
    },
  });
});

it('is nothing for another body, without a set, or if the file is gone or tells no time', async () => {
  expect(await lastCame(journal, RUN.body)).toBeNull();
  const file = await twoCame();
  expect(await lastCame(journal, { ...RUN.body, serial: 'B-0008' })).toBeNull();
  await copyFile(path.join(path.dirname(file), 'set.json'), file);
  expect(await lastCame(journal, RUN.body)).toBeNull();
  await rm(file);
  expect(await lastCame(journal, RUN.body)).toBeNull();
});
