// Files that come whole with the event that tells of them, and are in the body no more then: under 0x11 all of them, elsewhere
// those of a body that is told to keep its pictures in memory. The library keeps the last one or two in its own memory. So
// each is put on this computer's disk at once, in the HOME of this process, where another one after it finds it too, and brought
// from there as any other file.
import { mkdir, readdir, rm, stat, writeFile } from 'node:fs/promises';
import { homedir } from 'node:os';
import path from 'node:path';
import { EvenrungError } from '../../../shared/errors.js';
import type { MadeFile } from '../link.js';
import { frameNotStored } from '../not-stored.js';

/**
 * The name that the link gives the folder of such files. No folder in a camera can have it, since theirs
 * begin with a slash.
 */
export const SPOOL = 'came-whole';

/** A file that nobody has asked for within this time will not be asked for any more. */
const KEPT_DAYS = 7;
const DAY_MS = 24 * 60 * 60 * 1000;

/** Names in the library's memory start again with each process. */
const STAMP = `${Date.now().toString(36)}${process.pid.toString(36)}`;

/** The place of a kept file: a path on disk, or the memory of this process. */
interface Kept {
  readonly at: string | Buffer;
  readonly bytes: number;
}

export class Spool {
  private readonly folder = path.join(homedir(), SPOOL);
  /**
   * The last of those files that was brought to its end. It is removed with the next one, in case the
   * receiver dies just after getting it.
   */
  private brought: string | undefined;
  /** Files that the disk did not take: better here than nowhere. */
  private readonly held = new Map<string, Buffer>();
  private isSwept = false;

  async put(name: string, bytes: Uint8Array): Promise<MadeFile> {
    const { name: stem, ext } = path.parse(name);
    const kept = `${stem}-${STAMP}${ext}`;
    try {
      await this.ready();
      await writeFile(path.join(this.folder, kept), bytes, { flag: 'wx' });
    } catch (cause) {
      process.stderr.write(`${frameNotStored(this.folder, cause).message}\n`);
      await rm(path.join(this.folder, kept), { force: true }).catch(() => undefined);
      this.held.set(kept, Buffer.from(bytes));
    }
    return { folder: SPOOL, name: kept, bytes: bytes.length };
  }

  /** @throws EvenrungError file-not-there */
  async find({ name }: MadeFile): Promise<Kept> {
    const held = this.held.get(name);
    if (held !== undefined) return { at: held, bytes: held.length };
    const file = path.join(this.folder, path.basename(name));
    try {
      return { at: file, bytes: (await stat(file)).size };
    } catch {
      throw new EvenrungError(
        'file-not-there',
        `The file ${name} came from the camera, but has disappeared from this computer.`,
        {
          file: name,
        },
      );
    }
  }

  /** It has been brought to its end. */
  async forget({ name }: MadeFile): Promise<void> {
    const before = this.brought;
    this.brought = name;
    if (before === undefined || before === name) return;
    this.held.delete(before);
    await rm(path.join(this.folder, before), { force: true });
  }

  private async ready(): Promise<void> {
    await mkdir(this.folder, { recursive: true });
    if (this.isSwept) return;
    this.isSwept = true;
    const oldest = Date.now() - KEPT_DAYS * DAY_MS;
    for (const name of await readdir(this.folder)) {
      const file = path.join(this.folder, name);
      const { mtimeMs } = await stat(file);
      if (mtimeMs < oldest) await rm(file, { force: true });
    }
  }
}
