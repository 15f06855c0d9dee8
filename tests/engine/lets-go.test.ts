// What a station lets go of: a run holds the small copies of its frames, and a daemon that fires for weeks must not keep them all.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import { expect, it, onTestFinished } from 'vitest';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { openStation } from '../harness/station.js';

setFlagsFromString('--expose-gc');
const collect = runInNewContext('gc') as () => void;

it('of the sets that were fired, a station keeps the last and the one before', async () => {
  const root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  onTestFinished(() => rm(root, { recursive: true, force: true }));
  const { station, events } = await openStation(root, new PracticeLink(new PracticeBody(AT_ONCE)));
  onTestFinished(() => station.close());
  const runs: WeakRef<object>[] = [];
  for (let set = 1; set <= 4; set += 1) {
    await station.start({ frames: 3, step: 1, base: '1/60' });
    await station.settled();
    const run = station.runWithId(events.state.run?.id ?? '');
    if (run === undefined) throw new Error('There is no run.');
    runs.push(new WeakRef(run));
  }
  await expect
    .poll(() => {
      collect();
      return runs.map((run) => run.deref() !== undefined);
    })
    .toEqual([false, false, true, true]);
});
