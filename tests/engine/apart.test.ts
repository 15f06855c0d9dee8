// A set over a link that takes release and fetch apart: the practice body in this process, with pictures that are larger than a head.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { Body } from '../../src/camera/index.js';
import { PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { PRACTICE_SHAPES, type PracticeOptions } from '../../src/camera/practice/shapes.js';
import { planSet, resolveBase } from '../../src/plan/index.js';
import { fireSet, offsetsOf } from '../harness/set.js';

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(into, { recursive: true, force: true });
});

const QUICK = { change: 0, changePerSetting: 0, releaseLag: 0.01, cycle: 0.02, exposureScale: 0.1 };

async function bodyOf(options: Partial<PracticeOptions> = {}) {
  const practice = new PracticeBody({ timing: QUICK, picture: 'full', ...options });
  const link = new PracticeLink(practice, { isApart: true });
  return { practice, link, body: await Body.meet(link) };
}

describe.each(PRACTICE_SHAPES)('a body of the shape %s', (shape) => {
  it('is fired frame by frame, and every file comes whole', async () => {
    const { body, practice } = await bodyOf({ shape });
    const { state, record } = await fireSet(into, { frames: 5, body });
    expect(state).toBe('complete');
    expect(practice.shots.length).toBe(5);
    expect(record?.frames.map(({ state: of }) => of)).toEqual(Array(5).fill('verified'));
    expect(record?.setAside).toEqual([]);
  });
});

describe.each(PRACTICE_SHAPES.filter((shape) => shape !== 'none'))(
  'a body of the shape %s with a bracket',
  (shape) => {
    it('fires whole passes from one release', async () => {
      const { body, practice } = await bodyOf({ shape });
      const base = resolveBase('1/60', body.limits);
      const wanted = {
        offsets: offsetsOf(9),
        step: sixths(6),
        mode: 'manual',
        settleSeconds: 0,
        base,
      } as const;
      const plan = planSet({ ...wanted, release: 'pass' }, body.limits);
      expect(plan.passes.every((pass) => pass.shape?.isOneRelease === true)).toBe(true);
      const { state, record } = await fireSet(into, { frames: 9, body, plan });
      expect(state).toBe('complete');
      expect(practice.shots.length).toBe(9);
      expect(record?.setAside).toEqual([]);
      expect(practice.state.drive).toBe('single');
    });
  },
);
