// What a sounding proposes is compared with what follows from the radiance of the practice scenes.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { Body } from '../../src/camera/index.js';
import { PRACTICE_SCENES } from '../../src/camera/practice/view.js';
import { sixths } from '../../src/exposure/index.js';
import { openJudge } from '../../src/light/index.js';
import { TestLink } from '../harness/links.js';
import { AT_BUILT, bodyBefore, endsProposed, soundOver } from '../harness/sounding.js';
import { pictureAt } from './practice-frames.js';
import { wantedFrames } from './scene-ends.js';

let root = '';
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(root, { recursive: true, force: true });
});

const CASES = [
  ...PRACTICE_SCENES.map((scene) => ({ scene, step: 1 })),
  { scene: 'dusk', step: 2, from: '1/1000' },
  { scene: 'day', step: 1, from: '1/4' },
] as const;

it.each(CASES)(
  '$scene, $step EV apart: the set is the one that its radiance asks for',
  { timeout: 120_000 },
  async ({ scene, step, ...more }) => {
    const link = new TestLink(bodyBefore(scene));
    const { limits } = await Body.meet(new TestLink(bodyBefore(scene)));
    const { aperture, iso } = link.of.state;
    const camera = { av: aperture, iso, times: link.of.times, limits };
    const wanted = await wantedFrames(scene, sixths(6 * step), camera);
    const view = await soundOver(root, link, { step, ...more });
    expect(view).toMatchObject({ state: 'proposed', proposal: { frames: wanted.length } });
    expect(endsProposed(view)).toEqual([wanted[0], wanted.at(-1)]);
    expect(view.frames.length).toBeLessThanOrEqual(8);
    expect(view.proposal?.darkest.isHeld && view.proposal.brightest.isHeld).toBe(true);
  },
);

it('a set that was placed so is judged to hold everything', { timeout: 120_000 }, async () => {
  const view = await soundOver(root, new TestLink(bodyBefore('day')), { step: 1 });
  const { from = '', to = '' } = view.proposal?.set ?? {};
  // At f/8 and ISO 100 the base, 1/320 s, is 2/3 EV darker than what is metered.
  const judge = openJudge(AT_BUILT.light);
  const offsets = Array.from({ length: Number(to) - Number(from) + 1 }, (_, index) => Number(from) + index);
  for (const [index, offsetEv] of offsets.entries()) {
    const file = path.join(root, `${index}.jpg`);
    await writeFile(file, await pictureAt('day', sixths(50 - 6 * offsetEv)));
    await judge.frame({ number: index + 1, offsetEv, picture: { file, kind: 'jpg' }, compare: false });
  }
  const { coverage } = await judge.coverage();
  expect(coverage).toMatchObject({ holds: true, highlights: { share: 0 }, shadows: { share: 0 } });
  await judge.close();
});
