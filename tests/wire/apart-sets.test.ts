// Whole sets over the direct way, on every virtual body: frame by frame, and whole passes from one release.
import { describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { Body } from '../../src/camera/index.js';
import { planSet, resolveBase } from '../../src/plan/index.js';
import { fireSet, offsetsOf } from '../harness/set.js';
import { type LinkedBody, withLinkedBody } from './linked-body.js';
import { FACES, type FaceName } from './ptp/plugged-body.js';

/** Of these the wire shows no bracket. */
const WITHOUT: ReadonlySet<FaceName> = new Set(['hidden', 'standard']);

const directly = (face: FaceName, during: (linked: LinkedBody) => Promise<void>) =>
  withLinkedBody(face, during, { way: 'direct' });

describe.each(FACES)('%s, reached directly', (face) => {
  it('makes nine frames frame by frame, every file whole', () =>
    directly(face, async ({ link, into, body: practice }) => {
      const body = await Body.meet(link);
      expect(body.isApart).toBe(true);
      const before = practice.shots.length;
      const { state, record, run } = await fireSet(into, { frames: 9, body });
      expect(run.error).toBe(null);
      expect(state).toBe('complete');
      expect(practice.shots.length - before).toBe(9);
      expect(record?.setAside).toEqual([]);
      expect(record?.strays).toEqual([]);
    }));
});

describe.each(FACES.filter((face) => !WITHOUT.has(face)))('%s, reached directly', (face) => {
  it('makes whole passes from one release, and the drive is as it was', () =>
    directly(face, async ({ link, into, body: practice }) => {
      const body = await Body.meet(link);
      // Where the library moves the target it is moved on once, and stays.
      await body.keepOnCard();
      const base = resolveBase('1/60', body.limits);
      const wanted = {
        offsets: offsetsOf(9),
        step: sixths(6),
        mode: 'manual',
        settleSeconds: 0,
        base,
      } as const;
      const plan = planSet({ ...wanted, release: 'pass' }, body.limits);
      expect(plan.passes.every(({ shape }) => shape?.isOneRelease)).toBe(true);
      const found = { ...practice.state };
      const before = practice.shots.length;
      const { state, record, run } = await fireSet(into, { frames: 9, body, plan });
      expect(run.error).toBe(null);
      expect(state).toBe('complete');
      expect(practice.shots.length - before).toBe(9);
      expect(record?.setAside).toEqual([]);
      expect(record?.strays).toEqual([]);
      // Where files are kept stays on the card as long as the body is connected.
      expect({ ...practice.state, target: found.target }).toEqual(found);
    }));
});
