// What only the link over the npm package gphoto2 does.
import { cp, mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { expect, test } from 'vitest';
import { SupervisedLink } from '../../src/camera/process/supervised-link.js';
import { CAMERA_PROCESS } from '../built.js';
import { withLinkedBody } from './linked-body.js';

test('limits say how long an exposure may be on the link', () =>
  withLinkedBody('amount', async ({ link }) => {
    const limits = await link.readLimits();
    expect(limits.longestSeconds).toBe(60);
    expect(limits.secondsPerChange).toBeGreaterThan(0);
    expect(limits.secondsPerFrame).toBeGreaterThan(0);
  }));

test('without the package gphoto2 the sentence says what to install', async () => {
  // The compiled program in a place from where no package can be found.
  const bare = await mkdtemp(path.join(tmpdir(), 'evenrung-bare-'));
  const entry = path.join(bare, path.basename(CAMERA_PROCESS));
  const link = new SupervisedLink({
    kind: 'usb',
    home: path.join(bare, 'home'),
    log: () => undefined,
    entry,
  });
  try {
    await writeFile(path.join(bare, 'package.json'), JSON.stringify({ type: 'module' }));
    await cp(path.dirname(CAMERA_PROCESS), bare, { recursive: true });
    await expect(link.identify()).rejects.toMatchObject({
      code: 'usb-not-available',
      message: expect.stringContaining('Install libgphoto2'),
    });
  } finally {
    await link.letGo();
    await rm(bare, { recursive: true, force: true });
  }
});
