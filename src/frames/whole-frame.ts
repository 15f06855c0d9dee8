// Whether a file that came from a camera is all there: its own structure, what the camera said of its size, and what a reader that knows more
// kinds of file finds in it, taken together. One judgement for the run, for finished sets and for what is copied of them.
import { stat } from 'node:fs/promises';
import { EvenrungError } from '../../shared/errors.js';
import { type ExifToolProcess, exifTool, type RawTags } from './exiftool.js';
import { type Extent, readWholeness, type Wholeness } from './wholeness/index.js';

export interface WholeFrame {
  /** Why it is not all there, as the end of a sentence; null where nothing is known to be missing. */
  readonly cut: string | null;
  /** Why that is not proved, as the end of a sentence; null where it is. */
  readonly doubt: string | null;
}

export interface WholeOptions {
  /** What the camera said of its size, in bytes; null or left out where nobody knows. */
  readonly saidBytes?: number | null | undefined;
  readonly tool?: ExifToolProcess;
}

/** What stands for a size that does not fit into the field of the wire: PTP (ISO 15740) has 32 bits for it. */
const TOO_LARGE_TO_SAY = 0xffffffff;

/** @throws the error of the file system */
export async function judgeWhole(
  file: string,
  { saidBytes = null, tool = exifTool }: WholeOptions = {},
): Promise<WholeFrame> {
  const { size: bytes } = await stat(file);
  const said = saidBytes !== null && saidBytes > 0 && saidBytes < TOO_LARGE_TO_SAY ? saidBytes : null;
  if (said !== null && bytes < said)
    return { cut: `it has ${bytes} bytes, and the camera said ${said}`, doubt: null };
  const structure = await readWholeness(file);
  if (structure.state === 'cut') return { cut: structure.why, doubt: null };
  const found = await askReader(file, bytes, structure, tool);
  if (found.state === 'cut') return { cut: found.why, doubt: null };
  if (said !== null && bytes > said)
    return { cut: null, doubt: `it has ${bytes} bytes, and the camera said ${said}` };
  if (found.state === 'whole') return { cut: null, doubt: null };
  // That the size is right says that it ends where it should; not that what came is the picture.
  const isSettled = said !== null && (found.doubt === 'untold' || found.doubt === 'followed');
  return { cut: null, doubt: isSettled ? null : found.why };
}

/**
 * @returns why it is not proved that the file is all there, in one sentence; null where it is proved
 * @throws EvenrungError frame-unreadable where it is cut short
 */
export async function mustBeWhole(file: string, options: WholeOptions = {}): Promise<string | null> {
  const { cut, doubt } = await judgeWhole(file, options);
  if (cut !== null) throw new EvenrungError('frame-unreadable', cutShortSentence(cut), { damaged: true });
  return doubt === null ? null : unprovedSentence(doubt);
}

const cutShortSentence = (why: string): string => `The file that came back is cut short or broken: ${why}.`;

export const unprovedSentence = (why: string): string =>
  `Nothing proves that its file is all there: ${why}. Open it before you rely on it.`;

// --- the reader that knows more kinds

/** Previews that notes of makers name, by ExifTool's names; it tells where in the file they lie. */
const NAMED = [
  ['PreviewImageStart', 'PreviewImageLength'],
  ['JpgFromRawStart', 'JpgFromRawLength'],
  ['OtherImageStart', 'OtherImageLength'],
  ['ThumbnailOffset', 'ThumbnailLength'],
] as const;
/** What it says of a file that ends too early. Of directories inside of it, it may complain without harm. */
const COMPLAINT = /^Truncated '.{4}' data|missing \d+ bytes|Unexpected end of file|EOI marker not found/i;

/** It is asked where a file may hold more than its structure tells. Without it, or without its answer, the structure has the last word. */
async function askReader(
  file: string,
  bytes: number,
  structure: Exclude<Wholeness, { state: 'cut' }>,
  tool: ExifToolProcess,
): Promise<Wholeness> {
  if (structure.state === 'whole' && !structure.hasNote) return structure;
  // Not in its fast mode, which ends before the end of the file.
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
      why: `a preview that it names reaches to byte ${past.at + past.bytes}, and it has ${bytes}`,
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
