// Raw files, and other files that the quick reader does not understand: the recorded exposure, and the JPEG
// that the body put into the file as a preview. ExifTool reads them.
import { EvenrungError } from '../../../shared/errors.js';
import { pictures } from '../decode/pictures.js';
import type { Turn } from '../decode/small-copy.js';
import { type ExifToolProcess, exifTool, type RawTags } from './exiftool.js';
import type { RecordedExposure } from './recorded-exposure.js';
import { takenAtOf } from './taken-at.js';

/** A preview with its longer side below this is too coarse for clipping; a larger one is looked for. */
const LARGE_ENOUGH = 320;
/** Where bodies put their previews, by ExifTool's names. */
const PREVIEWS = ['PreviewImage', 'JpgFromRaw', 'OtherImage', 'ThumbnailImage'] as const;

/** Numbers as numbers: what ExifTool prints for people is rounded, 1/3 s as 0.3 and the like. */
const NUMERIC = ['-n'] as const;

const RECORDED = [
  '-ExposureTime',
  '-FNumber',
  '-ISO',
  '-ExposureCompensation',
  '-FocalLength',
  '-DateTimeOriginal',
  '-SubSecTimeOriginal',
  '-MIMEType',
  '-Error',
  '-Warning',
] as const;

/**
 * @returns what the file records; null for each thing that it does not tell
 * @throws EvenrungError frame-unreadable if it is damaged, or nothing that a camera writes
 */
export async function readRawRecorded(
  file: string,
  tool: ExifToolProcess = exifTool,
): Promise<RecordedExposure> {
  // The fast mode does not look behind the pixels, where some files have their directories.
  let tags = await tool.read(file, [...NUMERIC, '-fast2', ...RECORDED]);
  if (positive(tags.ExposureTime) === null) tags = await tool.read(file, [...NUMERIC, ...RECORDED]);
  const exposureTime = positive(tags.ExposureTime);
  if (exposureTime === null) refuseDamaged(tags);
  return {
    exposureTime: exposureTime === null ? null : exact(exposureTime),
    fNumber: positive(tags.FNumber),
    iso: positive(tags.ISO),
    bias: typeof tags.ExposureCompensation === 'number' ? exact(tags.ExposureCompensation) : null,
    focalLength: positive(tags.FocalLength),
    takenAt: takenAtOf(tags.DateTimeOriginal, tags.SubSecTimeOriginal),
  };
}

/** @returns the extension of a kind that only ExifTool knows, by the file's content; undefined if it is not a picture */
export async function rawKindOf(file: string, tool: ExifToolProcess = exifTool): Promise<string | undefined> {
  const tags = await tool
    .read(file, ['-fast2', '-FileTypeExtension', '-MIMEType'])
    .catch((): RawTags => ({}));
  const { MIMEType: kind, FileTypeExtension: extension } = tags;
  const isPicture = typeof kind === 'string' && kind.startsWith('image/');
  return isPicture && typeof extension === 'string' && /^\w{1,5}$/.test(extension)
    ? extension.toLowerCase()
    : undefined;
}

function refuseDamaged({ MIMEType: kind, Error: error, Warning: warning }: RawTags): void {
  const complaint = [error, warning].find((words) => typeof words === 'string');
  if (complaint !== undefined) throw damaged(`${complaint}`);
  if (typeof kind !== 'string' || !kind.startsWith('image/'))
    throw damaged('it is not a kind of file that a camera writes');
}

const damaged = (why: string): EvenrungError =>
  new EvenrungError('frame-unreadable', `The file that came back is cut short or broken: ${why}.`, {
    damaged: true,
  });

export interface RawPreview {
  readonly jpeg: Buffer;
  /** Clockwise degrees by which it has to be turned, if the raw file says so and the preview does not. */
  readonly turn: Turn;
}

/**
 * The body's own JPEG inside a raw file: its look, not the sensor's values. Clipping in it says less than
 * clipping in the raw file.
 * @param enough pixels of the longer side at which no larger preview is looked for
 * @returns null if there is none
 * @throws EvenrungError frame-unreadable if ExifTool does not answer
 */
export async function readRawPreview(
  file: string,
  tool: ExifToolProcess = exifTool,
  enough = LARGE_ENOUGH,
): Promise<RawPreview | null> {
  const tags = await tool.read(file, [...NUMERIC, '-fast2', '-G1', '-IFD0:Orientation']);
  let best: { jpeg: Buffer; side: number } | null = null;
  for (const tag of PREVIEWS) {
    const jpeg = await tool.jpeg(file, tag);
    const side = jpeg === null ? 0 : await longerSide(jpeg);
    if (jpeg !== null && side > (best?.side ?? 0)) best = { jpeg, side };
    if ((best?.side ?? 0) >= enough) break;
  }
  if (best === null) return null;
  return { jpeg: best.jpeg, turn: TURNS[Number(tags['IFD0:Orientation'])] ?? 0 };
}

/**
 * The largest of them, upright, to be shown.
 * @returns null if there is none
 * @throws EvenrungError frame-unreadable if the preview is cut short or broken
 */
export async function shownPreview(file: string): Promise<Buffer | null> {
  const preview = await readRawPreview(file, exifTool, Number.POSITIVE_INFINITY);
  if (preview === null || preview.turn === 0) return preview?.jpeg ?? null;
  try {
    const upright = await pictures.ask({ ask: 'upright', jpeg: preview.jpeg, turn: preview.turn });
    return upright === null ? preview.jpeg : Buffer.from(upright);
  } catch (cause) {
    if (cause instanceof EvenrungError) throw cause;
    throw damaged(cause instanceof Error ? cause.message : String(cause));
  }
}

const TURNS: Readonly<Record<number, Turn>> = { 3: 180, 6: 90, 8: 270 };

async function longerSide(jpeg: Buffer): Promise<number> {
  try {
    const { width, height } = await pictures.ask({ ask: 'size', source: jpeg });
    return Math.max(width, height);
  } catch {
    return 0;
  }
}

function positive(value: unknown): number | null {
  const number = Number(Array.isArray(value) ? value[0] : value);
  return value !== undefined && Number.isFinite(number) && number > 0 ? number : null;
}

/** Denominators up to here are tried: 1/32000 s is the shortest time on any scale. */
const LARGEST_DENOMINATOR = 100_000;
/** ExifTool writes ten digits. */
const TEN_DIGITS = 1e-9;

/**
 * The file has a fraction; ExifTool gives its value in ten digits.
 * @returns the fraction's own value: 1/3 for 0.3333333333, by its continued fraction; the number as it is
 *   if no short fraction comes near
 */
function exact(value: number): number {
  const size = Math.abs(value);
  let [before, top, under, bottom] = [0, 1, 1, 0];
  let rest = size;
  for (let step = 0; step < 20 && bottom <= LARGEST_DENOMINATOR; step += 1) {
    const whole = Math.floor(rest);
    [before, top] = [top, whole * top + before];
    [under, bottom] = [bottom, whole * bottom + under];
    if (Math.abs(top / bottom - size) <= TEN_DIGITS * size && bottom <= LARGEST_DENOMINATOR)
      return (Math.sign(value) * top) / bottom || 0;
    if (rest === whole) break;
    rest = 1 / (rest - whole);
  }
  return value;
}
