// Whether a file is complete, as its own structure tells. The kind is told by the file's first bytes, never by its name. A JPEG is read as a
// whole; of any other kind a few small pieces are read.
import { boxesWholeness } from './boxes.js';
import { jpegWholeness } from './jpeg.js';
import { pngWholeness } from './png.js';
import { type Source, withSource } from './source.js';
import { headerTableWholeness, heapWholeness, sectionsWholeness } from './tables.js';
import { tiffWholeness } from './tiff.js';
import { CutShort, type Extent, endsInZeros, Parts, untold, type Wholeness, ZEROS } from './wholeness.js';

export type { Doubt, Extent, Wholeness } from './wholeness.js';

const READERS = [
  jpegWholeness,
  tiffWholeness,
  boxesWholeness,
  headerTableWholeness,
  pngWholeness,
  heapWholeness,
  sectionsWholeness,
] as const;

/**
 * @param more further parts that are known to lie in it
 * @throws the error of the file system
 */
export function readWholeness(file: string, more: readonly Extent[] = []): Promise<Wholeness> {
  return withSource(file, async (source) => {
    const parts = new Parts();
    for (const { at, bytes } of more) parts.add('previews', at, bytes);
    try {
      if (source.size === 0) throw new CutShort('it is empty');
      for (const read of READERS) {
        const found = await read(source, parts);
        if (found !== null) return await orZeros(source, found);
      }
      return await orZeros(source, untold('its kind is unknown, and so is where it should end'));
    } catch (cause) {
      if (cause instanceof CutShort) return { state: 'cut', why: cause.message };
      throw cause;
    }
  });
}

/** If nothing tells where the pixels are, they are assumed to be the last thing in the file. */
async function orZeros(source: Source, found: Wholeness): Promise<Wholeness> {
  const isUntold = found.state === 'unproved' && found.doubt === 'untold';
  return isUntold && (await endsInZeros(source, { from: 0, end: source.size })) ? ZEROS : found;
}
