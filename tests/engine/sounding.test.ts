// Soundings over practice bodies whose light is known: what is fired, what is proposed, what is left behind.
import { mkdtemp, readdir, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { type SoundingView, soundingViewSchema } from '../../shared/sounding.js';
import { AT_ONCE, PracticeBody, type PracticeOptions } from '../../src/camera/practice/model.js';
import type { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { type PracticeScene, STILL } from '../../src/camera/practice/view.js';
import { sixths } from '../../src/exposure/index.js';
import { LIGHT_PROCESS } from '../built.js';
import { ApartTestLink, TestLink } from '../harness/links.js';
import { openStation, stateIn } from '../harness/station.js';

let root = '';
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(root, { recursive: true, force: true });
});

const light = { entry: LIGHT_PROCESS };
const inScene = (scene: PracticeScene, more: Partial<PracticeOptions> = {}): PracticeBody =>
  new PracticeBody({ ...AT_ONCE, picture: 'full', view: { ...STILL, scene }, ...more });

async function taken(link: PracticeLink, asked: object = {}): Promise<SoundingView> {
  const { station } = await openStation(root, link, { light });
  try {
    return soundingViewSchema.parse(await station.sound({ step: 1, ...asked }).ended);
  } finally {
    await station.close();
  }
}

describe('a sounding of the boathouse at dusk', () => {
  it('proposes', { timeout: 300_000 }, async () => {
    for (const scene of ['dusk', 'day', 'lamp', 'flat', 'spot'] as const) {
      const view = await taken(new TestLink(inScene(scene)));
      console.log(JSON.stringify(view, null, 1));
    }
  });
});
