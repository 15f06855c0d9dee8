// What a sounding proposes is compared with what follows from the radiance of the practice scenes.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { Body } from '../../src/camera/index.js';
import { PRACTICE_SCENES } from '../../src/camera/practice/view.js';
import { sixths } from '../../src/exposure/index.js';
import { TestLink } from '../harness/links.js';
import { bodyBefore, endsProposed, soundOver } from '../harness/sounding.js';
import { wantedFrames } from './scene-ends.js';

let root = '';
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(root, { recursive: true, force: true });
});

describe.each(PRACTICE_SCENES)('in front of the scene %s', (scene) => {
  it.each([1, 2])(
    'the set %d EV apart is the one that its radiance asks for',
    { timeout: 120_000 },
    async (step) => {
      const link = new TestLink(bodyBefore(scene));
      const { limits } = await Body.meet(new TestLink(bodyBefore(scene)));
      const { aperture, iso } = link.of.state;
      const camera = { av: aperture, iso, times: link.of.times, limits };
      const wanted = await wantedFrames(scene, sixths(6 * step), camera);
      const view = await soundOver(root, link, { step });
      expect(view).toMatchObject({ state: 'proposed', proposal: { frames: wanted.length } });
      expect(endsProposed(view)).toEqual([wanted[0], wanted.at(-1)]);
      expect(view.frames.length).toBeLessThanOrEqual(8);
      expect(view.proposal?.darkest.isHeld && view.proposal.brightest.isHeld).toBe(true);
    },
  );
});
