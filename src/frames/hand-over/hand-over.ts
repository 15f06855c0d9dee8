// The files beside the frames of a set when it is handed over: a sidecar for each frame, the contact sheet,
// the table and the list of checksums. All of them are made from the record and the small copies; frames are
// never touched, and files that cannot be made are reported.
import { readdir, readFile, rm } from 'node:fs/promises';
import path from 'node:path';
import type { FrameLight } from '../../../shared/light.js';
import { whyRefused } from '../../../shared/refused.js';
import type { KeptFrame, KeptSetRecord } from '../../../shared/set-record.js';
import { putWhole, syncFolder } from '../../system/index.js';
import { pictures } from '../decode/pictures.js';
import { SUMS, sumsText } from './checksum.js';
import type { SheetLight } from './contact-sheet.js';
import { createdAtOf } from './created-at.js';
import { filesOf, sidecarsOf } from './files-of.js';
import { forgetLight, sheetLight } from './light-files.js';
import { CONTACT_SHEET, COVERAGE_MAP, TABLE } from './names.js';
import { isOurOwn, readSidecar, sidecarText, writeSidecar } from './sidecar.js';
import { type LightColumns, type TableRow, tableText } from './table.js';

export interface HandedOver {
  /** The names of sidecars, by those of the files that they are of. */
  readonly sidecars: ReadonlyMap<string, string>;
  /** What is missing or not as it should be, in one sentence; null if nothing is. */
  readonly sentence: string | null;
  /** The error of the file system, if the disk has no room left. */
  readonly full: unknown;
}

/** A frame that has a file in the folder. */
type Made = KeptFrame & { readonly file: string };

/**
 * Each file is written whole or not at all, and anew if it existed before. Never throws.
 * @param folder the set folder
 * @param thumbnails a small JPEG of each frame, by its number
 * @param leaving names of files that are moved away later
 * @param map which parts of the picture the set holds, a PNG; null if its pictures were not judged
 */
export async function handOver(
  folder: string,
  record: KeptSetRecord,
  thumbnails: ReadonlyMap<number, Buffer>,
  leaving: ReadonlySet<string> = new Set(),
  map: Buffer | null = null,
): Promise<HandedOver> {
  const making = new Making();
  const made = record.frames.filter(isMade);
  const sidecars = await writeSidecars(folder, record, made, leaving, making);
  const inFolder = (name: string) => path.join(folder, name);
  if (map !== null) {
    // A proof of earlier frames does not belong to these.
    await making.one(COVERAGE_MAP, async () => {
      await forgetLight(folder);
      await putWhole(inFolder(COVERAGE_MAP), map);
    });
  }
  await making.one(CONTACT_SHEET, async () => {
    const sheet = sheetOf(record, thumbnails, sheetLight(record, { map, preview: null }));
    await putWhole(inFolder(CONTACT_SHEET), await pictures.ask({ ask: 'sheet', sheet }));
  });
  await making.one(TABLE, () =>
    putWhole(inFolder(TABLE), tableText(record.frames.map((frame) => rowOf(frame, record)))),
  );
  await making.one(SUMS, () => putWhole(inFolder(SUMS), sumsText(sumsOf(made))));
  // All of them are on disk before the record comes.
  await making.one('what the folder itself says about them', () => syncFolder(folder));
  return { sidecars, sentence: making.sentence(), full: making.full };
}

const isMade = (frame: KeptFrame): frame is Made => frame.state === 'verified' && frame.file !== null;

// --- what goes wrong

const FULL: ReadonlySet<string> = new Set(['ENOSPC', 'EDQUOT']);

const NOT_WRITTEN = 'These could not be written beside the frames:';

/** @returns whether a note says what an earlier attempt to hand the set over could not write */
export const isOfHandOver = (note: string): boolean => note.startsWith(NOT_WRITTEN);

/** The name of a file, or the number of the frame whose sidecar it is. */
type What = string | number;

class Making {
  full: unknown = null;
  /** By the reason. */
  private readonly missing = new Map<string, What[]>();

  async one<T>(what: What, make: () => Promise<T>): Promise<T | null> {
    try {
      return await make();
    } catch (cause) {
      if (FULL.has((cause as NodeJS.ErrnoException).code ?? '')) this.full ??= cause;
      this.add(what, whyRefused(cause));
      return null;
    }
  }

  add(what: What, reason: string): void {
    this.missing.set(reason, [...(this.missing.get(reason) ?? []), what]);
  }

  sentence(): string | null {
    if (this.missing.size === 0) return null;
    const parts = [...this.missing].map(([reason, what]) => `${listed(what)} (${reason})`);
    return `${NOT_WRITTEN} ${parts.join('; ')}. The frames themselves are not affected.`;
  }
}

function listed(all: readonly What[]): string {
  const frames = all.filter((what) => typeof what === 'number');
  const sidecars =
    frames.length === 1 ? `the sidecar of frame ${frames[0]}` : `the sidecars of frames ${frames.join(', ')}`;
  const files = all.filter((what) => typeof what === 'string');
  return [...(frames.length === 0 ? [] : [sidecars]), ...files].join(', ');
}

// --- sidecars

async function writeSidecars(
  folder: string,
  record: KeptSetRecord,
  made: readonly Made[],
  leaving: ReadonlySet<string>,
  making: Making,
): Promise<ReadonlyMap<string, string>> {
  const names = new Map<string, string>();
  const files = made.flatMap((frame) => filesOf(frame).map((one) => ({ frame, ...one })));
  for (const { frame, file, isPartner } of files) {
    const name = await making.one(frame.number, async () => {
      const createdAt = await createdAtOf(path.join(folder, file));
      const text = sidecarText(factsOf(record, frame, createdAt));
      const written = await writeSidecar(folder, file, text, sidecarsOf({ file, isPartner }));
      if (written === null) making.add(frame.number, 'other files have its names');
      return written;
    });
    if (name !== null) names.set(file, name);
  }
  // Of a frame that another one took the place of, or that is not in the set any more.
  const staying = new Set([...files.flatMap(sidecarsOf), ...leaving]);
  await making.one('sidecars that are out of date', () => removeStale(folder, staying, record));
  return names;
}

/** Only what we wrote, and nobody has touched since. */
async function removeStale(
  folder: string,
  staying: ReadonlySet<string>,
  record: KeptSetRecord,
): Promise<void> {
  for (const name of await readdir(folder)) {
    if (!name.endsWith('.xmp') || staying.has(name)) continue;
    const text = await readFile(path.join(folder, name), 'utf8').catch(() => '');
    const claims = readSidecar(text);
    const frame = record.frames.find(({ number }) => number === claims?.frame);
    if (
      claims?.set !== record.id ||
      frame === undefined ||
      !isOurOwn(text, sidecarText(factsOf(record, frame, null)))
    )
      continue;
    await rm(path.join(folder, name));
  }
}

const factsOf = (record: KeptSetRecord, frame: KeptFrame, createdAt: string | null) => ({
  set: record.id,
  frame: frame.number,
  frames: record.frames.length,
  offsetEv: frame.offset,
  base: record.base,
  createdAt,
  name: record.name,
  note: record.note,
  viewpoint: record.viewpoint,
  practice: record.practice,
});

// --- contact sheet, table, checksums

export function sheetOf(
  record: KeptSetRecord,
  thumbnails: ReadonlyMap<number, Buffer>,
  light: SheetLight | null,
) {
  const fired = record.frames
    .filter(isMade)
    .flatMap(({ firedAt }) => (firedAt === null ? [] : [firedAt]))
    .sort();
  return {
    id: record.id,
    name: record.name,
    startedAt: new Date(fired[0] ?? record.startedAt),
    base: record.base,
    practice: record.practice,
    light,
    cells: record.frames.map((frame) => ({
      number: frame.number,
      offsetEv: frame.offset,
      shutter: frame.shutter,
      thumbnail: isMade(frame) ? (thumbnails.get(frame.number) ?? null) : null,
      isMade: isMade(frame),
      marks: frame.marks.map(({ code }) => code),
    })),
  };
}

const partnerOf = ({ partner }: KeptFrame) => (partner?.state === 'there' ? partner : null);

export const rowOf = (frame: KeptFrame, { light }: Pick<KeptSetRecord, 'light'>): TableRow => ({
  frame: frame.number,
  offsetEv: frame.offset,
  shutter: frame.shutter,
  exactSeconds: frame.exposureTime,
  recordedSeconds: frame.recorded?.exposureTime ?? null,
  fNumber: frame.recorded?.fNumber ?? null,
  iso: frame.recorded?.iso ?? null,
  state: frame.state,
  pass: frame.pass,
  attempts: frame.attempts,
  clippedDark: frame.clipped?.dark ?? null,
  clippedLight: frame.clipped?.light ?? null,
  file: frame.file,
  sha256: frame.sha256,
  bytes: frame.bytes,
  firedAt: frame.firedAt,
  marks: frame.marks.map(({ sentence }) => sentence),
  partner: partnerOf(frame)?.file ?? null,
  partnerSha256: partnerOf(frame)?.sha256 ?? null,
  partnerBytes: partnerOf(frame)?.bytes ?? null,
  light: lightColumns(light?.frames.find(({ number }) => number === frame.number)),
});

const lightColumns = (found: FrameLight | undefined): LightColumns | undefined =>
  found && {
    exposed: found.exposed,
    alone: found.alone,
    comparedWith: found.steadiness?.against ?? null,
    shiftRight: found.steadiness?.right ?? null,
    shiftDown: found.steadiness?.down ?? null,
    blur: found.steadiness?.blur ?? null,
    moved: found.steadiness?.moved ?? null,
  };

/** Sidecars are left out, since raw programs write into them, as they are meant to. */
const sumsOf = (made: readonly Made[]) =>
  made.flatMap(filesOf).flatMap(({ file, sha256 }) => (sha256 === null ? [] : [{ file, sha256 }]));
