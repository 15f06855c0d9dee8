// A frame's picture: a small copy of it, and what that tells. Pixels are decoded in a process beside the daemon.
import { EvenrungError } from '../../../shared/errors.js';
import { ProcessFell } from '../../system/index.js';
import { NothingDecoded, pictures } from '../decode/pictures.js';
import type { SmallCopy, SmallPicture } from '../decode/small-copy.js';
import { type RawPreview, readRawPreview } from './raw.js';

export interface Picture extends SmallCopy {
  readonly thumbnail: Buffer;
  /** True where the frame is a raw file: all this is of the JPEG that the body put into it. */
  readonly isPreview: boolean;
}

/** Kinds of file that have nothing inside to look at, by their extension. */
const NO_PREVIEW: ReadonlySet<string> = new Set(['unknown', 'txt']);

/**
 * @param file a JPEG, or a raw file with a preview in it
 * @param format its extension by content
 * @returns null where there is nothing in it that can be decoded here
 * @throws EvenrungError frame-unreadable where it is cut short or broken; NothingDecoded if no picture can be looked at, whatever it is
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

/** Where ExifTool cannot run or does not answer, raw files have no small copy; that is no fault of the frame. */
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
    // What has come lies in a larger piece of memory, which is let go of.
    return { ...told, thumbnail: Buffer.from(thumbnail), isPreview: turn !== null };
  } catch (cause) {
    if (!(cause instanceof ProcessFell)) throw cause;
    throw new EvenrungError(
      'frame-unreadable',
      'The file that came back cannot be read: decoding its picture was tried twice, and came to no end.',
    );
  }
}

/** @param jpeg a small copy, as readPicture makes it */
export const smallPicture = (jpeg: Buffer): Promise<SmallPicture> => pictures.ask({ ask: 'pixels', jpeg });
