// Small files that exist whole or not at all, whatever is pulled in between, and files that are set aside
// instead of overwritten. It knows nothing of their content.
import { lstat, mkdir, readdir, rename, rm, stat } from 'node:fs/promises';
import path from 'node:path';
import { isAlive } from './alive.js';
import { putWhole, syncFolder } from './sync.js';

const turns = new Map<string, Promise<unknown>>();
let parts = 0;
/** Files that this process is writing right now. */
const beingWritten = new Set<string>();

/**
 * Work on one file, one call after another, in their order.
 * @returns what the work returns, or throws as it does
 */
export function inTurn<T>(file: string, work: () => Promise<T>): Promise<T> {
  const before = turns.get(file) ?? Promise.resolve();
  const mine = before.then(work);
  const over = mine
    .catch(() => undefined)
    .then(() => {
      if (turns.get(file) === over) turns.delete(file);
    });
  turns.set(file, over);
  return mine;
}

/** For the owner's eyes alone, from the first byte. */
export const PRIVATE = 0o600;

/**
 * Writes a file that is on disk when this returns. Its folder is made if it is missing. If it fails, either
 * the earlier or the new text is there, never a part of it.
 * @param mode of the file, as for open(2); the usual one if it is left out
 * @throws the error of the file system
 */
export async function writeWhole(file: string, text: string, mode?: number): Promise<void> {
  await makeFolder(path.dirname(file));
  parts += 1;
  const part = `${file}.${process.pid}-${parts}.part`;
  beingWritten.add(part);
  try {
    await putWhole(file, text, { part, mode });
  } finally {
    beingWritten.delete(part);
  }
  await syncFolder(path.dirname(file));
}

const PART = /\.(\d+)-\d+\.part$/;

/**
 * Removes the parts of files that killed programs were writing. Only programs of this computer count: the
 * caller owns the folder. Never throws.
 */
export async function sweepParts(folder: string): Promise<void> {
  for (const name of await readdir(folder).catch(() => [])) {
    const [, pid] = PART.exec(name) ?? [];
    if (pid === undefined) continue;
    const part = path.join(folder, name);
    // A number that has come round again may be our own.
    const isWriting = Number(pid) === process.pid ? beingWritten.has(part) : isAlive(Number(pid));
    if (!isWriting) await rm(part, { force: true }).catch(() => undefined);
  }
}

/** Removes a file, if there is one, so that it stays removed. @throws the error of the file system */
export async function removeWhole(file: string): Promise<void> {
  try {
    await rm(file);
  } catch (cause) {
    if (isMissing(cause)) return;
    throw cause;
  }
  await syncFolder(path.dirname(file));
}

/**
 * Gives a file another name in the same folder: name.json.damaged-1.
 * @returns its new path
 * @throws the error of the file system
 */
export async function setAside(file: string, word: string): Promise<string> {
  for (let number = 1; ; number += 1) {
    const aside = `${file}.${word}-${number}`;
    if (await isThere(aside)) continue;
    await rename(file, aside);
    await syncFolder(path.dirname(file));
    return aside;
  }
}

/** @returns whether the error says that there is no such file */
export function isMissing(cause: unknown): boolean {
  const { code } = cause as NodeJS.ErrnoException;
  return code === 'ENOENT' || code === 'ENOTDIR';
}

async function isThere(file: string): Promise<boolean> {
  try {
    await lstat(file);
    return true;
  } catch (cause) {
    if (isMissing(cause)) return false;
    throw cause;
  }
}

/** Level by level: the recursive mkdir of Node never comes back from some file systems that refuse to hold folders. */
async function makeFolder(folder: string): Promise<void> {
  try {
    if ((await stat(folder)).isDirectory()) return;
    throw Object.assign(new Error('It is a file.'), { code: 'EEXIST' });
  } catch (cause) {
    const missing = (cause as NodeJS.ErrnoException).code === 'ENOENT';
    if (!missing || path.dirname(folder) === folder) throw cause;
  }
  await makeFolder(path.dirname(folder));
  try {
    await mkdir(folder);
  } catch (cause) {
    // Somebody else has made it just now.
    if ((cause as NodeJS.ErrnoException).code !== 'EEXIST') throw cause;
  }
  await syncFolder(path.dirname(folder));
}
