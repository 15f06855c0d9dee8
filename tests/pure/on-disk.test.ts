// What of a set lies in its folder, by names and sizes alone.
import { appendFile, mkdir, mkdtemp, rename, rm, symlink, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { onDiskSchema } from '../../shared/kept.js';
import { lookOnDisk } from '../../src/frames/index.js';

let root = '';
let folder = '';
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  folder = path.join(root, 'set-20261125-164210');
  await mkdir(folder);
  for (const { file } of KEPT) await writeFile(path.join(folder, file), 'frame');
});
afterEach(() => rm(root, { recursive: true, force: true }));

const KEPT = [1, 2, 3].map((number) => ({ number, file: `0${number}.jpg`, bytes: 5 }));
const look = async () => onDiskSchema.parse(await lookOnDisk(folder, KEPT));
const at = (file: string) => path.join(folder, file);

describe('what lies in a set folder', () => {
  it('is whole if each file is there in its size', async () => {
    expect(await look()).toEqual({ state: 'whole', missing: [], changed: [], sentence: null });
  });

  it('any size will do if none was kept', async () => {
    await appendFile(at('01.jpg'), 'more');
    const kept = KEPT.map((one) => ({ ...one, bytes: null }));
    expect((await lookOnDisk(folder, kept)).state).toBe('whole');
  });

  it('lacks what was taken away, and what has another size; each is named', async () => {
    await rm(at('01.jpg'));
    await appendFile(at('03.jpg'), '.');
    expect(await look()).toEqual({
      ...{ state: 'lacking', missing: [1], changed: [3] },
      sentence:
        'The file of frame 1 is missing from the set folder. Put a copy back, or reshoot the frame. The file of frame 3 has changed its size since it came from the camera. Put a copy in its place, or move it away and reshoot the frame.',
    });
  });

  it('a link, or a folder, in the place of a file is no file', async () => {
    await rename(at('01.jpg'), path.join(root, 'elsewhere.jpg'));
    await symlink(path.join(root, 'elsewhere.jpg'), at('01.jpg'));
    await rm(at('02.jpg'));
    await mkdir(at('02.jpg'));
    expect(await look()).toMatchObject({ state: 'lacking', missing: [1, 2] });
  });

  it.each(['../outside.jpg', '', 'a/b.jpg'])(
    '%j: a name that leads outside is not followed',
    async (file) => {
      await writeFile(path.join(root, 'outside.jpg'), 'frame');
      expect(await lookOnDisk(folder, [{ number: 1, file, bytes: null }])).toMatchObject({ missing: [1] });
    },
  );

  it('is gone with its folder, and back with it', async () => {
    const away = path.join(root, 'away');
    await rename(folder, away);
    expect(await look()).toEqual({
      ...{ state: 'gone', missing: [1, 2, 3], changed: [] },
      sentence:
        'The set folder set-20261125-164210 is missing: it was moved or deleted, or its disk is not connected. Put it back, and the set is whole again.',
    });
    await writeFile(folder, 'a file');
    expect(await look()).toMatchObject({
      state: 'gone',
      sentence: 'The set folder set-20261125-164210 is missing: a file has its name.',
    });
    await rm(folder);
    await rename(away, folder);
    expect(await look()).toMatchObject({ state: 'whole' });
  });

  it('says why if the folder cannot be looked at', async () => {
    // A name that no file system takes.
    const told = await lookOnDisk(path.join(root, 'x'.repeat(300)), KEPT);
    expect(told).toMatchObject({ state: 'gone', sentence: expect.stringContaining('cannot be read: ') });
  });
});
