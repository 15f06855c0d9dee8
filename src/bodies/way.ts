// Which of the two ways to the library a camera is reached by, and why. Pure.
import type { BodyProfile } from '../../shared/profile.js';
import type { LinkWay } from '../camera/index.js';

export const WAY_CHOICES = ['auto', 'binding', 'direct'] as const;
/** `auto` takes the way that was learnt for the camera. */
export type WayChoice = (typeof WAY_CHOICES)[number];

export interface Reached {
  readonly way: LinkWay;
  /** One sentence. */
  readonly why: string;
}

/**
 * @param profile what was learnt of the camera that was met
 * @param library the library that was called directly, with its version; null if the camera was reached
 *   over the binding
 */
export function wayFor(profile: BodyProfile | null, library: string | null): Reached {
  const learnt = profile?.direct;
  if (learnt === undefined)
    return {
      way: 'binding',
      why: 'Whether it can be reached directly, which is quicker, is not known: run `learn` to find out.',
    };
  if (learnt.failed !== undefined)
    return {
      way: 'binding',
      why: `Reaching it directly failed on ${learnt.failed.at.slice(0, 10)} (${learnt.failed.why}). Run \`learn\` to try again.`,
    };
  if (!learnt.pipelined)
    return { way: 'binding', why: 'Reaching it directly did not work when Evenrung learnt this camera.' };
  if (library !== null && library !== learnt.library)
    return {
      way: 'binding',
      why: `It was learnt with version ${versionOf(learnt.library)} of the camera library, and version ${versionOf(library)} is installed: run \`learn\` to reach it directly again.`,
    };
  return {
    way: 'direct',
    why: `That worked when Evenrung learnt this camera, with version ${versionOf(learnt.library)} of the camera library.`,
  };
}

/** Its name says nothing to a photographer. */
const versionOf = (library: string): string => library.replace(/^\S+ /, '');

export const BY_HAND = 'You chose this with --link.';
export const NO_BINDING =
  'The usual way is not installed on this computer, so Evenrung reaches the camera directly. Run `learn` to make it quicker.';
