// A set on disk: numbered frames, files set aside, and the files that are handed over with them. Files arrive
// in a folder of their own and are renamed into the set, whole or not at all. It knows names and files, and
// nothing of exposures or states.
import { constants, type Dirent } from 'node:fs';
import { access, lstat, mkdir, readdir, rename, rm, rmdir, stat, statfs } from 'node:fs/promises';
import path from 'node:path';
import { EvenrungError } from '../../../shared/errors.js';
import { untilStored, whyRefused } from '../../../shared/refused.js';
import { type SetRecord, setRecordSchema } from '../../../shared/set-record.js';
import { PARTIAL, putWhole, syncFile, syncFolder } from '../../system/index.js';
import { type Checksum, checksumOf, SUMS } from '../hand-over/checksum.js';
import { type HandedOver, handOver } from '../hand-over/hand-over.js';
import { CONTACT_SHEET, OF_LIGHT, RECORD, recordText, TABLE } from '../hand-over/names.js';
import { kindOf } from '../read/kind.js';
import { defaultNaming, type SetNaming, setFolderName, type Template } from './naming.js';
import { type KeptName, lookOnDisk } from './on-disk.js';
import { isForsaken, RESERVE, releaseAll, releaseRest, reserve, reserveAgain } from './reserve.js';
import { stagingName, sweepStaged } from './staging.js';

const INCOMING = '.incoming';
const ASIDE = 'set-aside';
/** The files of a set folder besides its frames. */
const HANDED_OVER: ReadonlySet<string> = new Set([RECORD, SUMS, TABLE, CONTACT_SHEET, ...OF_LIGHT]);
/** The assumed size of a frame until one has come back. */
const SMALL_FRAME_BYTES = 64 * 1024;

/** A file, and its extension by content. */
export interface FileOfKind {
  readonly path: string;
  readonly kind: string;
}

/** A name for each of them. */
type Each<Files extends readonly unknown[]> = { [Index in keyof Files]: string };

export interface CreateOptions {
  readonly template?: Template;
  readonly keeper?: string | null;
}

export class SetFolder {
  readonly path: string;
  /** The time that it was named by; null for a folder that existed already. */
  readonly startedAt: Date | null;
  /** The folder in which the link puts files that come back. */
  readonly incoming: string;
  private taken: Promise<unknown> = Promise.resolve();
  /** Names under set-aside/ that are spoken for, and have no file yet. */
  private readonly spokenFor = new Set<string>();
  private largestFrame = SMALL_FRAME_BYTES;

  /**
   * Makes a set folder. It is put together under a hidden name, so that what a killed program leaves behind
   * is not taken for a set.
   * @param into the folder in which set folders are made; made if it is missing
   * @param set names the set folder, by the template: set-20261125-164210, followed by a number if that is
   *   taken
   * @param keeper the place that keeps account of the sets, such as the state folder
   * @throws EvenrungError folder-not-writable, before anything is fired
   */
  static async create(
    into: string,
    set: SetNaming,
    { template = defaultNaming().set, keeper = null }: CreateOptions = {},
  ): Promise<SetFolder> {
    await SetFolder.check(into);
    const parent = path.resolve(into);
    const staged = path.join(parent, stagingName('set'));
    try {
      await mkdir(staged);
      await mkdir(path.join(staged, INCOMING));
      await reserve(staged, keeper);
      const folder = await renameToFree(staged, path.join(parent, setFolderName(template, set)));
      return new SetFolder(folder, set.startedAt);
    } catch (cause) {
      await rm(staged, { recursive: true, force: true }).catch(() => undefined);
      throw notWritable(into, cause);
    }
  }

  /**
   * Removes what killed programs left behind before a frame came: folders that were being made, and folders
   * of sets that the keeper does not know. Everything else stays, whoever made it, and so does anything that
   * cannot be removed.
   * @param isKnown whether the keeper accounts for a set in that folder; an error of it is thrown
   */
  static async sweepUnused(
    into: string,
    keeper: string,
    isKnown: (folder: string) => boolean,
  ): Promise<void> {
    const parent = path.resolve(into);
    await sweepStaged(parent, 'set');
    const entries = await readdir(parent, { withFileTypes: true }).catch(() => []);
    for (const { name } of entries.filter((entry) => entry.isDirectory() && !entry.name.startsWith('.'))) {
      const folder = path.join(parent, name);
      const isEmpty = await holdsNothing(folder);
      if (!isEmpty || !(await isForsaken(folder, keeper)) || isKnown(folder)) continue;
      // Whatever comes into it meanwhile keeps it.
      await rmdir(path.join(folder, INCOMING)).catch(() => undefined);
      await releaseAll(folder).catch(() => undefined);
      await rmdir(folder).catch(() => undefined);
    }
  }

  /**
   * Makes the folder for set folders if it is missing, and checks that it can be written.
   * @throws EvenrungError folder-not-writable
   */
  static async check(into: string): Promise<void> {
    try {
      await makeAll(path.resolve(into));
      await access(into, constants.W_OK);
    } catch (cause) {
      throw notWritable(into, cause);
    }
  }

  /**
   * Opens a set folder that was begun earlier; parts of it that are missing are made again.
   * @throws EvenrungError set-folder-gone, folder-not-writable
   */
  static async reopen(folder: string): Promise<SetFolder> {
    try {
      await access(folder, constants.W_OK);
      const set = new SetFolder(path.resolve(folder));
      await mkdir(set.incoming, { recursive: true });
      await set.sweepPartial();
      await reserveAgain(set.path);
      return set;
    } catch (cause) {
      if (await isGone(folder)) throw notWhereItWas(folder);
      throw notWritable(folder, cause);
    }
  }

  /**
   * Looks whether a set folder that was handed over is still there and can be written; changes nothing.
   * @returns the names of the files in it and under set-aside/, from the set folder on, that are neither hidden nor handed over
   *   with its frames
   * @throws EvenrungError set-folder-gone, folder-not-writable
   */
  static async filesIn(folder: string): Promise<string[]> {
    try {
      await access(folder, constants.W_OK);
      return await framesIn(folder);
    } catch (cause) {
      if (await isGone(folder)) throw notWhereItWas(folder);
      throw new EvenrungError(
        'folder-not-writable',
        `The set in ${folder} cannot be resumed: ${whyRefused(cause)}. Fix that, or shoot the set again.`,
      );
    }
  }

  private constructor(folder: string, startedAt: Date | null = null) {
    this.path = folder;
    this.startedAt = startedAt;
    this.incoming = path.join(folder, INCOMING);
  }

  /** Takes note of the bytes of a frame that has come, of one file or of two. */
  sawFrame(bytes: number): void {
    this.largestFrame = Math.max(this.largestFrame, bytes);
  }

  /**
   * Checks that the disk takes another frame as large as the largest so far: a frame that cannot be stored
   * had better not be fired.
   * @throws EvenrungError storing-failed
   */
  async mustHaveRoom(): Promise<void> {
    const { bavail, bsize } = await this.storing(() => statfs(this.incoming));
    if (bavail * bsize > this.largestFrame) return;
    throw storingFailed(this.path, Object.assign(new Error(), { code: 'ENOSPC' }), { released: false });
  }

  /**
   * @returns the file's extension by its content, such as jpg; undefined if it is nothing that a camera
   *   writes
   */
  async kindOf(file: string): Promise<string | undefined> {
    return this.storing(async () => {
      this.sawFrame(await sizeOf(file));
      return kindOf(file);
    });
  }

  /**
   * Checks by names and sizes that the files that were taken in are still there.
   * @returns what is wrong, set-folder-gone or set-damaged; null if nothing is
   */
  async lost(kept: readonly KeptName[]): Promise<EvenrungError | null> {
    const { state, sentence } = await lookOnDisk(this.path, kept);
    if (state === 'gone') return folderGone(this.path, kept.length);
    return sentence === null ? null : new EvenrungError('set-damaged', sentence);
  }

  /** @returns why nothing could be stored: if the folder is gone, that is all there is to say */
  async whyNotStored(error: EvenrungError): Promise<EvenrungError> {
    if (error.code !== 'storing-failed' || !(await isGone(this.path))) return error;
    return folderGone(this.path, 0, error.details);
  }

  /**
   * @param name relative to the set folder
   * @returns null if it cannot be read
   */
  async checksumOf(name: string): Promise<Checksum | null> {
    return checksumOf(path.join(this.path, name)).catch(() => null);
  }

  /**
   * Takes a verified frame in.
   * @param stem its name without extension, such as frameStem gives: 03_-2EV
   * @returns the name; nothing that is there is ever overwritten
   */
  async keep(file: string, stem: string, kind: string): Promise<string> {
    const [name] = await this.take([{ path: file, kind }], '', stem);
    return name;
  }

  /**
   * Takes both files of a verified frame in.
   * @returns their names, which differ in the extension alone; in the order of the files
   */
  async keepBoth(
    files: readonly [own: FileOfKind, partner: FileOfKind],
    stem: string,
  ): Promise<readonly [own: string, partner: string]> {
    return this.take(files, '', stem);
  }

  /** Takes a file in that belongs to no frame, under set-aside/. @returns its name, from the set folder on */
  async setAside(file: string, frameNumber: number | null, kind: string | undefined): Promise<string> {
    const [name = ''] = await this.setAllAside([{ path: file, kind }], frameNumber);
    return name;
  }

  /** As setAside, for the files of one exposure. @returns their names, which differ in the extension alone, if they are of several kinds */
  async setAllAside(
    files: readonly { readonly path: string; readonly kind: string | undefined }[],
    frameNumber: number | null,
  ): Promise<readonly string[]> {
    await this.storing(() => this.makeAside());
    const stem = frameNumber === null ? 'other' : `frame-${String(frameNumber).padStart(2, '0')}`;
    const known = files.map(({ path: file, kind = 'unknown' }) => ({ path: file, kind }));
    // Two of one kind cannot have one name.
    if (new Set(known.map(({ kind }) => kind)).size === files.length) return this.take(known, ASIDE, stem);
    const names: string[] = [];
    for (const file of known) names.push(...(await this.take([file], ASIDE, stem)));
    return names;
  }

  /**
   * The place that a frame is going to be moved to when another one takes its place. The names are reserved
   * from now on.
   * @param files the names of the frame's files in the set folder
   * @returns names under set-aside/, relative to the set folder, in the order of the files
   */
  async nameAside<const Files extends readonly string[]>(
    files: Files,
    frameNumber: number,
  ): Promise<Each<Files>> {
    return this.inTurn(() =>
      this.storing(async () => {
        const folder = await this.makeAside();
        const taken = new Set([...(await readdir(folder)), ...this.spokenFor]);
        const stem = `frame-${String(frameNumber).padStart(2, '0')}`;
        const kinds = files.map((file) => path.extname(file).slice(1) || 'unknown');
        const free = freeStem(taken, stem, kinds);
        const names = kinds.map((kind) => `${free}.${kind}`);
        for (const name of names) this.spokenFor.add(name);
        return names.map((name) => path.join(ASIDE, name)) as Each<Files>;
      }),
    );
  }

  /** Not with what lies above it: a set folder that is gone must not come back empty. @returns its path */
  private async makeAside(): Promise<string> {
    const folder = path.join(this.path, ASIDE);
    await mkdir(folder).catch((cause: NodeJS.ErrnoException) => {
      if (cause.code !== 'EEXIST') throw cause;
    });
    return folder;
  }

  /** A name under set-aside/ that was given before a restart is still spoken for. */
  keepNameAside(name: string): void {
    this.spokenFor.add(path.basename(name));
  }

  /** Moves a frame to the name that it was given; one that is there already stays. */
  async moveAside(file: string, name: string): Promise<void> {
    await this.storing(async () => {
      const [from, to] = [path.join(this.path, file), path.join(this.path, name)];
      await this.makeAside();
      try {
        await rename(from, to);
      } catch (cause) {
        // It was moved before a restart.
        if ((cause as NodeJS.ErrnoException).code !== 'ENOENT') throw cause;
      }
      await syncFolder(path.dirname(to));
      await syncFolder(path.dirname(from));
    });
  }

  /** @param names among the frames or under set-aside/, from the set folder on @returns which of these files are there */
  async thereAmong(names: readonly string[]): Promise<string[]> {
    const frames = await readdir(this.path).catch(() => []);
    const aside = await readdir(path.join(this.path, ASIDE)).catch(() => []);
    const there = new Set([...frames, ...aside.map((name) => path.join(ASIDE, name))]);
    return names.filter((name) => there.has(name));
  }

  /**
   * Puts every file that nobody knows of, among the frames or under set-aside/, back among the arrivals: the program ended, or could
   * keep account of nothing, between its having its place and that being known.
   * @param known names, from the set folder on
   * @returns the paths of all arrivals
   */
  async strangers(known: ReadonlySet<string>): Promise<string[]> {
    return this.storing(async () => {
      for (const file of await framesIn(this.path)) {
        if (known.has(file)) continue;
        const arrival = `again-${file.replaceAll(path.sep, '-')}`;
        await rename(path.join(this.path, file), path.join(this.incoming, arrival));
      }
      return (await readdir(this.incoming)).sort().map((name) => path.join(this.incoming, name));
    });
  }

  /** Takes whatever is still among the arrivals under set-aside/. @returns the names, from the set folder on */
  async sweep(): Promise<string[]> {
    const left = await readdir(this.incoming).catch(() => []);
    const taken: string[] = [];
    for (const name of left) {
      const file = path.join(this.incoming, name);
      taken.push(await this.setAside(file, null, await this.kindOf(file)));
    }
    return taken;
  }

  /**
   * Writes the files beside the frames, or writes them anew. Never throws: files that could not be made are
   * reported, and the room for the record is kept.
   * @param thumbnails a small JPEG of each frame, by its number
   * @param leaving names of files that are moved away later
   * @returns what was made; with the error, if the disk is full
   */
  async handOver(
    record: SetRecord,
    thumbnails: ReadonlyMap<number, Buffer>,
    leaving: ReadonlySet<string>,
    map: Buffer | null = null,
  ): Promise<Omit<HandedOver, 'full'> & { readonly error: EvenrungError | null }> {
    await this.sweepPartial().catch(() => undefined);
    await releaseRest(this.path);
    const parsed = setRecordSchema.parse(record);
    const { full, ...made } = await handOver(this.path, parsed, thumbnails, leaving, map);
    return { ...made, error: full === null ? null : storingFailed(this.path, full) };
  }

  /** Writes set.json, whose presence says that the set has ended, and removes the folder of arrivals. */
  async finish(record: SetRecord): Promise<void> {
    await this.storing(async () => {
      await releaseAll(this.path);
      await putWhole(path.join(this.path, RECORD), recordText(setRecordSchema.parse(record)));
      await syncFolder(this.path);
      await rmdir(this.incoming).catch(() => undefined);
    });
  }

  /**
   * Removes the set folder if nothing was stored in it.
   * @returns whether it was removed
   */
  async removeIfEmpty(): Promise<boolean> {
    await this.sweepPartial().catch(() => undefined);
    const entries = await readdir(this.path, { recursive: true, withFileTypes: true });
    if (entries.some((entry) => entry.isFile() && entry.name !== RESERVE)) return false;
    await rm(this.path, { recursive: true });
    return true;
  }

  /** Removes files that were being written when an earlier program ended. */
  private sweepPartial(): Promise<void> {
    return SetFolder.sweepPartial(this.path);
  }

  /** As sweepPartial, of a set that may have ended: what its pictures show is written after its end. */
  static async sweepPartial(folder: string): Promise<void> {
    for (const name of await readdir(folder)) {
      const whole = name.endsWith(PARTIAL) ? name.slice(0, -PARTIAL.length) : null;
      if (whole !== null && (HANDED_OVER.has(whole) || whole.endsWith('.xmp')))
        await rm(path.join(folder, name), { force: true });
    }
  }

  /** One after the other: names are looked for and taken in two steps. */
  private take<const Files extends readonly FileOfKind[]>(
    files: Files,
    folder: string,
    stem: string,
  ): Promise<Each<Files>> {
    return this.inTurn(() => this.takeNow(files, folder, stem)) as Promise<Each<Files>>;
  }

  private inTurn<T>(work: () => Promise<T>): Promise<T> {
    const taking = this.taken.then(work);
    this.taken = taking.catch(() => undefined);
    return taking;
  }

  private async takeNow(files: readonly FileOfKind[], folder: string, stem: string): Promise<string[]> {
    return this.storing(async () => {
      const there = await readdir(path.join(this.path, folder));
      const taken = new Set([...there, ...(folder === ASIDE ? this.spokenFor : [])]);
      const kinds = files.map(({ kind }) => kind);
      const free = freeStem(taken, stem, kinds);
      // Content comes first: a name on disk must never lead to content that is not.
      for (const file of files) await syncFile(file.path);
      const names: string[] = [];
      for (const { path: file, kind } of files) {
        const name = path.join(folder, `${free}.${kind}`);
        await rename(file, path.join(this.path, name));
        names.push(name);
      }
      await syncFolder(path.join(this.path, folder));
      return names;
    });
  }

  private async storing<T>(work: () => Promise<T>): Promise<T> {
    try {
      return await work();
    } catch (cause) {
      throw await this.whyNotStored(storingFailed(this.path, cause));
    }
  }
}

const isGone = async (folder: string): Promise<boolean> =>
  !(await stat(folder).catch(() => null))?.isDirectory();

const notWhereItWas = (folder: string): EvenrungError =>
  new EvenrungError(
    'set-folder-gone',
    `The set folder ${folder} is missing: it was moved or deleted, or its disk is not connected. Put it back and try again, or shoot the set again.`,
  );

/** @param frames how many were in it, if that is known */
function folderGone(
  folder: string,
  frames: number,
  details: Readonly<Record<string, unknown>> = {},
): EvenrungError {
  const withThem = ['', ', and the frame in it', `, and the ${frames} frames in it`][Math.min(frames, 2)];
  return new EvenrungError(
    'set-folder-gone',
    `The set folder ${folder} is missing${withThem}: it was moved or deleted, or its disk was disconnected. Put it back and complete the set, or shoot the set again.`,
    details,
  );
}

/**
 * @returns the names of files that may be frames; hidden files, and those that are handed over with the
 *   frames, are not
 */
const framesAmong = (entries: readonly Dirent[]): string[] =>
  entries
    .filter((entry) => entry.isFile())
    .map(({ name }) => name)
    .filter((name) => !name.startsWith('.') && !HANDED_OVER.has(name) && !name.endsWith('.xmp'));

/** @returns what lies there as frames do, also under set-aside/, by its name from the set folder on */
async function framesIn(folder: string): Promise<string[]> {
  const aside = await readdir(path.join(folder, ASIDE), { withFileTypes: true }).catch(nothingThere);
  return [
    ...framesAmong(await readdir(folder, { withFileTypes: true })),
    ...framesAmong(aside).map((name) => path.join(ASIDE, name)),
  ];
}

/** @returns the stem, followed by a number if a file of one of these kinds has it */
function freeStem(there: ReadonlySet<string>, stem: string, kinds: readonly string[]): string {
  // On disks that know no case, one would take the place of another.
  const taken = new Set([...there].map((name) => name.toLowerCase()));
  const isTaken = (one: string) => kinds.some((kind) => taken.has(`${one}.${kind}`.toLowerCase()));
  let free = stem;
  for (let again = 2; isTaken(free); again += 1) free = `${stem}_${again}`;
  return free;
}

function storingFailed(
  folder: string,
  cause: unknown,
  details: Readonly<Record<string, unknown>> = {},
): EvenrungError {
  return new EvenrungError(
    'storing-failed',
    `Nothing can be stored in ${folder}: ${whyRefused(cause)}. ${untilStored(cause)}`,
    details,
  );
}

function notWritable(into: string, cause: unknown): EvenrungError {
  return new EvenrungError(
    'folder-not-writable',
    `The folder ${into} cannot take sets: ${whyRefused(cause)}. ${untilStored(cause)}`,
  );
}

/**
 * @returns nothing if the folder was never made
 * @throws any other error
 */
function nothingThere(cause: unknown): Dirent[] {
  if ((cause as NodeJS.ErrnoException).code === 'ENOENT') return [];
  throw cause;
}

const sizeOf = async (file: string): Promise<number> => (await stat(file)).size;

/** Level by level: the recursive mkdir of Node never comes back from some file systems that refuse to hold folders. */
async function makeAll(folder: string): Promise<void> {
  try {
    if ((await stat(folder)).isDirectory()) return;
    throw Object.assign(new Error('it is a file'), { code: 'EEXIST' });
  } catch (cause) {
    const missing = (cause as NodeJS.ErrnoException).code === 'ENOENT';
    if (!missing || path.dirname(folder) === folder) throw cause;
  }
  await makeAll(path.dirname(folder));
  try {
    await mkdir(folder);
  } catch (cause) {
    // Somebody else has made it just now.
    if ((cause as NodeJS.ErrnoException).code !== 'EEXIST') throw cause;
  }
}

const TAKEN: ReadonlySet<string> = new Set(['EEXIST', 'ENOTEMPTY', 'ENOTDIR']);

/** @returns the path that it has now: the wanted one, followed by a number if that is taken */
async function renameToFree(staged: string, wanted: string): Promise<string> {
  for (let again = 1; ; again += 1) {
    const folder = again === 1 ? wanted : `${wanted}-${again}`;
    // An empty folder would be replaced without a word.
    if ((await lstat(folder).catch(() => null)) !== null) continue;
    try {
      await rename(staged, folder);
      await syncFolder(path.dirname(folder));
      return folder;
    } catch (cause) {
      if (!TAKEN.has((cause as NodeJS.ErrnoException).code ?? '')) throw cause;
    }
  }
}

/** Whether the folder of a set contains only what was made with it. */
async function holdsNothing(folder: string): Promise<boolean> {
  const names = await readdir(folder).catch(() => null);
  if (!names?.includes(RESERVE) || names.some((name) => name !== RESERVE && name !== INCOMING)) return false;
  return (await readdir(path.join(folder, INCOMING)).catch(() => [])).length === 0;
}
