// A schedule whose span follows, on the practice scene with its pictures really judged, and an invented clock.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { PracticeBody } from '../../src/camera/practice/model.js';
import { NO_TIME } from '../../src/camera/practice/shapes.js';
import { exifTool } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { openJudge } from '../../src/light/index.js';
import { LIGHT_PROCESS } from '../built.js';
import { Hands } from '../harness/hands.js';
import { TestLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';

let root = '';
let journal: Journal;
beforeAll(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
});
afterAll(async () => {
  journal.close();
  await exifTool.end();
  await rm(root, { recursive: true, force: true });
});

it('comes from three frames to those that hold the scene at dusk, and stays there', async () => {
  const hands = new Hands();
  const link = new TestLink(new PracticeBody({ timing: NO_TIME }));
  const { station } = await openStation(root, link, {
    ...{ journal, clock: hands },
    // Four minutes are more than any pictures take.
    sleep: async (milliseconds, signal) => {
      await station.proved();
      await hands.sleep(milliseconds, signal);
    },
    openJudge: () => openJudge({ entry: LIGHT_PROCESS }),
  });
  const { id } = await station.start({
    ...{ frames: 3, step: 1, base: '1/60', schedule: { every: '4min', count: 8 } },
    followSpan: { mostFrames: 15, mostPerSet: 6 },
  });
  await station.settled();
  await station.proved();
  const sets = [...journal.sets({ run: id, limit: 9 })].reverse().map(({ id: set }) => journal.set(set));
  expect(sets.map((set) => set?.state)).toEqual(Array(8).fill('complete'));
  const sizes = sets.map((set) => set?.frames.length ?? 0);
  const holds = sets.map((set) => set?.light?.coverage?.holds ?? null);
  expect([sizes[0], holds[0]], sets.flatMap((set) => set?.notes ?? []).join('\n')).toEqual([3, false]);
  // Eleven hold it (set.test.ts); what is told of stops that are missing lies within one of it.
  const last = sizes.at(-1) ?? 0;
  expect(Math.abs(last - 11), `${sizes}`).toBeLessThanOrEqual(1);
  expect(holds.at(-1)).toBe(true);
  expect(sizes.slice(-3)).toEqual([last, last, last]);
  await station.close();
}, 240_000);
