// Opens the journal's file: it is checked before anything is written to it, kept under another name if it is
// damaged or of a newer program, and brought up to this program's tables. It knows files and pragmas, and
// nothing of runs.
import { open, rename, stat } from 'node:fs/promises';
import path from 'node:path';
import Sqlite, { type Database } from 'better-sqlite3';
import { EvenrungError } from '../../shared/errors.js';
import { whyRefused } from '../../shared/refused.js';
import {
  dayInNames,
  ELSEWHERE,
  isDamage,
  isMissing,
  makeReady,
  refusedAtOpening,
  timeInNames,
  writeWhole,
} from '../system/index.js';
import { isReadOnlyPlace, openCopy } from './read-only.js';
import { isOlder, migrate, STEPS, versionOf } from './schema.js';

/** A folder of its own, so that one rename moves the database, its log and its index: all of them or none. */
const FOLDER = 'journal';
const FILE = 'journal.sqlite';
/** Other processes only read, and hold nothing for long. */
const BUSY_MS = 500;
/**
 * Pages of 4 KiB in the log before they are copied into the database in the middle of work. At the end of a
 * set they are always copied.
 */
const LOG_PAGES = 2000;
const LOG_BYTES = LOG_PAGES * 4096;

const ABOUT = `What every run did, frame by frame, as a database.
journal.sqlite, journal.sqlite-wal and journal.sqlite-shm belong together: copy or move the folder as a whole.
`;

/** Why a journal was not used, so that another one was begun. */
export interface KeptAside {
  readonly reason: 'damaged' | 'newer';
  /** The folder that the old journal was moved to. */
  readonly path: string;
  /** All of this in one sentence, for a person. */
  readonly sentence: string;
}

export const journalFile = (stateFolder: string): string =>
  path.join(path.resolve(stateFolder), FOLDER, FILE);

/**
 * @param now names the folder of a journal that is moved away
 * @returns the database, ready to be written. Each commit is on disk when it returns.
 * @throws EvenrungError state-not-writable
 */
export async function openDatabase(
  stateFolder: string,
  onKeptAside: (kept: KeptAside) => void,
  now: () => Date,
): Promise<Database> {
  const file = journalFile(stateFolder);
  await makeReady(stateFolder);
  try {
    const trouble = await troubleWith(file);
    if (trouble !== null) onKeptAside(await keepAside(path.dirname(file), trouble, now()));
    // The folder is made if it is missing, and its name is on disk before anything is in it.
    await writeWhole(path.join(path.dirname(file), 'about.txt'), ABOUT);
    return openToWrite(file);
  } catch (cause) {
    if (cause instanceof EvenrungError) throw cause;
    throw refusedAtOpening(file, await firstCause(file, cause));
  }
}

/**
 * Opens a journal that another program may be writing, or that lies where nothing can be written. It is not
 * changed, whatever state it is in.
 * @returns null if there is none
 * @throws EvenrungError state-not-writable if it cannot be read, is damaged, or belongs to another program
 */
export async function openToRead(stateFolder: string): Promise<Database | null> {
  const file = journalFile(stateFolder);
  try {
    if ((await sizeOf(file)) === 0) return null;
    const database = await openAnywhere(file);
    const version = versionOf(database);
    if (version === STEPS.length) return database;
    database.close();
    if (version === 0) return null;
    // The next program that writes it will bring it up to date.
    if (isOlder(version)) return await openCopy(file);
  } catch (cause) {
    if (cause instanceof EvenrungError) throw cause;
    throw refusedAtOpening(file, await firstCause(file, cause));
  }
  throw new EvenrungError(
    'state-not-writable',
    `The journal ${file} was not written by this Evenrung. Read it with the one that wrote it.`,
  );
}

/** @returns a database that has been read from */
async function openAnywhere(file: string): Promise<Database> {
  const database = new Sqlite(file, { readonly: true, fileMustExist: true, timeout: BUSY_MS });
  try {
    // Only a first query shows whether it can be read.
    versionOf(database);
    return database;
  } catch (cause) {
    database.close();
    if (!isReadOnlyPlace(cause)) throw cause;
    return await openCopy(file);
  }
}

type Trouble = KeptAside['reason'];

/**
 * Checks a journal without being able to change it: if a damaged database were opened for writing, its log
 * would be copied into it first.
 * @returns why it cannot be used; null if it can, or if there is none yet
 */
async function troubleWith(file: string): Promise<Trouble | null> {
  try {
    // SQLite throws away a log that has no database.
    if ((await sizeOf(file)) === 0) return (await sizeOf(`${file}-wal`)) > 0 ? 'damaged' : null;
    const database = new Sqlite(file, { readonly: true, fileMustExist: true, timeout: BUSY_MS });
    try {
      const version = versionOf(database);
      if (version > STEPS.length) return 'newer';
      if (version < 0 || database.pragma('quick_check(1)', { simple: true }) !== 'ok') return 'damaged';
      return null;
    } finally {
      database.close();
    }
  } catch (cause) {
    if (isDamage(cause) || NOT_OURS.has((cause as NodeJS.ErrnoException).code ?? '')) return 'damaged';
    throw cause;
  }
}

/** A folder lies where the file should be, or a file where the folder should be. */
const NOT_OURS: ReadonlySet<string> = new Set(['EISDIR', 'ENOTDIR']);

async function keepAside(folder: string, reason: Trouble, at: Date): Promise<KeptAside> {
  const wanted = `${folder}.${reason}-${dayInNames(at)}-${timeInNames(at)}`;
  let aside = wanted;
  try {
    for (let again = 2; await isThere(aside); again += 1) aside = `${wanted}-${again}`;
    await rename(folder, aside);
  } catch (cause) {
    throw new EvenrungError(
      'state-not-writable',
      `The journal in ${folder} is ${WHAT_IS_WRONG[reason]} and cannot be renamed: ${whyRefused(cause)}. ${ELSEWHERE}`,
    );
  }
  const sentence = `The journal is ${WHAT_IS_WRONG[reason]}: it is kept in ${aside}, and a new one is begun. Sets on disk stay where they are.`;
  return { reason, path: aside, sentence };
}

const WHAT_IS_WRONG: Readonly<Record<Trouble, string>> = {
  damaged: 'damaged',
  newer: 'from a newer Evenrung, which can use it',
};

function openToWrite(file: string): Database {
  const database = new Sqlite(file, { timeout: BUSY_MS });
  try {
    const mode = database.pragma('journal_mode = WAL', { simple: true });
    if (mode !== 'wal') throw noLog(file);
    // Each commit waits for the disk. On systems on which fsync alone does not reach the disk, fullfsync
    // does.
    database.pragma('synchronous = FULL');
    database.pragma('fullfsync = ON');
    database.pragma('checkpoint_fullfsync = ON');
    database.pragma('foreign_keys = ON');
    database.pragma('trusted_schema = OFF');
    database.pragma('cell_size_check = ON');
    database.pragma(`wal_autocheckpoint = ${LOG_PAGES}`);
    database.pragma(`journal_size_limit = ${LOG_BYTES}`);
    migrate(database);
    // SQLite opens even a file that may only be read, and does not notice a full disk: one commit proves that
    // the journal can be written.
    database.pragma(`user_version = ${STEPS.length}`);
    return database;
  } catch (cause) {
    database.close();
    throw cause;
  }
}

const noLog = (file: string) =>
  new EvenrungError(
    'state-not-writable',
    `The disk of ${path.dirname(file)} cannot hold a journal that survives a crash: it may belong to another computer. Name a state folder on a disk of this one, in XDG_STATE_HOME.`,
  );

/**
 * SQLite only says that it cannot open a file; the file system knows why.
 * @returns the file system's error, or the one given
 */
async function firstCause(file: string, cause: unknown): Promise<unknown> {
  try {
    // Neither call creates anything.
    await (await open(path.dirname(file), 'r')).close();
    await (await open(file, 'r+')).close();
  } catch (found) {
    if (!isMissing(found)) return found;
  }
  return cause;
}

/**
 * @returns bytes; 0 if there is no such file
 * @throws EISDIR, ENOTDIR if something else lies there
 */
async function sizeOf(file: string): Promise<number> {
  try {
    const found = await stat(file);
    if (found.isDirectory()) throw Object.assign(new Error('It is a folder.'), { code: 'EISDIR' });
    return found.size;
  } catch (cause) {
    if ((cause as NodeJS.ErrnoException).code === 'ENOENT') return 0;
    throw cause;
  }
}

async function isThere(name: string): Promise<boolean> {
  try {
    await stat(name);
    return true;
  } catch (cause) {
    if (isMissing(cause)) return false;
    throw cause;
  }
}
