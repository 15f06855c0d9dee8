// A set folder that somebody deletes, or whose disk is disconnected, in the middle of a set or after it: the run says what is so, and a
// folder that is put back is gone on with as if nothing had been.
import { readdirSync, renameSync } from 'node:fs';
import { mkdtemp, readdir, readFile, rename, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { readSetRecord } from '../../shared/set-record.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { checkSet, exifTool } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { type EventLog, type Station, setOnDisk } from '../../src/station/index.js';
import { TestLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';

let root = '';
let into = '';
let journal: Journal;
let events: EventLog;
let link: TestLink;
let body: PracticeBody;
let station: Station;
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  into = path.join(root, 'sets');
  journal = await Journal.open(path.join(root, 'state'));
  body = new PracticeBody(AT_ONCE);
  link = new TestLink(body);
  ({ station, events } = await openStation(root, link, { journal }));
});
afterEach(async () => {
  await station.close();
  journal.close();
  await exifTool.end();
  await rm(root, { recursive: true, force: true });
});

const folder = async () => path.join(into, (await readdir(into))[0] ?? '');
const away = () => path.join(root, 'away');
const takeAway = async () => rename(await folder(), away());
const deleteIt = async () => rm(await folder(), { recursive: true });

async function fireNine() {
  await station.start({ frames: 9, step: 1, base: '1/60' });
  await station.settled();
  return last();
}

function last() {
  const [set] = journal.sets({ limit: 1 });
  if (set === undefined) throw new Error('There is no set.');
  return set;
}

const onDisk = () => setOnDisk(journal, last());

describe.each([
  ['deleted', deleteIt],
  ['moved', takeAway],
] as const)('%s in the middle of a set', (_, lose) => {
  it.each(['beforeFire', 'afterFire'] as const)('%s: the run stops, and says what is lost', async (when) => {
    const before = { ...body.state };
    link[when] = async (count) => {
      if (count !== 5) return;
      await vi.waitFor(() => expect(last().verified).toBe(4), 20_000);
      await lose();
    };
    const { state, sentence, error, verified, folder: kept } = await fireNine();
    expect([state, error, link.releases]).toEqual(['halted', 'set-folder-gone', 5]);
    // The pictures so far had been looked at when it went.
    expect(verified).toBe(4);
    expect(sentence).toBe(
      `Failed after ${verified} of 9 frames. The set folder ${kept} is missing, and the ${verified} frames in it: it was moved or deleted, or its disk was disconnected. Put it back and complete the set, or shoot the set again.`,
    );
    expect((await onDisk())?.state).toBe('gone');
    // No folder of that name is made anew, and the camera stands as it did.
    expect(await readdir(into)).toEqual([]);
    expect({ ...body.state }).toEqual(before);
  });
});

it('a folder that is put back is gone on with', async () => {
  link.beforeFire = async (count) => {
    if (count === 5) await takeAway();
  };
  const { folder: kept, id } = await fireNine();
  await expect(station.complete(id)).rejects.toMatchObject({ code: 'set-folder-gone' });
  await rename(away(), kept ?? '');
  expect(await onDisk()).toMatchObject({ state: 'whole' });
  await station.complete(id);
  await station.settled();
  expect(last()).toMatchObject({ state: 'complete', verified: 9, error: null });
  expect((await checkSet(kept ?? '')).findings).toEqual([]);
});

describe('gone before the record could be written', () => {
  beforeEach(() => {
    let verified = 0;
    events.watch(({ happening }) => {
      if (happening.type !== 'frame' || happening.frame.state !== 'verified') return;
      verified += 1;
      if (verified === 9) renameSync(path.join(into, readdirSync(into)[0] ?? ''), away());
    });
  });

  it('the set is not complete, and its end is made up once it is back', async () => {
    const { state, error, sentence, folder: kept, id } = await fireNine();
    expect([state, error]).toEqual(['halted', 'set-folder-gone']);
    expect(sentence).toMatch(
      /^Failed after 9 of 9 frames\. The set folder .* is missing, and the 9 frames in it/,
    );
    await rename(away(), kept ?? '');
    link.releases = 0;
    await station.complete(id);
    await station.settled();
    expect(last()).toMatchObject({ state: 'complete', verified: 9, sentence: 'All 9 frames are verified.' });
    expect(link.releases).toBe(0);
    const { record } = readSetRecord(await readFile(path.join(kept ?? '', 'set.json'), 'utf8'));
    expect(record.complete).toBe(true);
  });
});

it('one file taken away in the middle: the set is not complete, and says which', async () => {
  link.beforeFire = async (count) => {
    if (count === 8) await rm(path.join(await folder(), '04_-1EV.jpg'));
  };
  const { state, error, sentence } = await fireNine();
  expect([state, error]).toEqual(['halted', 'set-damaged']);
  expect(sentence).toMatch(/The file of frame 4 is missing from the set folder\. Put a copy back/);
  expect(await onDisk()).toMatchObject({ state: 'lacking', missing: [4] });
  await station.again(last().id, { frames: [4] });
  await station.settled();
  expect(last()).toMatchObject({ verified: 9 });
  expect(await onDisk()).toMatchObject({ state: 'whole' });
});

it('deleted after its end: it is not taken up again, and nothing is fired', async () => {
  const { id } = await fireNine();
  expect(await onDisk()).toMatchObject({ state: 'whole' });
  await deleteIt();
  expect(await onDisk()).toMatchObject({ state: 'gone' });
  link.releases = 0;
  await expect(station.again(id, { frames: [1] })).rejects.toMatchObject({ code: 'set-folder-gone' });
  expect(link.releases).toBe(0);
});
