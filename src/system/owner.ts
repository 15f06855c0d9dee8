// One Evenrung at a time owns a state folder, and with it the journal and what is owed to bodies. The lock is the kernel's: it goes
// with the process, however that ends, so that none is ever left behind. A readable file beside it says who holds it.
//
// It is SQLite's lock on a file of its own: a POSIX record lock (fcntl), or LockFileEx on Windows. It holds on disks of this
// computer, also between containers that share one. Over NFS it holds between computers where version 4 or a lock daemon is
// in use, and there a computer that died keeps it until its lease runs out. Other network file systems may lock within one
// computer only, or not at all: a state folder belongs on a disk of the computer that it is used on.
// A process loses its record locks on a file when it closes any handle of that file: nothing else may open owner.lock.
import { readFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import Sqlite, { type Database } from 'better-sqlite3';
import { z } from 'zod';
import { EvenrungError } from '../../shared/errors.js';
import { whyRefused } from '../../shared/refused.js';
import { isDamage, refusedAtOpening } from './refused.js';
import { makeReady } from './state-folder.js';
import { wallTime } from './wall-clock.js';
import { removeWhole, setAside, sweepParts, writeWhole } from './whole-file.js';

/** Who owns it, as owner.json tells a person and the next one who asks. */
const ownerSchema = z.object({
  version: z.literal(1),
  pid: z.number().int().positive(),
  host: z.string(),
  /** The command: serve, fire ... */
  what: z.string(),
  /** The address of the panel, if there is one. */
  address: z.string().nullable(),
  /** ISO 8601, UTC. */
  since: z.iso.datetime(),
});
type Told = z.infer<typeof ownerSchema>;

export interface Claim {
  /** The command: serve, fire ... */
  readonly what: string;
  /** The address of the panel, if it is known already. */
  readonly address?: string | undefined;
}

/** Folders of the state folder in which files are written whole, itself among them. */
const KEEP_FILES = ['.', 'journal', 'as-found', 'tls'] as const;

/** The one before may be ending, or may not have said yet who it is. */
const SECOND_LOOK_MS = 50;

/** A lock whose object nobody refers to would be closed, and with it the lock. */
const held = new Set<Database>();

export class Owner {
  private readonly lock: Database;
  private readonly file: string;
  private told: Told;

  /**
   * Never waits for the present holder.
   * @throws EvenrungError already-owned, with `pid`, `what`, `address` and `since` in its details as far as
   *   they are known; state-not-writable
   */
  static async take(stateFolder: string, { what, address }: Claim): Promise<Owner> {
    const folder = path.resolve(stateFolder);
    await makeReady(folder);
    const lockFile = path.join(folder, 'owner.lock');
    const file = path.join(folder, 'owner.json');
    let lock = await tryLock(lockFile);
    if (lock === null) {
      let told = await read(file);
      if (told === null || !isThere(told)) {
        await pause(SECOND_LOOK_MS);
        lock = await tryLock(lockFile);
        told = await read(file);
      }
      if (lock === null) throw alreadyOwned(told);
    }
    const owner = new Owner(lock, file, {
      version: 1,
      pid: process.pid,
      host: os.hostname(),
      what,
      address: address ?? null,
      since: new Date().toISOString(),
    });
    await Promise.all(KEEP_FILES.map((name) => sweepParts(path.join(folder, name))));
    try {
      await owner.tell();
    } catch (cause) {
      await owner.release();
      throw cause;
    }
    return owner;
  }

  private constructor(lock: Database, file: string, told: Told) {
    this.lock = lock;
    this.file = file;
    this.told = told;
    held.add(lock);
  }

  /** The panel is at this address from now on. @throws EvenrungError state-not-writable */
  async announce(address: string): Promise<void> {
    this.told = { ...this.told, address };
    await this.tell();
  }

  /** Another process can take the lock at once. Calling it twice is not an error; never throws. */
  async release(): Promise<void> {
    if (!this.lock.open) return;
    // Before the lock goes: after it, the file could be the next one's. Left behind without a lock, it means nothing.
    await removeWhole(this.file).catch(() => undefined);
    this.lock.close();
    held.delete(this.lock);
  }

  private async tell(): Promise<void> {
    try {
      await writeWhole(this.file, `${JSON.stringify(this.told, null, 2)}\n`);
    } catch (cause) {
      throw new EvenrungError(
        'state-not-writable',
        `The lock cannot be written to ${this.file}: ${whyRefused(cause)}. Name a state folder that can be written, in XDG_STATE_HOME.`,
      );
    }
  }
}

/**
 * @returns the lock, held; null if another process holds it
 * @throws EvenrungError state-not-writable
 */
async function tryLock(file: string): Promise<Database | null> {
  try {
    return lockNow(file);
  } catch (cause) {
    if (!isDamage(cause)) throw refusedAtOpening(file, cause);
    // The holder of a lock keeps others from reading the file; a file that can be read and is not a database
    // belongs to nobody.
    await setAside(file, 'damaged').catch((refused: unknown) => {
      throw refusedAtOpening(file, refused);
    });
    return lockNow(file);
  }
}

function lockNow(file: string): Database | null {
  const database = new Sqlite(file, { timeout: 0 });
  try {
    // Nothing is ever written, and no file is left beside it.
    database.pragma('journal_mode = MEMORY');
    database.exec('BEGIN EXCLUSIVE');
    return database;
  } catch (cause) {
    database.close();
    if (cause instanceof Sqlite.SqliteError && cause.code.startsWith('SQLITE_BUSY')) return null;
    throw cause;
  }
}

/**
 * @returns the address of the panel of the process that owns a state folder; null if there is none, or if
 *   nobody can tell
 */
export async function whoOwns(stateFolder: string): Promise<{ readonly address: string | null } | null> {
  const told = await read(path.join(path.resolve(stateFolder), 'owner.json'));
  return told !== null && isThere(told) ? { address: told.address } : null;
}

/** @returns null if nobody can tell */
async function read(file: string): Promise<Told | null> {
  try {
    return ownerSchema.parse(JSON.parse(await readFile(file, 'utf8')));
  } catch {
    return null;
  }
}

/** Whether who wrote it can still be the one who holds the lock. In another computer or container nobody can tell: then it can. */
function isThere({ pid, host }: Told): boolean {
  if (host !== os.hostname()) return true;
  try {
    process.kill(pid, 0);
    return true;
  } catch (cause) {
    return (cause as NodeJS.ErrnoException).code === 'EPERM';
  }
}

function alreadyOwned(told: Told | null): EvenrungError {
  const whatToDo = 'Use that one, or stop it first.';
  if (told === null)
    return new EvenrungError('already-owned', `Evenrung is already running here. ${whatToDo}`);
  const { pid, host, what, address, since } = told;
  const parts = [
    what,
    host === os.hostname() ? `process ${pid}` : `process ${pid} on ${host}`,
    ...(address === null ? [] : [`panel at ${address}`]),
    `since ${wallTime(new Date(since), new Date())}`,
  ];
  return new EvenrungError(
    'already-owned',
    `Evenrung is already running here: ${parts.join(', ')}. ${whatToDo}`,
    {
      pid,
      what,
      address,
      since,
    },
  );
}
