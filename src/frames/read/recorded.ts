// Reads what a file records of its own exposure. Exif proves settings, not light.
import { open } from 'node:fs/promises';
import { EvenrungError } from '../../../shared/errors.js';
import { readRawRecorded } from './raw.js';
import type { RecordedExposure } from './recorded-exposure.js';
import { takenAtOf } from './taken-at.js';

/** Cameras write their Exif at the head of the file; this is far more than any of them needs. */
const HEAD_BYTES = 512 * 1024;

/**
 * ExifReader reads JPEG and most raw files within milliseconds and needs nothing else; files that it does not
 * understand, or finds nothing in, are read by ExifTool.
 * @param file a JPEG or a raw file
 * @throws EvenrungError frame-unreadable if the file is not a picture, is damaged, or has no Exif
 */
export async function readRecorded(file: string): Promise<RecordedExposure> {
  const isJpeg = await startsAsJpeg(file);
  try {
    const recorded = await readQuickly(file);
    if (isJpeg || recorded.exposureTime !== null) return recorded;
  } catch (cause) {
    if (isJpeg) throw unreadable(cause);
  }
  return readRawRecorded(file);
}

async function readQuickly(file: string): Promise<RecordedExposure> {
  const { default: ExifReader } = await import('exifreader');
  const tags = await ExifReader.load(file, { length: HEAD_BYTES, includeUnknown: false });
  return {
    exposureTime: rational(tags.ExposureTime?.value),
    fNumber: rational(tags.FNumber?.value),
    iso: integer(tags.ISOSpeedRatings?.value),
    bias: signed(tags.ExposureBiasValue?.value),
    focalLength: rational(tags.FocalLength?.value),
    takenAt: takenAtOf(tags.DateTimeOriginal?.value, tags.SubSecTimeOriginal?.value),
  };
}

/** The first bytes of every JPEG (ISO 10918-1, annex B: SOI, then another marker). */
async function startsAsJpeg(file: string): Promise<boolean> {
  try {
    const handle = await open(file, 'r');
    try {
      const { buffer, bytesRead } = await handle.read(Buffer.alloc(3), 0, 3, 0);
      if (bytesRead === 0) throw new Error('it is empty');
      return buffer[0] === 0xff && buffer[1] === 0xd8 && buffer[2] === 0xff;
    } finally {
      await handle.close();
    }
  } catch (cause) {
    throw unreadable(cause);
  }
}

function unreadable(cause: unknown): EvenrungError {
  const words = cause instanceof Error ? cause.message : String(cause);
  return new EvenrungError(
    'frame-unreadable',
    `The exposure that the file records cannot be read (${words}).`,
  );
}

function signed(value: unknown): number | null {
  if (!Array.isArray(value)) return null;
  const [top, bottom] = value as unknown[];
  const number = Number(top) / Number(bottom);
  return Number.isFinite(number) ? number : null;
}

function rational(value: unknown): number | null {
  const number = signed(value);
  return number !== null && number > 0 ? number : null;
}

function integer(value: unknown): number | null {
  const number = Number(Array.isArray(value) ? value[0] : value);
  return Number.isFinite(number) && number > 0 ? number : null;
}
