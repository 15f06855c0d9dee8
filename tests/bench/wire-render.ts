// The renderer of the practice body in the bench `wire`, in place of the real one, whose work on two cores would be counted as
// the daemon's: the Exif is the frame's own, the pixels are those of one prepared picture. Every file then says what it should,
// and costs as much to send and to decode as a camera's.
import sharp from 'sharp';
import { declareVersion, exifOf, type RecordedSettings } from '../../src/camera/practice/exif.js';

export interface Pixels {
  /** A JPEG without Exif. */
  readonly jpeg: Buffer;
  /** Bytes of every file: what is missing is padding after the end marker, which decoders do not read. Null adds none. */
  readonly fileBytes: number | null;
}

let prepared: Pixels | undefined;

/** To be called before the first frame. */
export function usePixels(pixels: Pixels): void {
  prepared = pixels;
}

/** @throws RangeError where the prepared picture alone is larger than a file is to be */
export async function renderFrame(frame: RecordedSettings): Promise<Buffer> {
  if (prepared === undefined) throw new Error('There are no pixels yet.');
  const blank = { create: { width: 8, height: 8, channels: 3, background: '#888' } } as const;
  const written = declareVersion(await sharp(blank).jpeg().withExif(exifOf(frame)).toBuffer());
  const { jpeg, fileBytes } = prepared;
  const head = written.subarray(0, START.length);
  const parts = [head, exifSegment(written), jpeg.subarray(START.length)];
  const bytes = parts.reduce((sum, part) => sum + part.length, 0);
  if (fileBytes === null) return Buffer.concat(parts);
  if (bytes > fileBytes)
    throw new RangeError(`The picture has ${bytes} bytes, a file is to have ${fileBytes}.`);
  return Buffer.concat([...parts, Buffer.alloc(fileBytes - bytes)]);
}

const START = Buffer.from([0xff, 0xd8]);
const APP0 = 0xffe0;
const APP1 = 0xffe1;

/** @returns the segment that holds the Exif, with its marker */
function exifSegment(jpeg: Buffer): Buffer {
  for (let at = START.length; ; ) {
    const marker = jpeg.readUInt16BE(at);
    const end = at + 2 + jpeg.readUInt16BE(at + 2);
    if (marker === APP1) return jpeg.subarray(at, end);
    // What cameras write before the pixels starts at 0xffe0; the tables of the picture do not.
    if (marker < APP0) throw new Error('This JPEG has no Exif.');
    at = end;
  }
}
