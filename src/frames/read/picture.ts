// A small copy of a frame: how much of it is black or blown out, and its light for comparing. Reads pixels; knows no exposure.
import { EvenrungError } from '../../../shared/errors.js';
import { type LightGrid, lightGrid } from './light-grid.js';
import { type RawPreview, readRawPreview } from './raw.js';

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
  /** For comparing with the neighbouring frames. */
  readonly light: LightGrid;
  /** True where the frame is a raw file: all this is of the JPEG that the body put into it. */
  readonly isPreview: boolean;
}

/** Kinds of file that have nothing inside to look at, by their extension. */
const NO_PREVIEW: ReadonlySet<string> = new Set(['unknown', 'txt']);

/**
 * @param file a JPEG, or a raw file with a preview in it
 * @param format its extension by content
 * @returns null where there is nothing in it that can be decoded here
 * @throws EvenrungError frame-unreadable where it is cut short or broken
 */
export async function readPicture(file: string, format: string): Promise<Picture | null> {
  if (format === 'jpg') return decode(file, null);
  if (NO_PREVIEW.has(format)) return null;
  const preview = await previewOf(file);
  if (preview === null) return null;
  // A broken preview in a whole raw file is no reason to fire again.
  return decode(preview.jpeg, preview.turn).catch(() => null);
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
    return {
      thumbnail,
      clipped: clippedShares(data, info.channels),
      light: lightGrid(data, raw),
      isPreview: turn !== null,
    };
  } catch (cause) {
    const words = cause instanceof Error ? cause.message : String(cause);
    throw new EvenrungError(
      'frame-unreadable',
      `The file that came back is cut short or broken: ${words.split('\n')[0]}.`,
    );
  }
}

/** 8-bit sRGB, or grey, row by row. */
export interface SmallPicture {
  readonly pixels: Uint8Array;
  readonly width: number;
  readonly height: number;
  readonly channels: 1 | 3 | 4;
}

/** @param jpeg a small copy, as readPicture makes it */
export async function smallPicture(jpeg: Buffer): Promise<SmallPicture> {
  const { default: sharp } = await import('sharp');
  const { data, info } = await sharp(jpeg).raw().toBuffer({ resolveWithObject: true });
  const channels = info.channels === 1 ? 1 : info.channels === 4 ? 4 : 3;
  return { pixels: data, width: info.width, height: info.height, channels };
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
