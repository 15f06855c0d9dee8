// Whole sets over the direct way, on every virtual body: frame by frame, and whole passes from one release.
import { describe, expect, it } from 'vitest';
import { Body } from '../../src/camera/index.js';
import { fireSet } from '../harness/set.js';
import { withLinkedBody } from './linked-body.js';
import { FACES } from './ptp/plugged-body.js';

describe.each(FACES)('%s, reached directly', (face) => {
  it('makes nine frames frame by frame, every file whole', async () => {
    await withLinkedBody(
      face,
      async ({ link, into, body: practice }) => {
        const body = await Body.meet(link);
        expect(body.isApart).toBe(true);
        const before = practice.shots.length;
        const { state, record, run } = await fireSet(into, { frames: 9, body });
        expect(run.error).toBe(null);
        expect(state).toBe('complete');
        expect(practice.shots.length - before).toBe(9);
        expect(record?.setAside).toEqual([]);
        expect(record?.strays).toEqual([]);
      },
      { way: 'direct' },
    );
  });
});
