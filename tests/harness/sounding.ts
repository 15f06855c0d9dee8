// Soundings over a practice body in this process, in front of a scene whose light is known.
import type { SoundingView } from '../../shared/sounding.js';
import { soundingViewSchema } from '../../shared/sounding.js';
import type { Link } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody, type PracticeOptions } from '../../src/camera/practice/model.js';
import { type PracticeScene, STILL } from '../../src/camera/practice/view.js';
import { LIGHT_PROCESS } from '../built.js';
import { openStation } from './station.js';

/** A body whose pictures are large enough to be judged. */
export const bodyBefore = (scene: PracticeScene, more: Partial<PracticeOptions> = {}): PracticeBody =>
  new PracticeBody({ ...AT_ONCE, picture: 'full', view: { ...STILL, scene }, ...more });

export const AT_BUILT = { light: { entry: LIGHT_PROCESS } };

/**
 * @param root an existing folder
 * @returns the sounding at its end
 */
export async function soundOver(
  root: string,
  link: Link,
  asked: object = {},
  options = AT_BUILT,
): Promise<SoundingView> {
  const { station } = await openStation(root, link, options);
  try {
    return soundingViewSchema.parse(await station.sound({ step: 1, ...asked }).ended);
  } finally {
    await station.close();
  }
}

/** @returns the shutter times of the darkest and of the brightest frame that is proposed */
export const endsProposed = ({ proposal }: SoundingView): readonly (string | null)[] =>
  proposal === null ? [] : [proposal.darkest.shutter, proposal.brightest.shutter];
