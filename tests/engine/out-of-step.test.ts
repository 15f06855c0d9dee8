// A frame that was made and could not be stored leaves the connection out of step: what is on its way of the file would be the answer
// to whatever is asked next. Nothing is asked of the body before another connection was begun.

import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import type { Trouble } from '../../shared/state.js';
import type { FiredFrame, FireOptions } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { Steady } from '../../src/set/steady.js';
import { fireSet } from '../harness/set.js';

const FULL_AT = 3;

/** Once a file could not be stored, everything is refused until another connection is begun. */
class OutOfStep extends PracticeLink {
  kills = 0;
  private count = 0;
  private isOutOfStep = false;

  override async identify() {
    return { ...(await super.identify()), link: 'usb' as const };
  }
  override async changeSetting(name: string, value: string) {
    if (this.isOutOfStep) throw new EvenrungError('setting-not-taken', `The camera did not take ${value}.`);
    return super.changeSetting(name, value);
  }
  override async fire(options: FireOptions): Promise<FiredFrame> {
    this.count += 1;
    if (this.count < FULL_AT) return super.fire(options);
    this.isOutOfStep = true;
    throw new EvenrungError('storing-failed', 'The frame was made, but not stored.', { released: true });
  }
  kill(): void {
    this.kills += 1;
    this.isOutOfStep = false;
  }
}

let root = '';
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  vi.useRealTimers();
  await rm(root, { recursive: true, force: true });
});

it('the settings are put back over a new connection, at once', async () => {
  const practice = new PracticeBody(AT_ONCE);
  await practice.change('shutter', sixths(30));
  await practice.change('drive', 'continuous');
  const before = { ...practice.state };
  const link = new OutOfStep(practice);
  const { state, record, events } = await fireSet(root, { link });
  const troubles = events.flatMap(({ happening }) =>
    happening.type === 'trouble' ? [happening.trouble] : [],
  );
  expect(state).toBe('halted');
  expect(link.kills).toBe(1);
  expect(troubles).toEqual([]);
  expect({ ...practice.state }).toEqual(before);
  expect(record?.notPutBack).toEqual([]);
  expect(record?.sentence).toMatch(/^Failed after 2 of 3 frames\. .*The frame was made, but not stored\.$/);
});

/** @returns how long it was tried in all, and what was told to come next */
async function patience(code: 'setting-not-taken' | 'not-put-back', isPuttingBack: boolean) {
  vi.useFakeTimers({ toFake: ['setTimeout', 'clearTimeout', 'performance'] });
  const troubles: Trouble[] = [];
  const steady = new Steady({
    patienceMs: undefined,
    isStopping: () => false,
    isPuttingBack: () => isPuttingBack,
    checkBody: async () => undefined,
    tell: (trouble) => {
      if (trouble !== null) troubles.push(trouble);
    },
  });
  const since = performance.now();
  const using = steady
    .use(() => Promise.reject(new EvenrungError(code, 'No.')), new Set([code]))
    .catch(() => (performance.now() - since) / 1000);
  await vi.advanceTimersByTimeAsync(120_000);
  return { seconds: await using, next: troubles.map(({ next }) => next) };
}

it('settings that are refused when they are put back are tried for the minute that is told', async () => {
  const { seconds, next } = await patience('not-put-back', true);
  expect(seconds).toBeGreaterThan(59);
  expect(seconds).toBeLessThan(61);
  expect(next).toEqual([
    "Evenrung tries again for 60 s. If that fails, the camera's settings are put back when it is next connected.",
  ]);
});

it('a setting that is refused for a frame is tried for the seconds that are told', async () => {
  const { seconds, next } = await patience('setting-not-taken', false);
  expect(seconds).toBeGreaterThan(2.9);
  expect(seconds).toBeLessThan(4);
  expect(next).toEqual([
    'Evenrung tries again for 3 s. If that fails, the set ends; verified frames are kept.',
  ]);
});
