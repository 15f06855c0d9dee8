// How many pixels a frame has, as its file says it: frames of two sizes cannot be merged. It decodes no picture.
import { pictures } from '../decode/pictures.js';
import type { PixelSize } from '../decode/small-copy.js';
import { exifTool } from './exiftool.js';

/**
 * @param format the file's extension by content
 * @returns null if it cannot be told
 */
export async function readPixelSize(file: string, format: string): Promise<PixelSize | null> {
  try {
    return format === 'jpg' ? await ofJpeg(file) : await ofRaw(file);
  } catch {
    // If something is wrong with the file, that is found and reported when its picture is read.
    return null;
  }
}

async function ofJpeg(file: string): Promise<PixelSize | null> {
  const { width, height } = await pictures.ask({ ask: 'size', source: file });
  return sizeOf(width, height);
}

/** ImageSize is ExifTool's own choice among the pictures in the file: the sensor's, and no preview. */
async function ofRaw(file: string): Promise<PixelSize | null> {
  const { ImageSize: size } = await exifTool.read(file, ['-n', '-fast2', '-ImageSize']);
  const [width, height] = String(size ?? '')
    .split(/[ x]/)
    .map(Number);
  return sizeOf(width, height);
}

const sizeOf = (width = 0, height = 0): PixelSize | null =>
  width > 0 && height > 0 ? { width, height } : null;

export const isSameSize = (one: PixelSize, other: PixelSize): boolean =>
  one.width === other.width && one.height === other.height;
