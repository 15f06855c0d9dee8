// What a file says of its own exposure. Exif proves settings, not light.
import { EvenrungError } from '../../shared/errors.js';

/** A recorded exposure; null where the file does not tell. */
export interface RecordedExposure {
  /** Seconds. */
  readonly exposureTime: number | null;
  readonly fNumber: number | null;
  readonly iso: number | null;
  /** EV that the body was told to expose more than it meters: compensation and, on most bodies, the bracket. */
  readonly bias: number | null;
}

/** Cameras write their Exif at the head of the file; this is far more than any of them needs. */
const HEAD_BYTES = 512 * 1024;

/**
 * @param file a JPEG or a raw file that ExifReader understands
 * @throws EvenrungError frame-unreadable where the file is no picture or holds no Exif
 */
export async function readRecorded(file: string): Promise<RecordedExposure> {
  const { default: ExifReader } = await import('exifreader');
  try {
    const tags = await ExifReader.load(file, { length: HEAD_BYTES, includeUnknown: false });
    return {
      exposureTime: rational(tags.ExposureTime?.value),
      fNumber: rational(tags.FNumber?.value),
      iso: integer(tags.ISOSpeedRatings?.value),
      bias: signed(tags.ExposureBiasValue?.value),
    };
  } catch (cause) {
    const words = cause instanceof Error ? cause.message : String(cause);
    throw new EvenrungError(
      'frame-unreadable',
      `The exposure that the file records cannot be read (${words}). Some kinds of raw file are not understood yet: set the camera to JPEG.`,
    );
  }
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
