// The files that a set lacks and that may still be in the camera, and the sentences for when somebody has
// looked for them there. Pure.
import path from 'node:path';
import type { FrameView } from '../../../shared/state.js';

/** Files that releases of a set made, as far as is known, and that are not in the set. */
export interface Lacking {
  /** Numbers of frames that were released and are not verified, ascending. */
  readonly frames: readonly number[];
  /** Numbers of verified frames of which one of two files never came, ascending. */
  readonly partners: readonly number[];
  /**
   * Releases whose file never came, or files that the camera told of and that never came: the number of
   * whichever there are more of.
   */
  readonly files: number;
}

/** The second file of a frame that has not come; the camera's card may have it. */
export interface MissingPartner {
  readonly frame: number;
  /** The extension of the file that did come. */
  readonly kind: string;
  /**
   * The camera's name for the file that came: the missing one has the same name with another extension. Null
   * if the link does not tell names.
   */
  readonly beside: string | null;
}

/** @returns the second files that are worth looking for on the card, in the order of the frames */
export const missingPartners = (frames: readonly FrameView[]): MissingPartner[] =>
  frames.flatMap(({ number, state, file, partner }) =>
    state !== 'verified' || file === null || partner?.state !== 'missing'
      ? []
      : [{ frame: number, kind: path.extname(file).slice(1).toLowerCase(), beside: partner.beside }],
  );

/** The parts of a set that show what it lacks. */
export interface LackingOf {
  readonly frames: readonly FrameView[];
  readonly strays: readonly unknown[];
  readonly made: readonly { readonly fetched: boolean }[];
}

export function lackingIn({ frames, strays, made }: LackingOf): Lacking {
  const told = made.filter(({ fetched }) => !fetched).length;
  return {
    frames: frames
      .filter(({ state, attempts }) => state !== 'verified' && attempts > 0)
      .map(({ number }) => number),
    partners: missingPartners(frames).map(({ frame }) => frame),
    files: Math.max(strays.length, told),
  };
}

/** @returns how many files are worth looking for in the camera */
export const filesToLookFor = ({ partners, files }: Lacking): number => files + partners.length;

/**
 * @param before what the set lacked
 * @param after what it lacks now
 * @returns sentences on what looking for it in the camera has brought
 */
export function fetchedWords(before: Lacking, after: Lacking, frames: readonly FrameView[]): string[] {
  const isVerified = (number: number) =>
    frames.some((frame) => frame.number === number && frame.state === 'verified');
  const came = before.frames.filter(isVerified);
  const not = before.frames.filter((number) => !isVerified(number));
  const second = before.partners.filter((number) => !after.partners.includes(number));
  const notSecond = before.partners.filter((number) => after.partners.includes(number));
  const others = Math.max(0, before.files - after.files - came.length);
  const said = [
    came.length === 0
      ? null
      : `${listed(came)} ${came.length === 1 ? 'was' : 'were'} fetched from the camera.`,
    second.length === 0
      ? null
      : `The second ${second.length === 1 ? 'file' : 'files'} of ${lower(listed(second))} ${second.length === 1 ? 'was' : 'were'} fetched from the camera.`,
    others === 0
      ? null
      : `${others === 1 ? 'A file that belongs' : `${others} files that belong`} to none of the missing frames ${others === 1 ? 'was' : 'were'} fetched, too.`,
    not.length === 0 ? null : `The camera has no file of ${lower(listed(not))}.`,
    notSecond.length === 0
      ? null
      : `The second ${notSecond.length === 1 ? 'file' : 'files'} of ${lower(listed(notSecond))} ${notSecond.length === 1 ? 'was' : 'were'} not found there.`,
  ].filter((one) => one !== null);
  return said.length > 0 ? said : ['The camera has no files of this set.'];
}

const listed = (numbers: readonly number[]): string =>
  `${numbers.length === 1 ? 'Frame' : 'Frames'} ${numbers.join(', ')}`;
const lower = (text: string): string => text.charAt(0).toLowerCase() + text.slice(1);
