// A small copy of a frame, and how much of it is black or blown out. Reads pixels; knows no exposure.
import { EvenrungError } from '../../shared/errors.js';

/** The longer side of the small copy, in pixels. */
const LONGER_SIDE = 320;

/** 8-bit levels at and beyond which a channel counts as black or blown out. */
const BLACK = 2;
const BLOWN = 253;

export interface Picture {
  /** JPEG. */
  readonly thumbnail: Buffer;
  /** Shares from 0 to 1, measured on the small copy: a single blown pixel of the frame does not count. */
  readonly clipped: { readonly dark: number; readonly light: number };
}

/**
 * @param file a picture that sharp can decode (JPEG); a raw file is not one
 * @returns null where the format is not decoded here
 * @throws EvenrungError frame-unreadable where it is a JPEG that is cut short or broken
 */
export async function readPicture(file: string, format: string): Promise<Picture | null> {
  if (format !== 'jpg') return null;
  const { default: sharp } = await import('sharp');
  try {
    const small = sharp(file, { failOn: 'truncated' })
      .rotate()
      .resize({ width: LONGER_SIDE, height: LONGER_SIDE, fit: 'inside', withoutEnlargement: true });
    const { data, info } = await small
      .clone()
      .removeAlpha()
      .toColourspace('srgb')
      .raw()
      .toBuffer({ resolveWithObject: true });
    const raw = { width: info.width, height: info.height, channels: info.channels };
    const thumbnail = await sharp(data, { raw }).jpeg({ quality: 70 }).toBuffer();
    return { thumbnail, clipped: clippedShares(data, info.channels) };
  } catch (cause) {
    const words = cause instanceof Error ? cause.message : String(cause);
    throw new EvenrungError(
      'frame-unreadable',
      `The file that came back is cut short or broken: ${words.split('\n')[0]}.`,
    );
  }
}

/** A pixel is black where all of its channels are, and blown where any of them is. */
function clippedShares(pixels: Uint8Array, channels: number): { dark: number; light: number } {
  let dark = 0;
  let light = 0;
  for (let at = 0; at < pixels.length; at += channels) {
    let highest = 0;
    for (let channel = 0; channel < channels; channel += 1)
      highest = Math.max(highest, pixels[at + channel] ?? 0);
    if (highest <= BLACK) dark += 1;
    if (highest >= BLOWN) light += 1;
  }
  const count = pixels.length / channels;
  return { dark: dark / count, light: light / count };
}
