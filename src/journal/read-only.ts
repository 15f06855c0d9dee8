// A journal on a disk, or in a folder, that can only be read. SQLite cannot open a journal there, since it
// needs an index of the log beside the file, which it has to write. If it is told that the file never
// changes, it opens the file but leaves out everything that is only in the log. So file and log are copied to
// a place where SQLite can write; there the log is merged into the copy, and the copy is read into memory. A
// journal that an earlier program wrote is read in the same way: the copy is brought up to date.
import { copyFile, mkdtemp, rm, stat } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import Sqlite, { type Database } from 'better-sqlite3';
import { EvenrungError } from '../../shared/errors.js';
import { isMissing } from '../system/index.js';
import { isOlder, migrate, versionOf } from './schema.js';

/** SQLite's errors if it may not write beside the file. */
const NOT_BESIDE = /^SQLITE_(?:CANTOPEN|READONLY)/;

/** @returns whether the file could be read if SQLite could write beside it */
export const isReadOnlyPlace = (cause: unknown): boolean =>
  cause instanceof Sqlite.SqliteError && NOT_BESIDE.test(cause.code);

const MOST_TRIES = 3;

/**
 * @returns all that was committed, even if the program that wrote it was killed
 * @throws EvenrungError state-not-writable if another program writes it all the time; SqliteError; the
 *   error of the file system
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

/**
 * A place that is read-only from here may be written from elsewhere, so it is checked that both copies are of
 * one moment.
 */
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

/** @returns a text that changes when the file does; null if there is no file */
async function markOf(file: string): Promise<string | null> {
  try {
    const { ino, size, mtimeNs } = await stat(file, { bigint: true });
    return `${ino} ${size} ${mtimeNs}`;
  } catch (cause) {
    if (isMissing(cause)) return null;
    throw cause;
  }
}
