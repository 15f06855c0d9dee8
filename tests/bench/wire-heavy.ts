// Pictures as heavy as a camera's for the bench `wire`: of 24 megapixels, and of as many bytes as are asked for. The practice
// body renders a small one; its Exif is put before the pixels of the large one, so that the file says the same and costs as
// much to send and to decode.
import sharp from 'sharp';

const TILE = { width: 1500, height: 1000 };
const TILES = 4;

/** Level and spread of the noise that makes decoding as dear as that of a detailed picture. */
const MEAN = 120;
const SIGMA = 25;
const QUALITY = 90;

const START_OF_IMAGE = 0xffd8;
const APP1 = 0xffe1;

/** @returns a JPEG of 6000 x 4000 pixels, all noise, without Exif; some 13 MB */
export async function largePicture(): Promise<Buffer> {
  const tile = await sharp({
    create: {
      ...TILE,
      channels: 3,
      background: '#888',
      noise: { type: 'gaussian', mean: MEAN, sigma: SIGMA },
    },
  })
    .raw()
    .toBuffer();
  return sharp(tile, { raw: { ...TILE, channels: 3 } })
    .extend({
      right: TILE.width * (TILES - 1),
      bottom: TILE.height * (TILES - 1),
      extendWith: 'repeat',
    })
    .jpeg({ quality: QUALITY })
    .toBuffer();
}

/**
 * @param small a JPEG with Exif
 * @param large a JPEG without
 * @param bytes of the whole file: what is missing is padding after the end marker, which decoders do not read
 * @returns the Exif of the one, the pixels of the other
 * @throws RangeError where it would be larger than that
 */
export function madeHeavy(small: Buffer, large: Buffer, bytes: number): Buffer {
  const head = small.subarray(0, 2);
  const exif = exifOf(small);
  const pixels = large.subarray(2);
  const padding = bytes - head.length - exif.length - pixels.length;
  if (padding < 0) throw new RangeError(`The large picture has ${large.length} bytes, ${bytes} are wanted.`);
  return Buffer.concat([head, exif, pixels, Buffer.alloc(padding)]);
}

/** @returns the segment that holds the Exif, with its marker */
function exifOf(jpeg: Buffer): Buffer {
  if (jpeg.readUInt16BE(0) !== START_OF_IMAGE) throw new Error('This is no JPEG.');
  for (let at = 2; ; ) {
    const marker = jpeg.readUInt16BE(at);
    const end = at + 2 + jpeg.readUInt16BE(at + 2);
    if (marker === APP1) return jpeg.subarray(at, end);
    // Segments before the pixels are 0xffe0 to 0xfffe; the tables that follow them are not.
    if (marker < 0xffe0) throw new Error('This JPEG has no Exif.');
    at = end;
  }
}
