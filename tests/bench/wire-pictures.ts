// The two pictures whose pixels every frame of the bench `wire` gets: all noise, which makes decoding as dear as that of a
// detailed picture.
import { writeFile } from 'node:fs/promises';
import path from 'node:path';
import sharp from 'sharp';
import type { Megapixels } from './wire-timing.js';

const TILE = { width: 1500, height: 1000 };
const SIZES: Readonly<Record<Megapixels, { readonly width: number; readonly height: number }>> = {
  1: { width: 1200, height: 800 },
  24: { width: 6000, height: 4000 },
};

/** Level and spread of the noise. */
const MEAN = 120;
const SIGMA = 25;
const QUALITY = 90;

/** Writes them. @returns the file of each */
export async function writePictures(folder: string): Promise<Readonly<Record<Megapixels, string>>> {
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
  const write = async (megapixels: Megapixels) => {
    const { width, height } = SIZES[megapixels];
    const repeated = {
      right: Math.max(0, width - TILE.width),
      bottom: Math.max(0, height - TILE.height),
      extendWith: 'repeat',
    } as const;
    const wide = sharp(tile, { raw: { ...TILE, channels: 3 } }).extend(repeated);
    const file = path.join(folder, `pixels-${megapixels}.jpg`);
    // Cut in a second go: of one pipeline, sharp would cut before it extends.
    const whole = sharp(await wide.png({ compressionLevel: 0 }).toBuffer());
    await writeFile(
      file,
      await whole.extract({ left: 0, top: 0, width, height }).jpeg({ quality: QUALITY }).toBuffer(),
    );
    return file;
  };
  return { 1: await write(1), 24: await write(24) };
}
