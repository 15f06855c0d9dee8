// The disk of the journal is full in the middle of a set, and has room again while the same program still runs.
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import Sqlite from 'better-sqlite3';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { readSetRecord } from '../../shared/set-record.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { checkSet } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { TestLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';

const NINE = { frames: 9, step: 1, base: '1/60' };
const FULL =
  /What happens cannot be kept in the journal .*journal\.sqlite: the disk is full\. Make room there, then fire again\./;

let root = '';
let journal: Journal;
let body: PracticeBody;
let isFull = false;

beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
  body = new PracticeBody(AT_ONCE);
  isFull = false;
  const inside = journal as unknown as { transaction: (work: () => unknown) => unknown };
  const real = inside.transaction;
  inside.transaction = (work) => {
    if (isFull) throw new Sqlite.SqliteError('database or disk is full', 'SQLITE_FULL');
    return real(work);
  };
});
afterEach(async () => {
  journal.close();
  await rm(root, { recursive: true, force: true });
});

const station = () => openStation(root, new TestLink(body), { journal });

/** Full from when the fourth frame was released on. */
async function halted() {
  const at = await station();
  at.events.watch(({ happening }) => {
    if (happening.type === 'frame' && happening.frame.state === 'fired' && body.shots.length === 3)
      isFull = true;
  });
  await at.station.start(NINE);
  await at.station.settled();
  return at;
}

it('the set halts with a sentence of what to do, and what was made is in its folder and its record', async () => {
  const { events, logged, station: at } = await halted();
  const { run } = events.state;
  expect(run).toMatchObject({ state: 'halted', error: 'storing-failed' });
  expect(run?.sentence).toMatch(/^Failed after 4 of 9 frames\. Frame \d /);
  expect(run?.sentence).toMatch(FULL);
  expect(logged.join()).not.toMatch(/cannot end|no way/);
  const { findings } = await checkSet(run?.folder ?? '');
  expect(findings.map(({ code }) => code)).toEqual(['set-incomplete']);
  // Nothing is begun, and nothing gone on with, before it can be kept.
  for (const work of [() => at.start(NINE), () => at.resume(), () => at.complete(run?.set.id ?? '')])
    await expect(work()).rejects.toMatchObject({ code: 'storing-failed' });
  expect(await readdir(path.join(root, 'sets'))).toHaveLength(1);
  await at.close();
});

it('with room again another set can be fired at once, and the first one has ended', async () => {
  const { events, station: at } = await halted();
  const first = events.state.run?.set.id ?? '';
  isFull = false;
  await at.start(NINE);
  await at.settled();
  expect(events.state.run?.state).toBe('complete');
  expect(journal.set(first)).toMatchObject({ state: 'halted', error: 'storing-failed', verified: 4 });
  expect(journal.sets()).toHaveLength(2);
  expect(journal.unfinishedRun()).toBeNull();
  await at.close();
});

it('with room again the first set can be completed: only what is missing is fired', async () => {
  const { events, station: at } = await halted();
  isFull = false;
  await at.complete(events.state.run?.set.id ?? '');
  await at.settled();
  expect(events.state.run?.state).toBe('complete');
  expect(body.shots).toHaveLength(9);
  const folder = events.state.run?.folder ?? '';
  expect((await checkSet(folder)).findings).toEqual([]);
  const { record } = readSetRecord(await readFile(path.join(folder, 'set.json'), 'utf8'));
  expect([record.setAside, record.strays]).toEqual([[], []]);
  await at.close();
});
