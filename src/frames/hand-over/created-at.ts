// When a picture was taken, as its own file records it, in the form that XMP writes dates in. Never the computer's clock.
import { open } from 'node:fs/promises';
import { exifTool } from '../read/exiftool.js';
import { takenAtOf } from '../read/taken-at.js';

/** Cameras write their Exif at the head of the file; this is far more than any of them needs. */
const HEAD_BYTES = 512 * 1024;

/** OffsetTimeOriginal (Exif 2.31 and later): `+02:00`, `-09:30`. */
const OFFSET = /^[+-](?:0\d|1[0-4]):[0-5]\d$/;

/**
 * DateTimeOriginal with its parts of a second and its offset from UTC, as far as they are recorded. Without
 * an offset the camera's zone is not known, and a date without a zone is valid (ISO 16684-1, 8.2.1.2, from
 * memory).
 * @returns `2026-11-25T16:42:10.25+01:00`; null if the file tells none, or cannot be read. Never throws.
 */
export async function createdAtOf(file: string): Promise<string | null> {
  return (await readQuickly(file).catch(() => null)) ?? (await readWhole(file).catch(() => null));
}

/** @returns null if the three do not make a date */
export function xmpDateOf(time: unknown, parts: unknown, offset: unknown): string | null {
  const taken = takenAtOf(time, parts);
  if (taken === null) return null;
  const one: unknown = Array.isArray(offset) ? offset[0] : offset;
  const zone = typeof one === 'string' ? one.trim() : '';
  return OFFSET.test(zone) ? `${taken}${zone}` : taken;
}

async function readQuickly(file: string): Promise<string | null> {
  const { default: ExifReader } = await import('exifreader');
  const handle = await open(file, 'r');
  try {
    const { buffer, bytesRead } = await handle.read(Buffer.alloc(HEAD_BYTES), 0, HEAD_BYTES, 0);
    const tags = ExifReader.load(buffer.subarray(0, bytesRead), { includeUnknown: false });
    const { DateTimeOriginal, SubSecTimeOriginal, OffsetTimeOriginal } = tags;
    return xmpDateOf(DateTimeOriginal?.value, SubSecTimeOriginal?.value, OffsetTimeOriginal?.value);
  } finally {
    await handle.close();
  }
}

async function readWhole(file: string): Promise<string | null> {
  const tags = await exifTool.read(file, ['-DateTimeOriginal', '-SubSecTimeOriginal', '-OffsetTimeOriginal']);
  return xmpDateOf(tags.DateTimeOriginal, tags.SubSecTimeOriginal, tags.OffsetTimeOriginal);
}
