// Whether a file that came from a camera is complete, by its own structure, by the size that the camera said, and by what ExifTool finds in
// it. Runs, checks of finished sets and copies of sets all share this one judgement.
import { stat } from 'node:fs/promises';
import { EvenrungError } from '../../../shared/errors.js';
import { type ExifToolProcess, exifTool, type RawTags } from '../read/exiftool.js';
import { type Extent, readWholeness, type Wholeness } from '../wholeness/index.js';

export interface WholeFrame {
  /** Why it is not complete, as the end of a sentence; null if nothing is known to be missing. */
  readonly cut: string | null;
  /** Why it is not proved to be complete, as the end of a sentence; null if it is. */
  readonly doubt: string | null;
}

export interface WholeOptions {
  /** The size that the camera said it has, in bytes; null or left out if that is not known. */
  readonly saidBytes?: number | null | undefined;
  readonly tool?: ExifToolProcess;
}

/** PTP (ISO 15740) has 32 bits for a size; this value means one that does not fit. */
const TOO_LARGE_TO_SAY = 0xffffffff;

/** @throws the error of the file system */
export async function judgeWhole(
  file: string,
  { saidBytes = null, tool = exifTool }: WholeOptions = {},
): Promise<WholeFrame> {
  const { size: bytes } = await stat(file);
  const said = saidBytes !== null && saidBytes > 0 && saidBytes < TOO_LARGE_TO_SAY ? saidBytes : null;
  if (said !== null && bytes < said)
    return { cut: `it has ${bytes} bytes, but the camera said ${said}`, doubt: null };
  const structure = await readWholeness(file);
  if (structure.state === 'cut') return { cut: structure.why, doubt: null };
  const found = await askExifTool(file, bytes, structure, tool);
  if (found.state === 'cut') return { cut: found.why, doubt: null };
  if (said !== null && bytes > said)
    return { cut: null, doubt: `it has ${bytes} bytes, but the camera said ${said}` };
  if (found.state === 'whole') return { cut: null, doubt: null };
  // The right size proves that the file ends where it should. It does not prove that zeros, for example, are
  // the picture.
  const isSettled = said !== null && (found.doubt === 'untold' || found.doubt === 'followed');
  return { cut: null, doubt: isSettled ? null : found.why };
}

/**
 * @returns why the file is not proved to be complete, in one sentence; null if it is proved
 * @throws EvenrungError frame-unreadable if it is cut short
 */
export async function mustBeWhole(file: string, options: WholeOptions = {}): Promise<string | null> {
  const { cut, doubt } = await judgeWhole(file, options);
  if (cut !== null) throw new EvenrungError('frame-unreadable', cutShortSentence(cut), { damaged: true });
  return doubt === null ? null : unprovedSentence(doubt);
}

const cutShortSentence = (why: string): string => `The file that came back is cut short or broken: ${why}.`;

export const unprovedSentence = (why: string): string =>
  `Its file may be incomplete: ${why}. Open it before you rely on it.`;

// --- ExifTool, which knows more kinds of file

/** Previews that makers' notes name, as ExifTool calls them; it tells where in the file they are. */
const NAMED = [
  ['PreviewImageStart', 'PreviewImageLength'],
  ['JpgFromRawStart', 'JpgFromRawLength'],
  ['OtherImageStart', 'OtherImageLength'],
  ['ThumbnailOffset', 'ThumbnailLength'],
] as const;
/**
 * ExifTool's words for a file that ends too early. Its complaints about directories inside a file are often
 * harmless.
 */
const COMPLAINT = /^Truncated '.{4}' data|missing \d+ bytes|Unexpected end of file|EOI marker not found/i;

/** ExifTool is asked if a file may hold more than its structure tells. Without its answer, the structure has the last word. */
async function askExifTool(
  file: string,
  bytes: number,
  structure: Exclude<Wholeness, { state: 'cut' }>,
  tool: ExifToolProcess,
): Promise<Wholeness> {
  if (structure.state === 'whole' && !structure.hasNote) return structure;
  // Without its fast mode, which stops before the end of the file.
  const args = ['-n', '-a', '-G1', ...NAMED.flat().map((name) => `-${name}`), '-Warning', '-Error'];
  const tags = await tool.read(file, args).catch((): RawTags => ({}));
  const complaint = complaintIn(tags);
  if (complaint !== null)
    return structure.state === 'unproved' && structure.doubt === 'untold'
      ? { state: 'cut', why: complaint }
      : { state: 'unproved', doubt: 'warned', why: complaint };
  const named = extentsIn(tags);
  const past = named.find((one) => one.at + one.bytes > bytes);
  if (past !== undefined)
    return {
      ...{ state: 'unproved', doubt: 'warned' },
      why: `its preview reaches to byte ${past.at + past.bytes}, but it has only ${bytes} bytes`,
    };
  const isFollowed = structure.state === 'unproved' && structure.doubt === 'followed';
  return isFollowed && named.length > 0 ? readWholeness(file, named) : structure;
}

function complaintIn(tags: RawTags): string | null {
  for (const [key, value] of Object.entries(tags))
    if (/:(?:Warning|Error)$/.test(key) && typeof value === 'string' && COMPLAINT.test(value)) return value;
  return null;
}

function extentsIn(tags: RawTags): Extent[] {
  return NAMED.flatMap(([start, length]) =>
    Object.entries(tags).flatMap(([key, at]) => {
      const [group = '', name = ''] = key.split(':');
      const bytes = tags[`${group}:${length}`];
      return name === start && typeof at === 'number' && typeof bytes === 'number' && at > 0 && bytes > 0
        ? [{ at, bytes }]
        : [];
    }),
  );
}
