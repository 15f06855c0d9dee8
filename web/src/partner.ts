// The second file of a frame, if the camera makes two of each. Pure.
import type { FrameView } from '../../shared/state.js';

/** @returns its name in the set folder; null if there is none */
export const partnerOf = ({ partner }: Pick<FrameView, 'partner'>): string | null =>
  partner?.state === 'there' ? partner.file : null;

/** @returns `DNG`, `JPG`: the extension of a file, as photographers write it */
export const kindOf = (file: string): string => /\.([^.]*)$/.exec(file)?.[1]?.toUpperCase() ?? file;
