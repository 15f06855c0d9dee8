// What a daemon maps while it fires sets (proc(5), maps): no decoder; only the process beside it does.
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, expect, it, onTestFinished } from 'vitest';
import { isAlive, start } from '../built.js';
import { childrenOf } from '../child-of.js';

let folder = '';
beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterAll(async () => {
  await rm(folder, { recursive: true, force: true });
});

/** The decoder's own file, and the library behind it. */
const DECODER = /\/sharp-[^/]+\.node$|\/libvips/m;

const mapped = async (pid: number) => DECODER.test(await readFile(`/proc/${pid}/maps`, 'utf8'));

it('the daemon verifies and hands over sets without a decoder, and ends the process that has one', async () => {
  const into = path.join(folder, 'sets');
  const daemon = start(['serve', '--body', 'practice', '--port', '0', '--into', into], {
    XDG_STATE_HOME: path.join(folder, 'state'),
  });
  onTestFinished(() => daemon.signal('SIGKILL'));
  const [, address = ''] = await daemon.until(/Panel: (http:\S+?)[ "]/);
  await daemon.until(/Body: Practice body/);
  const started = await fetch(`${address}/api/run`, {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify({ frames: 3, step: 1, name: 'Boathouse' }),
  });
  expect(started.status).toBe(202);
  await daemon.until(/All 3 frames are verified/);
  const [set = ''] = await readdir(into);
  expect(await readdir(path.join(into, set))).toContain('contact-sheet.jpg');
  const [pid = Number.NaN] = await childrenOf(daemon, 'picture-process.js');
  expect(await mapped(daemon.pid)).toBe(false);
  expect(await mapped(pid)).toBe(true);
  daemon.signal('SIGTERM');
  expect((await daemon.ended).code).toBe(130);
  await expect.poll(() => isAlive(pid)).toBe(false);
});
