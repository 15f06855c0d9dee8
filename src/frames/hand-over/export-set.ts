// A set copied to another place, whole or not at all: judged before, copied into a folder of a name that nobody takes for a set,
// read again, and only then given its name. It never writes to the set itself, and knows neither journal nor bodies.
import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { lstat, mkdir, open, readdir, realpath, rename, rm, statfs } from 'node:fs/promises';
import path from 'node:path';
import { EvenrungError } from '../../../shared/errors.js';
import { whyRefused } from '../../../shared/refused.js';
import type { KeptSetRecord } from '../../../shared/set-record.js';
import { syncFolder } from '../../system/index.js';
import { SetFolder } from '../folder/set-folder.js';
import { stagingName, sweepStaged } from '../folder/staging.js';
import { checkSet, type Finding, type SetCheck } from './check.js';
import { type Checksum, checksumOf, SUMS } from './checksum.js';
import { filesOf, sidecarsOf } from './files-of.js';
import { CONTACT_SHEET, OF_LIGHT, RECORD, TABLE } from './names.js';

export interface ExportOptions {
  /** `frames` leaves out the files beside them. */
  readonly only?: 'frames' | undefined;
  /** Aborted, it ends soon and leaves nothing behind. */
  readonly signal?: AbortSignal | undefined;
}

export interface ExportedFile extends Checksum {
  /** Its name in the set folder, here and there. */
  readonly file: string;
}

export interface ExportedSet {
  /** The copy. */
  readonly folder: string;
  /** How many frames there are among the files, and how many files they have: some bodies make two of each. */
  readonly frames: number;
  readonly frameFiles: number;
  readonly files: readonly ExportedFile[];
  /** Files in the set folder that are not part of the set, such as those that were set aside. */
  readonly leftBehind: readonly string[];
  /** The state of the set: the copied files are all right, but frames may be missing. */
  readonly findings: readonly Finding[];
}

const BLOCK_BYTES = 4096;
const CHUNK_BYTES = 1024 * 1024;
/** For names and folders, whatever the file system does with them. */
const SPARE_BYTES = 1024 * 1024;

/**
 * @param folder a set folder with its record
 * @param into the folder for the copy, which gets the name of the set folder; made if it is missing
 * @throws EvenrungError no-such-set, record-unreadable, set-damaged, folder-not-writable (also if the name
 *   is taken there), storing-failed; ending if it was stopped. Then nothing is left of the copy.
 */
export async function exportSet(
  folder: string,
  into: string,
  { only, signal }: ExportOptions = {},
): Promise<ExportedSet> {
  const source = path.resolve(folder);
  const check = await checkSet(source);
  const record = mustBeSound(source, check);
  const frames = framesOf(record);
  const beside = await thereAmong(source, besideFrames(record));
  const names = only === 'frames' ? frames : [...frames, ...beside];
  await mustLieOutside(source, into);
  await SetFolder.check(into);
  await sweepStaged(path.resolve(into), 'export');
  const target = path.join(path.resolve(into), path.basename(source));
  await mustBeFree(target);
  await mustHaveRoom(into, await sizesOf(source, names));
  const files = await copyWhole(source, target, names, keptSums(record), signal);
  const parts = new Set([...frames, ...beside]);
  const leftBehind = (await filesIn(source)).filter((file) => !parts.has(file));
  const { length: count } = record.frames.filter(({ file }) => file !== null);
  const { findings } = check;
  return { folder: target, frames: count, frameFiles: frames.length, files, leftBehind, findings };
}

// --- the set

function mustBeSound(folder: string, { record, findings }: SetCheck): KeptSetRecord {
  // A frame that was never made cannot be lost on the way.
  const wrong = findings.filter(({ code, severity }) => severity === 'wrong' && code !== 'set-incomplete');
  const [first, ...others] = wrong;
  if (record !== null && first === undefined) return record;
  const sentence = first?.sentence ?? '';
  if (first?.code === 'record-unreadable' || first?.code === 'record-newer')
    throw new EvenrungError('record-unreadable', `${sentence} It is in ${folder}.`);
  if (first?.code === 'folder-unreadable') throw new EvenrungError('no-such-set', sentence);
  if (record === null)
    throw new EvenrungError(
      'no-such-set',
      `The folder ${folder} holds no finished set: it has no ${RECORD}.`,
    );
  const more = others.length === 0 ? '' : ` (and ${others.length} more)`;
  throw new EvenrungError(
    'set-damaged',
    `Nothing was exported, because the set in ${folder} differs from its record. ${sentence}${more}`,
    { findings: wrong },
  );
}

/** Of a frame of two files, both. */
const framesOf = ({ frames }: KeptSetRecord): string[] => [
  ...new Set(frames.flatMap(filesOf).map(({ file }) => file)),
];

/**
 * Names that the files beside the frames can have. A sidecar may contain somebody's work, whoever wrote it.
 */
function besideFrames(record: KeptSetRecord): string[] {
  const names = new Set([RECORD, SUMS, TABLE, CONTACT_SHEET, ...OF_LIGHT]);
  for (const { sidecar } of record.frames) if (sidecar !== null) names.add(sidecar);
  for (const one of record.frames.flatMap(filesOf)) {
    if (one.sidecar !== null) names.add(one.sidecar);
    for (const name of sidecarsOf(one)) names.add(name);
  }
  for (const frame of framesOf(record)) names.delete(frame);
  return [...names];
}

/** Links are not followed: they may lead anywhere. */
async function thereAmong(folder: string, names: readonly string[]): Promise<string[]> {
  const found = await Promise.all(
    names.map(async (name) => (await lstat(path.join(folder, name)).catch(() => null))?.isFile() ?? false),
  );
  return names.filter((_, index) => found[index]);
}

const keptSums = ({ frames }: KeptSetRecord): ReadonlyMap<string, string> =>
  new Map(
    frames.flatMap(filesOf).flatMap(({ file, sha256 }) => (sha256 === null ? [] : [[file, sha256] as const])),
  );

async function sizesOf(folder: string, names: readonly string[]): Promise<number[]> {
  try {
    return await Promise.all(names.map(async (name) => (await lstat(path.join(folder, name))).size));
  } catch (cause) {
    throw changedMeanwhile(folder, cause);
  }
}

/** Hidden files are not part of a set, and nobody misses them. */
async function filesIn(folder: string): Promise<string[]> {
  const entries = await readdir(folder, { recursive: true, withFileTypes: true });
  return entries
    .filter((entry) => !entry.isDirectory())
    .map((entry) => path.relative(folder, path.join(entry.parentPath, entry.name)).split(path.sep).join('/'))
    .filter((name) => !name.startsWith('.'))
    .sort();
}

const changedMeanwhile = (folder: string, cause: unknown): EvenrungError =>
  new EvenrungError(
    'set-damaged',
    `Nothing was exported, because a file of the set in ${folder} cannot be read: ${whyRefused(cause)}.`,
  );

// --- the place of the copy

async function mustLieOutside(source: string, into: string): Promise<void> {
  const [set, goal] = await Promise.all([realpath(source), realPlaceOf(path.resolve(into))]);
  const relative = path.relative(set, goal);
  const isInside = relative === '' || !(relative.startsWith('..') || path.isAbsolute(relative));
  if (isInside)
    throw new EvenrungError(
      'folder-not-writable',
      `The folder ${into} is inside the set itself. Give another one with --into.`,
    );
}

/** Of a folder that may not be there yet. */
async function realPlaceOf(folder: string): Promise<string> {
  try {
    return await realpath(folder);
  } catch {
    const above = path.dirname(folder);
    return above === folder ? folder : path.join(await realPlaceOf(above), path.basename(folder));
  }
}

async function mustBeFree(target: string): Promise<void> {
  if ((await lstat(target).catch(() => null)) !== null) throw taken(target);
}

const taken = (target: string): EvenrungError =>
  new EvenrungError(
    'folder-not-writable',
    `${target} exists already, and is not overwritten. Give another folder with --into, or move that one away.`,
  );

async function mustHaveRoom(into: string, sizes: readonly number[]): Promise<void> {
  const { bavail, bsize, blocks } = await statfs(into);
  // Some network disks do not tell: then it shows while copying.
  if (blocks === 0) return;
  const block = Math.max(bsize, BLOCK_BYTES);
  const needed = sizes.reduce((sum, size) => sum + Math.ceil(size / block) * block, SPARE_BYTES);
  const free = bavail * bsize;
  if (needed <= free) return;
  throw new EvenrungError(
    'storing-failed',
    `The set does not fit into ${into}: it takes ${megabytes(needed)}, and ${megabytes(free)} are free. Free some space there, or give another folder with --into.`,
    { neededBytes: needed, freeBytes: free },
  );
}

const megabytes = (bytes: number): string => `${Math.ceil(bytes / 1e6)} MB`;

// --- copying

interface Copying {
  readonly source: string;
  /** The folder beside its final place in which it is put together. */
  readonly part: string;
  readonly target: string;
  readonly signal: AbortSignal | undefined;
}

async function copyWhole(
  source: string,
  target: string,
  names: readonly string[],
  kept: ReadonlyMap<string, string>,
  signal: AbortSignal | undefined,
): Promise<ExportedFile[]> {
  const part = path.join(path.dirname(target), stagingName('export'));
  const copying = { source, part, target, signal };
  try {
    await storing(target, () => mkdir(part));
    const files: ExportedFile[] = [];
    for (const file of names) files.push(await copyFile(copying, file, kept.get(file)));
    for (const { file, sha256 } of files) await mustReadAs(copying, file, sha256);
    await storing(target, () => syncFolder(part));
    mustGoOn(signal);
    // An empty folder would be replaced without a word.
    await mustBeFree(target);
    await storing(target, async () => {
      await rename(part, target);
      await syncFolder(path.dirname(target));
    });
    return files;
  } catch (cause) {
    await rm(part, { recursive: true, force: true }).catch(() => undefined);
    throw cause;
  }
}

/** @returns the checksum of what was read; the copy is on disk when this returns */
async function copyFile(
  { source, part, target, signal }: Copying,
  file: string,
  kept: string | undefined,
): Promise<ExportedFile> {
  const from = path.join(source, file);
  const hash = createHash('sha256');
  let bytes = 0;
  const handle = await storing(target, () => open(path.join(part, file), 'wx'));
  try {
    for await (const chunk of chunksOf(source, from)) {
      mustGoOn(signal);
      hash.update(chunk);
      bytes += chunk.length;
      await storing(target, () => handle.writeFile(chunk));
    }
    // Pictures are sorted by it.
    const { mtime } = await lstat(from).catch((cause: unknown) => {
      throw changedMeanwhile(source, cause);
    });
    await storing(target, async () => {
      await handle.utimes(mtime, mtime);
      await handle.sync();
    });
  } finally {
    await handle.close();
  }
  const sha256 = hash.digest('hex');
  // It was right when the set was judged.
  if (kept !== undefined && kept !== sha256)
    throw changedMeanwhile(source, new Error(`${file} has just been changed`));
  return { file, sha256, bytes };
}

/** As far as the system allows: data that it still keeps in memory is not read from the disk again. */
async function mustReadAs({ part, target, signal }: Copying, file: string, sha256: string): Promise<void> {
  mustGoOn(signal);
  const there = await storing(target, () => checksumOf(path.join(part, file)));
  if (there.sha256 !== sha256) throw garbled(target, file);
}

async function* chunksOf(source: string, from: string): AsyncGenerator<Buffer> {
  const stream = createReadStream(from, { highWaterMark: CHUNK_BYTES });
  try {
    for await (const chunk of stream) yield chunk as Buffer;
  } catch (cause) {
    throw changedMeanwhile(source, cause);
  } finally {
    stream.destroy();
  }
}

function mustGoOn(signal: AbortSignal | undefined): void {
  if (signal?.aborted) throw new EvenrungError('ending', 'Stopped: nothing was exported.');
}

const garbled = (target: string, file: string): EvenrungError =>
  new EvenrungError(
    'storing-failed',
    `Nothing was exported: the copy of ${file} for ${target} differs from the original. Check that disk, or give a folder on another one with --into.`,
  );

async function storing<T>(target: string, work: () => Promise<T>): Promise<T> {
  try {
    return await work();
  } catch (cause) {
    throw new EvenrungError(
      'storing-failed',
      `Nothing was exported to ${target}: ${whyRefused(cause)}. Check that disk, or give another folder with --into.`,
    );
  }
}
