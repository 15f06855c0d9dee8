// Soundings on the practice scenes: what is proposed, beside what follows from the radiance of the scene.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { performance } from 'node:perf_hooks';
import { Body } from '../../src/camera/index.js';
import { PRACTICE_SCENES } from '../../src/camera/practice/view.js';
import { ONE_EV } from '../../src/exposure/index.js';
import { TestLink } from '../harness/links.js';
import { bodyBefore, endsProposed, soundOver } from '../harness/sounding.js';
import { wantedFrames } from '../light/scene-ends.js';

/** From where the camera stands, and from 4 EV beside it either way: the same has to come of it. */
const STARTS = ['1/60', '1/1000', '1/4'];

/** @param entry of the process that looks at pictures */
export async function soundings(entry: string): Promise<void> {
  for (const scene of PRACTICE_SCENES) {
    const body = bodyBefore(scene);
    const { limits } = await Body.meet(new TestLink(body));
    const { aperture: av, iso } = body.state;
    const wanted = await wantedFrames(scene, ONE_EV, { av, iso, times: body.times, limits });
    const ends = [wanted[0], wanted.at(-1)].join(' ');
    const took: string[] = [];
    const proposed: string[] = [];
    for (const from of STARTS) {
      const root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
      const began = performance.now();
      const view = await soundOver(root, new TestLink(bodyBefore(scene)), { from }, { light: { entry } });
      took.push(`${view.frames.length} in ${((performance.now() - began) / 1000).toFixed(1)} s`);
      proposed.push(endsProposed(view).join(' '));
      await rm(root, { recursive: true, force: true });
    }
    const others = proposed.slice(1).filter((other) => other !== proposed[0]);
    console.log(
      `light sounding ${scene} proposed ${proposed[0]} wanted ${ends} (shutter times of the darkest and the brightest frame 1 EV apart; test frames ${took.join(', ')} from ${STARTS.join(', ')} s; ${others.length === 0 ? 'the same from each' : `otherwise ${others.join(', ')}`})`,
    );
  }
}
