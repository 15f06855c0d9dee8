// A frame's picture: a small copy of it, and what the copy shows. Pixels are decoded in a process beside the
// daemon.
import { EvenrungError } from '../../../shared/errors.js';
import { ProcessFell } from '../../system/index.js';
import { NothingDecoded, pictures } from '../decode/pictures.js';
import type { SmallCopy, SmallPicture } from '../decode/small-copy.js';
import { type RawPreview, readRawPreview } from './raw.js';

export interface Picture extends SmallCopy {
  readonly thumbnail: Buffer;
  /** True if the frame is a raw file: all of this then comes from the JPEG that the body put into it. */
  readonly isPreview: boolean;
}

/** Kinds of file that have nothing inside to look at, by their extension. */
const NO_PREVIEW: ReadonlySet<string> = new Set(['unknown', 'txt']);

/**
 * @param file a JPEG, or a raw file with a preview in it
 * @param format its extension by content
 * @returns null if it contains nothing that can be decoded here
 * @throws EvenrungError frame-unreadable if it is cut short or broken
 */
export async function readPicture(file: string, format: string): Promise<Picture | null> {
  if (format === 'jpg') return decode(file, null);
  if (NO_PREVIEW.has(format)) return null;
  const preview = await previewOf(file);
  if (preview === null) return null;
  // A broken preview in a whole raw file is no reason to fire again.
  return decode(preview.jpeg, preview.turn).catch((cause: unknown) => {
    if (cause instanceof NothingDecoded) throw cause;
    return null;
  });
}

/** If ExifTool cannot run or does not answer, raw files have no small copy; that is not the frame's fault. */
async function previewOf(file: string): Promise<RawPreview | null> {
  try {
    return await readRawPreview(file);
  } catch (cause) {
    if (cause instanceof EvenrungError) return null;
    throw cause;
  }
}

async function decode(source: string | Buffer, turn: RawPreview['turn'] | null): Promise<Picture> {
  try {
    const { thumbnail, ...told } = await pictures.ask({ ask: 'small', source, turn });
    // The answer lies in a larger piece of memory; a copy lets go of that.
    return { ...told, thumbnail: Buffer.from(thumbnail), isPreview: turn !== null };
  } catch (cause) {
    if (!(cause instanceof ProcessFell)) throw cause;
    throw new EvenrungError(
      'frame-unreadable',
      'The file that came back cannot be read: two attempts to decode its picture did not finish.',
    );
  }
}

/** @param jpeg a small copy, as readPicture makes it */
export const smallPicture = (jpeg: Buffer): Promise<SmallPicture> => pictures.ask({ ask: 'pixels', jpeg });
