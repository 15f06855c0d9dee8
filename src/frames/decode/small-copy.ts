// A small copy of a picture, how much of it is black or blown out, and its light for comparisons. Reads
// pixels; knows no exposure.
import { EvenrungError } from '../../../shared/errors.js';
import { type LightGrid, lightGrid } from '../read/light-grid.js';

/** The longer side of the small copy, in pixels. */
const LONGER_SIDE = 320;

/** 8-bit levels at and beyond which a channel counts as black or blown out. */
const BLACK = 2;
const BLOWN = 253;

export interface SmallCopy {
  /** JPEG. */
  readonly thumbnail: Uint8Array;
  /** Shares from 0 to 1, measured on the small copy: a single blown pixel of the frame does not count. */
  readonly clipped: { readonly dark: number; readonly light: number };
  /** For comparing with the neighbouring frames. */
  readonly light: LightGrid;
}

/** Clockwise degrees. */
export type Turn = 0 | 90 | 180 | 270;

/**
 * @param source the name of a JPEG, or a JPEG
 * @param turn by which it has to be turned, if it does not tell its own orientation; null if it does, or if
 *   it is upright
 * @throws EvenrungError frame-unreadable if it is cut short or broken
 */
export async function smallCopyOf(source: string | Uint8Array, turn: Turn | null): Promise<SmallCopy> {
  const { default: sharp } = await import('sharp');
  try {
    const whole = sharp(source, { failOn: 'truncated' });
    // A preview that tells its own orientation is turned by that.
    const hasOwn = turn === null || (await whole.metadata()).orientation !== undefined;
    const small = (hasOwn ? whole.rotate() : whole.rotate(turn)).resize({
      width: LONGER_SIDE,
      height: LONGER_SIDE,
      fit: 'inside',
      withoutEnlargement: true,
    });
    const { data, info } = await small
      .removeAlpha()
      .toColourspace('srgb')
      .raw()
      .toBuffer({ resolveWithObject: true });
    const raw = { width: info.width, height: info.height, channels: info.channels };
    const thumbnail = await sharp(data, { raw }).jpeg({ quality: 70 }).toBuffer();
    return { thumbnail, clipped: clippedShares(data, info.channels), light: lightGrid(data, raw) };
  } catch (cause) {
    throw unreadable(cause);
  }
}

/** A pixel is black if all of its channels are, and blown out if any of them is. */
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

/** 8-bit sRGB, or grey, row by row. */
export interface SmallPicture {
  readonly pixels: Uint8Array;
  readonly width: number;
  readonly height: number;
  readonly channels: 1 | 3 | 4;
}

/** @param jpeg a small copy */
export async function pixelsOf(jpeg: Uint8Array): Promise<SmallPicture> {
  const { default: sharp } = await import('sharp');
  const { data, info } = await sharp(jpeg).raw().toBuffer({ resolveWithObject: true });
  const channels = info.channels === 1 ? 1 : info.channels === 4 ? 4 : 3;
  return { pixels: data, width: info.width, height: info.height, channels };
}

const UPRIGHT_QUALITY = 92;

/**
 * @returns the JPEG turned upright; null if it tells its own orientation, which whoever shows it follows
 * @throws EvenrungError frame-unreadable if it is cut short or broken
 */
export async function uprightOf(jpeg: Uint8Array, turn: Turn): Promise<Uint8Array | null> {
  const { default: sharp } = await import('sharp');
  try {
    const { orientation } = await sharp(jpeg).metadata();
    if (orientation !== undefined) return null;
    return await sharp(jpeg).rotate(turn).jpeg({ quality: UPRIGHT_QUALITY }).toBuffer();
  } catch (cause) {
    throw unreadable(cause);
  }
}

/** As the pixels lie in the file, whichever way up the picture is shown. */
export interface PixelSize {
  readonly width: number;
  readonly height: number;
}

/** By its head alone. @param source the name of a JPEG, or a JPEG @throws Error if it has no head that can be read */
export async function sizeOf(source: string | Uint8Array): Promise<PixelSize> {
  const { default: sharp } = await import('sharp');
  const { width, height } = await sharp(source).metadata();
  return { width, height };
}

function unreadable(cause: unknown): EvenrungError {
  const words = cause instanceof Error ? cause.message : String(cause);
  return new EvenrungError(
    'frame-unreadable',
    `The file that came back is cut short or broken: ${words.split('\n')[0]}.`,
  );
}
