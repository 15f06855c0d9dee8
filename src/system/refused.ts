// What a refusal of SQLite means for a person. Result codes: https://sqlite.org/rescode.html
import Sqlite from 'better-sqlite3';
import { EvenrungError } from '../../shared/errors.js';
import { whyRefused } from '../../shared/refused.js';

/** Refusals that the file itself is to blame for: it is not a database, or no longer one. */
const DAMAGED: ReadonlySet<string> = new Set(['SQLITE_CORRUPT', 'SQLITE_NOTADB']);

/** The refusals that have a counterpart among those of the file system. */
const ERRNO: Readonly<Record<string, string>> = {
  SQLITE_FULL: 'ENOSPC',
  SQLITE_IOERR: 'EIO',
  SQLITE_PERM: 'EACCES',
};

const WHY: Readonly<Record<string, string>> = {
  SQLITE_CORRUPT: 'the file is damaged',
  SQLITE_NOTADB: 'the file is damaged',
  SQLITE_READONLY: 'it is read-only',
  SQLITE_CANTOPEN: 'it cannot be opened',
  SQLITE_BUSY: 'another program holds it',
  SQLITE_LOCKED: 'another program holds it',
  SQLITE_PROTOCOL: 'another program holds it',
  SQLITE_NOLFS: 'the disk takes no file of that size',
};

export const ELSEWHERE = 'Name a state folder that can be written, in XDG_STATE_HOME.';

/** The primary result code: SQLITE_IOERR of SQLITE_IOERR_FSYNC. */
const primary = (code: string): string => code.split('_').slice(0, 2).join('_');

/** @returns whether the file is to blame, and another one would do */
export const isDamage = (cause: unknown): boolean =>
  cause instanceof Sqlite.SqliteError && DAMAGED.has(primary(cause.code));

/**
 * @returns why SQLite refused, in words that fit behind a colon; null if the statement is to blame, which
 *   is a defect
 */
export function whyDatabaseRefused(cause: unknown): string | null {
  if (!(cause instanceof Sqlite.SqliteError)) return null;
  const code = primary(cause.code);
  const errno = ERRNO[code];
  return errno === undefined ? (WHY[code] ?? null) : whyRefused(Object.assign(new Error(), { code: errno }));
}

/** @returns what to throw for a statement that failed while working; a defect is passed on as it is */
export function refusedWhileWorking(file: string, cause: unknown): unknown {
  const why = whyDatabaseRefused(cause);
  if (why === null) return cause;
  return new EvenrungError(
    'storing-failed',
    `What happens cannot be kept in the journal ${file}: ${why}. ${whatToDo(cause)}`,
    { sqlite: (cause as { code: string }).code },
  );
}

/** @returns the error to throw if the journal cannot be read; a defect is passed on as it is */
export function refusedWhileReading(file: string, cause: unknown): unknown {
  const why = whyDatabaseRefused(cause);
  if (why === null) return cause;
  return new EvenrungError(
    'storing-failed',
    `The journal ${file} cannot be read: ${why}. ${whatToDo(cause)}`,
    {
      sqlite: (cause as { code: string }).code,
    },
  );
}

function whatToDo(cause: unknown): string {
  if (isDamage(cause))
    return 'Restart Evenrung: it keeps the damaged journal under another name and begins a new one.';
  return primary((cause as { code: string }).code) === 'SQLITE_FULL'
    ? 'Make room there, then fire again.'
    : 'Look after that folder and its disk, then fire again.';
}

/**
 * @returns the error to throw if a file of the state folder cannot be opened; a defect is passed on as it
 *   is
 */
export function refusedAtOpening(file: string, cause: unknown): unknown {
  const why =
    whyDatabaseRefused(cause) ?? ((cause as NodeJS.ErrnoException).errno ? whyRefused(cause) : null);
  if (why === null) return cause;
  return new EvenrungError('state-not-writable', `The file ${file} cannot be used: ${why}. ${ELSEWHERE}`);
}
