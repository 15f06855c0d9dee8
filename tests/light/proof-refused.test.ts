// The disk is full when the proof of a set is to be written after its end: set folder and record stay as they
// were, the set says why it has no proof, and the proof is made as soon as there is room.
import { spawnSync } from 'node:child_process';
import { mkdirSync } from 'node:fs';
import { mkdir, mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { PracticeBody } from '../../src/camera/practice/model.js';
import { NO_TIME } from '../../src/camera/practice/shapes.js';
import { checkSet, exifTool } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { openJudge } from '../../src/light/index.js';
import { LIGHT_PROCESS } from '../built.js';
import { endedSet, recordIn } from '../harness/ended-set.js';
import { TestLink } from '../harness/links.js';
import { fill, fillerIn, mountSmall } from '../harness/small-disk.js';
import { openStation, setsIn } from '../harness/station.js';

let root = '';
let journal: Journal;
let isMounted = false;
beforeAll(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
  await mkdir(setsIn(root));
  isMounted = mountSmall(setsIn(root));
});
afterAll(async () => {
  journal.close();
  await exifTool.end();
  if (isMounted) spawnSync('umount', ['-l', setsIn(root)]);
  await rm(root, { recursive: true, force: true });
});

/** Without the right to mount a disk, folders stand where the files have to be written. */
const IN_THE_WAY = ['radiance.hdr.part', 'set.json.part'];

it('a proof that the disk refuses leaves the set as it was, and is made once there is room', async () => {
  const link = new TestLink(new PracticeBody({ timing: NO_TIME }));
  const judged = { journal, openJudge: () => openJudge({ entry: LIGHT_PROCESS }) };
  const made = { ...(await openStation(root, link, judged)), link };
  made.events.watch(({ happening }) => {
    if (happening.type !== 'run-state' || happening.state !== 'complete') return;
    if (isMounted) fill(setsIn(root));
    else for (const name of IN_THE_WAY) mkdirSync(path.join(happening.folder ?? '', name));
  });
  const set = await endedSet(journal, made, { frames: 3, step: 2, base: '1/60' });
  const record = await readFile(path.join(set.folder, 'set.json'), 'utf8');
  const files = (await readdir(set.folder)).filter((name) => !name.endsWith('.part'));
  await made.station.proved();
  const why = isMounted ? 'the disk is full' : 'it is a folder';
  const sentence = `The proof of the set could not be written into its folder: ${why}.`;
  expect(journal.set(set.id)).toMatchObject({
    state: 'complete',
    light: { proof: { isMade: false, sentence } },
  });
  expect(made.events.state.run?.light?.proof).toMatchObject({ isMade: false, sentence });
  expect(await readFile(path.join(set.folder, 'set.json'), 'utf8')).toBe(record);
  expect(
    (await readdir(set.folder)).filter((name) => isMounted || !IN_THE_WAY.includes(name)).sort(),
  ).toEqual(files.sort());
  expect((await checkSet(set.folder)).findings).toEqual([]);

  await made.station.close();
  if (isMounted) await rm(fillerIn(setsIn(root)));
  else for (const name of IN_THE_WAY) await rm(path.join(set.folder, name), { recursive: true });
  const { station } = await openStation(root, new TestLink(), judged);
  await station.proveLate();
  expect((await recordIn(set)).light?.proof).toMatchObject({ isMade: true });
  expect(await readdir(set.folder)).toEqual(expect.arrayContaining(['preview.jpg', 'radiance.hdr']));
  expect((await checkSet(set.folder)).findings).toEqual([]);
  await station.close();
});
