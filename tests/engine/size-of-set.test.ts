// How many pixels the frames of a set have: the first frame that can be measured says it, whichever look ends first, and it is known after
// a restart.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import sharp from 'sharp';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import type { SetMemo } from '../../src/set/book/keeper.js';
import { TestLink } from '../harness/links.js';
import { fireSet } from '../harness/set.js';

/** What becomes of the measuring of each file, in the order in which they came. */
const measured = vi.hoisted(() => ({ ways: [] as ('slowly' | 'not at all' | 'at once')[] }));

vi.mock('../../src/frames/read/pixel-size.js', async (original) => {
  const whole = await original<typeof import('../../src/frames/read/pixel-size.js')>();
  return {
    ...whole,
    readPixelSize: async (file: string, format: string) => {
      const way = measured.ways.shift() ?? 'at once';
      if (way === 'slowly') await pause(150);
      return way === 'not at all' ? null : whole.readPixelSize(file, format);
    },
  };
});

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  measured.ways.length = 0;
  await rm(into, { recursive: true, force: true });
});

/** Its second file is half as large as the others, once. */
function smaller(): TestLink {
  const link = Object.assign(new TestLink(), { saysSize: false });
  link.afterFire = async (count, file) => {
    if (count !== 2) return;
    await writeFile(file, await sharp(file).resize(150, 100).withMetadata().jpeg().toBuffer());
  };
  return link;
}

it('is that of the first frame, also if its look takes longest', async () => {
  measured.ways.push('slowly');
  const { record } = await fireSet(into, { link: smaller() });
  expect(record?.sentence).toBe('All 3 frames are verified.');
  expect(record?.setAside.map(({ reason }) => reason)).toEqual([
    expect.stringMatching(/^The picture has 150 x 100 pixels, and the other frames have 300 x 200/),
  ]);
});

it('is kept as soon as one can be measured, if the first cannot', async () => {
  measured.ways.push('not at all');
  const memos: SetMemo[] = [];
  await fireSet(into, { memos });
  expect(memos.at(-1)?.size).toEqual({ width: 300, height: 200 });
});
