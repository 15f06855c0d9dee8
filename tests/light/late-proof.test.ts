// Programs that are really killed right after the end of a set, and what makes its proof later: a daemon as it begins, and `fire` before it ends.
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, expect, it, onTestFinished } from 'vitest';
import { readSetRecord } from '../../shared/set-record.js';
import { checkSet, exifTool } from '../../src/frames/index.js';
import { run, start } from '../built.js';

let root = '';
beforeAll(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterAll(async () => {
  await exifTool.end();
  await rm(root, { recursive: true, force: true });
});

const FIRE = ['fire', '--frames', '3', '--step', '2', '--base', '1/60', '--body', 'practice'];
const OF_PROOF = ['coverage.png', 'preview.jpg', 'radiance.hdr'];

it('a daemon as it begins, and `fire` before it ends, make the proof of a set whose program was killed', async () => {
  const into = path.join(root, 'sets');
  const env = { XDG_STATE_HOME: path.join(root, 'state'), EVENRUNG_LIGHT: 'on' };
  const foldersOf = async () => (await readdir(into)).sort().map((name) => path.join(into, name));
  const proofIn = async (folder: string) =>
    (await readdir(folder)).filter((name) => OF_PROOF.slice(1).includes(name));
  const recordOf = async (folder: string) =>
    readSetRecord(await readFile(path.join(folder, 'set.json'), 'utf8')).record;

  const first = start([...FIRE, '--into', into], env);
  await first.until(/All 3 frames are verified/);
  first.signal('SIGKILL');
  await first.ended;
  const [killed = ''] = await foldersOf();
  expect(await proofIn(killed)).toEqual([]);
  expect((await recordOf(killed)).complete).toBe(true);

  const daemon = start(['serve', '--body', 'practice', '--port', '0', '--into', into], env);
  onTestFinished(() => daemon.signal('SIGKILL'));
  const [, address = ''] = await daemon.until(/Panel: (http:\S+?)[ "]/);
  await daemon.until(/The proof that the set in .* lacked is written\./);
  const { light } = await recordOf(killed);
  expect(light?.proof).toMatchObject({
    isMade: true,
    sentence: expect.stringContaining('A proof of 3 frames'),
  });
  expect(light?.frames.map(({ unread }) => unread)).toEqual([null, null, null]);
  expect(await readdir(killed)).toEqual(expect.arrayContaining(OF_PROOF));
  expect((await checkSet(killed)).findings).toEqual([]);

  await daemon.until(/Body: Practice body/);
  await fetch(`${address}/api/run`, {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify({ frames: 3, step: 2, base: '1/60', name: 'Boathouse' }),
  });
  await daemon.until(/All 3 frames are verified/);
  daemon.signal('SIGKILL');
  await daemon.ended;
  const second = (await foldersOf()).find((folder) => folder !== killed) ?? '';
  expect(await proofIn(second)).toEqual([]);
  const { code, stdout } = await run([...FIRE, '--into', into], env);
  expect(code).toBe(0);
  expect(stdout).toContain('Writing the proof that an earlier set lacks.');
  for (const folder of await foldersOf()) expect((await recordOf(folder)).light?.proof?.isMade).toBe(true);
});
