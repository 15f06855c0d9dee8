// Decodes a picture to the small copies that it is judged by. Whatever it is given, it says why it cannot; it never throws because of a file. Knows no exposure.
import type { Sharp, SharpOptions } from 'sharp';
import { LUMA } from '../../../shared/srgb.js';
import type { Copy, Grey } from '../copy.js';
import { isUnreadable, type Unreadable } from './unreadable.js';

/**
 * The source of a picture: a file with its kind, as its extension by content; or the JPEG in a raw file, with
 * the angle by which it has to be turned.
 */
export type PictureSource =
  | { readonly file: string; readonly kind: string }
  | { readonly jpeg: Uint8Array; readonly turn: 0 | 90 | 180 | 270 };

export interface Copies {
  /** Pixels of the picture itself, upright. */
  readonly full: { readonly width: number; readonly height: number };
  /** The longer side is WIDE pixels, or that of the picture if it is smaller. */
  readonly grey: Grey;
  /** The longer side is SMALL pixels, or that of the picture if it is smaller. */
  readonly small: Copy;
}

/** The longer sides of the copies, in pixels. */
export const WIDE = 1024;
export const SMALL = 480;

/** Kinds that are decoded here, by their extensions; a raw file comes as the JPEG in it. */
const KINDS: ReadonlySet<string> = new Set([
  'jpg',
  'jpeg',
  'png',
  'tif',
  'tiff',
  'webp',
  'heic',
  'heif',
  'avif',
]);
const FORMATS: ReadonlySet<string> = new Set(['jpeg', 'png', 'tiff', 'webp', 'heif']);
/** No picture of a camera is smaller, nor larger: 64 pixels of the shorter side, 500 million in all. */
const SMALLEST = 64;
const LARGEST = 500e6;

const OPTIONS: SharpOptions = {
  failOn: 'truncated',
  limitInputPixels: LARGEST,
  sequentialRead: true,
  // Clipping concerns the levels as the camera wrote them: converting them to other colours first would clip
  // some anew.
  ignoreIcc: true,
};

export async function readCopies(source: PictureSource): Promise<Copies | Unreadable> {
  const opened = await openPicture(source);
  if (isUnreadable(opened)) return opened;
  const { default: sharp } = await import('sharp');
  try {
    const wide = await pixelsOf(opened.picture, WIDE);
    const raw = { width: wide.width, height: wide.height, channels: 3 } as const;
    const small = await pixelsOf(sharp(wide.pixels, { raw }), SMALL);
    return { full: opened.full, grey: greyOf(wide), small };
  } catch (cause) {
    return broken(cause);
  }
}

/** @param side the longer side in pixels @returns the picture at that size, or the one that it has if that is smaller */
export async function readCopy(source: PictureSource, side: number): Promise<Copy | Unreadable> {
  const opened = await openPicture(source);
  if (isUnreadable(opened)) return opened;
  try {
    return await pixelsOf(opened.picture, side);
  } catch (cause) {
    return broken(cause);
  }
}

interface Opened {
  readonly picture: Sharp;
  readonly full: { readonly width: number; readonly height: number };
}

async function openPicture(source: PictureSource): Promise<Opened | Unreadable> {
  if ('file' in source && !KINDS.has(source.kind.toLowerCase())) return noPicture(source.kind);
  const { default: sharp } = await import('sharp');
  const input = 'file' in source ? source.file : Buffer.from(source.jpeg);
  const turn = 'file' in source ? 0 : source.turn;
  try {
    const { width, height, format, orientation = 1 } = await sharp(input, OPTIONS).metadata();
    if (!FORMATS.has(format)) return noPicture(format);
    if (Math.min(width, height) < SMALLEST) return tooSmall(width, height);
    // A preview that tells its own orientation is turned by that.
    const hasOwn = turn === 0 || orientation > 1;
    const isOnItsSide = hasOwn ? orientation > 4 : turn % 180 !== 0;
    const open = sharp(input, OPTIONS);
    return {
      picture: hasOwn ? open.autoOrient() : open.rotate(turn),
      full: isOnItsSide ? { width: height, height: width } : { width, height },
    };
  } catch (cause) {
    return broken(cause);
  }
}

async function pixelsOf(picture: Sharp, side: number): Promise<Copy> {
  const { data, info } = await picture
    .resize({ width: side, height: side, fit: 'inside', withoutEnlargement: true, kernel: 'cubic' })
    .removeAlpha()
    .toColourspace('srgb')
    .raw({ depth: 'uchar' })
    .toBuffer({ resolveWithObject: true });
  const { width, height, channels } = info;
  const pixels = channels === 3 ? data : tripled(data, channels);
  return { pixels, width, height };
}

/** @returns one channel, or one and another that does not count, as three */
function tripled(data: Uint8Array, channels: number): Uint8Array {
  const pixels = new Uint8Array((data.length / channels) * 3);
  for (let at = 0; at < pixels.length; at += 1) pixels[at] = data[Math.floor(at / 3) * channels] as number;
  return pixels;
}

/** Weighted as luminance is. */
function greyOf({ pixels, width, height }: Copy): Grey {
  const levels = new Uint8Array(width * height);
  const [red, green, blue] = LUMA;
  for (let at = 0; at < levels.length; at += 1)
    levels[at] = Math.round(
      red * (pixels[3 * at] as number) +
        green * (pixels[3 * at + 1] as number) +
        blue * (pixels[3 * at + 2] as number),
    );
  return { levels, width, height };
}

const noPicture = (kind: string): Unreadable => ({
  reason: 'no-picture',
  sentence: `It holds no picture that can be opened here (its kind is ${kind || 'unknown'}).`,
});

const tooSmall = (width: number, height: number): Unreadable => ({
  reason: 'too-small',
  sentence: `Its picture has ${width} x ${height} pixels, which is too small to judge.`,
});

function broken(cause: unknown): Unreadable {
  const words = cause instanceof Error ? (cause.message.split('\n')[0] ?? '') : String(cause);
  if (/pixel limit/i.test(words))
    return {
      reason: 'too-large',
      sentence: 'Its picture says that it has more than 500 million pixels, so it was not opened.',
    };
  if (/unsupported image format/i.test(words))
    return { reason: 'no-picture', sentence: 'It holds no picture that can be opened here.' };
  return { reason: 'broken', sentence: 'Its picture is cut short or broken.' };
}
