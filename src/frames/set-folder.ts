// A set on disk: numbered frames, what was set aside, and set.json. Files arrive in a folder of their own and are renamed
// into the set, whole or not at all. It knows names and files, and nothing of exposures or states.
import { constants } from 'node:fs';
import { access, mkdir, open, readdir, rename, rm, rmdir, stat, statfs, writeFile } from 'node:fs/promises';
import path from 'node:path';
import { EvenrungError } from '../../shared/errors.js';
import { untilStored, whyRefused } from '../../shared/refused.js';
import { type SetRecord, setRecordSchema } from '../../shared/set-record.js';
import { type Checksum, checksumOf, SUMS } from './checksum.js';
import { CONTACT_SHEET } from './contact-sheet.js';
import { syncFile, syncFolder } from './sync.js';
import { TABLE } from './table.js';

const INCOMING = '.incoming';
const ASIDE = 'set-aside';
export const RECORD = 'set.json';
const PARTIAL = '.part';
/** What a set folder holds beside its frames. */
const HANDED_OVER: ReadonlySet<string> = new Set([RECORD, SUMS, TABLE, CONTACT_SHEET]);
/** Room that is kept for the record: a set that ends on a full disk must still be able to say what it holds. */
const RESERVE = '.reserve';
/** Several times the record of a set of 61 frames. */
const RESERVE_BYTES = 256 * 1024;
/** What a frame is taken for until one has come back. */
const SMALL_FRAME_BYTES = 64 * 1024;

export class SetFolder {
  readonly path: string;
  /** Where the link puts what comes back. */
  readonly incoming: string;
  private taken: Promise<unknown> = Promise.resolve();
  private largestFrame = SMALL_FRAME_BYTES;

  /**
   * @param into the folder that takes sets; made where it is missing
   * @param startedAt names the set folder: set-20261125-164210, with a number behind it where that is taken
   * @throws EvenrungError folder-not-writable, before anything is fired
   */
  static async create(into: string, startedAt: Date): Promise<SetFolder> {
    await SetFolder.check(into);
    try {
      const folder = new SetFolder(await makeNew(path.join(into, `set-${stamp(startedAt)}`)));
      await mkdir(folder.incoming);
      await writeFile(path.join(folder.path, RESERVE), Buffer.alloc(RESERVE_BYTES, 1));
      return folder;
    } catch (cause) {
      throw notWritable(into, cause);
    }
  }

  /**
   * Makes the folder that takes sets where it is missing, and looks whether it can be written.
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
   * Takes up a set folder that was begun: what is missing of its inside is made again.
   * @throws EvenrungError folder-not-writable
   */
  static async reopen(folder: string): Promise<SetFolder> {
    try {
      await access(folder, constants.W_OK);
      const set = new SetFolder(path.resolve(folder));
      await mkdir(set.incoming, { recursive: true });
      await rm(path.join(set.path, `${RECORD}${PARTIAL}`), { force: true });
      await writeFile(path.join(set.path, RESERVE), Buffer.alloc(RESERVE_BYTES, 1));
      return set;
    } catch (cause) {
      throw notWritable(folder, cause);
    }
  }

  private constructor(folder: string) {
    this.path = folder;
    this.incoming = path.join(folder, INCOMING);
  }

  /**
   * Whether the disk takes another frame as large as the largest so far: one that cannot be stored had better not be fired.
   * @throws EvenrungError storing-failed
   */
  async mustHaveRoom(): Promise<void> {
    const { bavail, bsize } = await this.storing(() => statfs(this.incoming));
    if (bavail * bsize > this.largestFrame) return;
    throw storingFailed(this.path, Object.assign(new Error(), { code: 'ENOSPC' }), { released: false });
  }

  /** @returns the file's extension by its content, such as jpg; undefined where it is nothing that a camera writes */
  async kindOf(file: string): Promise<string | undefined> {
    const { fileTypeFromFile } = await import('file-type');
    this.largestFrame = Math.max(this.largestFrame, await sizeOf(file));
    return (await fileTypeFromFile(file))?.ext;
  }

  /** @param name from the set folder on @returns null where it cannot be read */
  async checksumOf(name: string): Promise<Checksum | null> {
    return checksumOf(path.join(this.path, name)).catch(() => null);
  }

  /** Takes a verified frame in: 03_-2EV.jpg. @returns the name; nothing that is there is ever overwritten */
  async keep(file: string, frame: { number: number; offsetEv: number }, kind: string): Promise<string> {
    const offset =
      frame.offsetEv === 0 ? '0' : `${frame.offsetEv > 0 ? '+' : ''}${Number(frame.offsetEv.toFixed(2))}`;
    return this.take(file, '', `${String(frame.number).padStart(2, '0')}_${offset}EV`, kind);
  }

  /** Takes a file in that belongs to no frame, under set-aside/. @returns its name, from the set folder on */
  async setAside(file: string, frameNumber: number | null, kind: string | undefined): Promise<string> {
    await this.storing(() => mkdir(path.join(this.path, ASIDE), { recursive: true }));
    const stem = frameNumber === null ? 'stray' : `frame-${String(frameNumber).padStart(2, '0')}`;
    return this.take(file, ASIDE, stem, kind ?? 'unknown');
  }

  /**
   * Puts every frame that nobody knows of back among the arrivals: the program ended between its having its place and that being
   * known.
   * @param known names, from the set folder on
   * @returns the paths of all arrivals
   */
  async strangers(known: ReadonlySet<string>): Promise<string[]> {
    return this.storing(async () => {
      const entries = await readdir(this.path, { withFileTypes: true });
      for (const { name } of entries.filter((entry) => entry.isFile())) {
        if (known.has(name) || name.startsWith('.') || HANDED_OVER.has(name) || name.endsWith('.xmp'))
          continue;
        await rename(path.join(this.path, name), path.join(this.incoming, `again-${name}`));
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

  /** Writes set.json and removes the folder of arrivals. */
  async finish(record: SetRecord): Promise<void> {
    await this.storing(async () => {
      const target = path.join(this.path, RECORD);
      await rm(path.join(this.path, RESERVE), { force: true });
      const partial = `${target}${PARTIAL}`;
      const handle = await open(partial, 'w');
      try {
        await handle.writeFile(`${JSON.stringify(setRecordSchema.parse(record), null, 2)}\n`);
        await handle.sync();
      } finally {
        await handle.close();
      }
      await rename(partial, target);
      await syncFolder(this.path);
      await rmdir(this.incoming).catch(() => undefined);
    });
  }

  /** Removes the set folder where nothing was stored in it. @returns whether it was removed */
  async removeIfEmpty(): Promise<boolean> {
    const entries = await readdir(this.path, { recursive: true, withFileTypes: true });
    if (entries.some((entry) => entry.isFile() && entry.name !== RESERVE)) return false;
    await rm(this.path, { recursive: true });
    return true;
  }

  /** One after the other: names are looked for and taken in two steps. */
  private take(file: string, folder: string, stem: string, kind: string): Promise<string> {
    const taking = this.taken.then(() => this.takeNow(file, folder, stem, kind));
    this.taken = taking.catch(() => undefined);
    return taking;
  }

  private async takeNow(file: string, folder: string, stem: string, kind: string): Promise<string> {
    return this.storing(async () => {
      const taken = new Set(await readdir(path.join(this.path, folder)));
      let name = `${stem}.${kind}`;
      for (let again = 2; taken.has(name); again += 1) name = `${stem}_${again}.${kind}`;
      const full = path.join(folder, name);
      // A name must not last longer than what it stands for.
      await syncFile(file);
      await rename(file, path.join(this.path, full));
      await syncFolder(path.join(this.path, folder));
      return full;
    });
  }

  private async storing<T>(work: () => Promise<T>): Promise<T> {
    try {
      return await work();
    } catch (cause) {
      throw storingFailed(this.path, cause);
    }
  }
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
    `The folder ${into} cannot take sets: ${whyRefused(cause)}. Give another one with --into.`,
  );
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
    // Somebody else made it just now.
    if ((cause as NodeJS.ErrnoException).code !== 'EEXIST') throw cause;
  }
}

async function makeNew(wanted: string): Promise<string> {
  for (let again = 1; ; again += 1) {
    const folder = again === 1 ? wanted : `${wanted}-${again}`;
    try {
      await mkdir(folder);
      return folder;
    } catch (cause) {
      if ((cause as NodeJS.ErrnoException).code !== 'EEXIST') throw cause;
    }
  }
}

/** @returns local time as 20261125-164210: folders are looked for by the clock on the wall */
function stamp(date: Date): string {
  const two = (value: number) => String(value).padStart(2, '0');
  const day = `${date.getFullYear()}${two(date.getMonth() + 1)}${two(date.getDate())}`;
  return `${day}-${two(date.getHours())}${two(date.getMinutes())}${two(date.getSeconds())}`;
}
