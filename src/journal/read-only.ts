// A journal on a disk, or in a folder, that only lets itself be read. SQLite cannot open one there: beside the file it needs an index
// of the log that it may write. Told that the file never changes, it would open it, and leave out what stands in the log alone. So
// file and log are copied to where it can work, the log is taken into the copy, and what is read is that copy, in memory. One that an
// earlier program wrote is read in the same way: the copy is brought up to date.
import { copyFile, mkdtemp, rm, stat } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import Sqlite, { type Database } from 'better-sqlite3';
import { EvenrungError } from '../../shared/errors.js';
import { isMissing } from '../system/index.js';
import { isOlder, migrate, versionOf } from './schema.js';

/** What SQLite answers where it may not write beside the file. */
const NOT_BESIDE = /^SQLITE_(?:CANTOPEN|READONLY)/;

/** @returns whether the file could be read if only something could be written beside it */
export const isReadOnlyPlace = (cause: unknown): boolean =>
  cause instanceof Sqlite.SqliteError && NOT_BESIDE.test(cause.code);

const MOST_TRIES = 3;

/**
 * @returns all that was committed, also where the program that wrote it was killed
 * @throws EvenrungError state-not-writable where another program writes it all the time; SqliteError; the error of the file system
 */
export async function openCopy(file: string): Promise<Database> {
  const folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-journal-'));
  try {
    const copy = path.join(folder, path.basename(file));
    await copyBoth(file, copy);
    const working = new Sqlite(copy, { fileMustExist: true });
    try {
      working.pragma('journal_mode = DELETE');
      if (isOlder(versionOf(working))) migrate(working);
      return new Sqlite(working.serialize(), { readonly: true });
    } finally {
      working.close();
    }
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

/** The place may only be read from here, and be written from elsewhere: both files have to be of one moment. */
async function copyBoth(file: string, copy: string): Promise<void> {
  const log = `${file}-wal`;
  for (let tries = 1; tries <= MOST_TRIES; tries += 1) {
    const before = [await markOf(file), await markOf(log)];
    await copyFile(file, copy);
    if (before[1] === null) await rm(`${copy}-wal`, { force: true });
    else await copyFile(log, `${copy}-wal`);
    const after = [await markOf(file), await markOf(log)];
    if (before.every((mark, index) => mark === after[index])) return;
  }
  throw new EvenrungError(
    'state-not-writable',
    `Another program is writing the journal ${file}: ask the Evenrung that uses it.`,
  );
}

/** @returns what changes when a file does; null where there is none */
async function markOf(file: string): Promise<string | null> {
  try {
    const { ino, size, mtimeNs } = await stat(file, { bigint: true });
    return `${ino} ${size} ${mtimeNs}`;
  } catch (cause) {
    if (isMissing(cause)) return null;
    throw cause;
  }
}
