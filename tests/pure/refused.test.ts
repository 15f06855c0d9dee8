// What is said of a folder that takes no frames: the same thing to do, whenever it is found out.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { expect, it } from 'vitest';
import { untilStored } from '../../shared/refused.js';
import { nothingFired } from '../../src/camera/not-stored.js';
import { SetFolder } from '../../src/frames/index.js';

const of = (code: string) => Object.assign(new Error(code), { code });

it.each([
  ['ENOSPC', 'Free some space there, or choose another folder with --into; then fire again.'],
  ['EDQUOT', 'Free some space there, or choose another folder with --into; then fire again.'],
  ['EROFS', 'Make that disk writable, or choose another folder with --into; then fire again.'],
  ['EIO', 'Check that folder and its disk, or choose another folder with --into; then fire again.'],
])('%s: %s', (code, sentence) => {
  expect(untilStored(of(code))).toBe(sentence);
  expect(nothingFired('/sets', of(code)).message.endsWith(sentence)).toBe(true);
});

it('before a set the same is said as in the middle of one', async () => {
  const root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  try {
    const file = path.join(root, 'a file');
    await writeFile(file, '');
    await expect(SetFolder.check(path.join(file, 'sets'))).rejects.toMatchObject({
      code: 'folder-not-writable',
      message: expect.stringContaining(untilStored(of('ENOTDIR'))),
    });
  } finally {
    await rm(root, { recursive: true });
  }
});
