// Writes files and names so that they are on disk when a call returns, for all code that stores files.
import { open, rename, rm } from 'node:fs/promises';

/**
 * Answers of file systems that cannot sync a folder: there the system itself takes care of it, or nothing
 * can.
 */
const CANNOT_SYNC: ReadonlySet<string> = new Set(['EINVAL', 'ENOTSUP', 'EACCES', 'EPERM']);

/** A name in a folder is on disk once the folder is. @throws the error of the file system */
export async function syncFolder(folder: string): Promise<void> {
  if (process.platform === 'win32') return;
  try {
    await sync(folder, 'r');
  } catch (cause) {
    if (!CANNOT_SYNC.has((cause as NodeJS.ErrnoException).code ?? '')) throw cause;
  }
}

/** The ending of a file's name while it is being written. */
export const PARTIAL = '.part';

/**
 * Writes a file, new or in place of another: afterwards either the earlier or the new content is there, never
 * a part of it. Its folder must exist, and is synced by whoever writes the last file in it.
 * @param part its name meanwhile
 * @param mode of the file, as for open(2); the usual one if it is left out
 * @throws the error of the file system
 */
export async function putWhole(
  file: string,
  content: string | Uint8Array,
  { part = `${file}${PARTIAL}`, mode }: { part?: string; mode?: number | undefined } = {},
): Promise<void> {
  try {
    const handle = await open(part, 'w', mode);
    try {
      await handle.writeFile(content);
      await handle.sync();
    } finally {
      await handle.close();
    }
    await rename(part, file);
  } catch (cause) {
    await rm(part, { force: true }).catch(() => undefined);
    throw cause;
  }
}

export interface Content {
  readonly file: string;
  readonly content: string | Uint8Array;
}

/** Files that are on disk under other names, and take their places without any more room. */
export interface Staged {
  /** In the order in which they were given. @throws the error of the file system */
  put(): Promise<void>;
  /** They are not wanted. Never throws. */
  drop(): Promise<void>;
}

/**
 * Writes several files beside those whose places they are to take: if one of them is refused, all of those are as they were.
 * @throws the error of the file system; then nothing of it is left
 */
export async function stageWhole(files: readonly Content[]): Promise<Staged> {
  const partOf = (file: string) => `${file}${PARTIAL}`;
  const drop = async () => {
    for (const { file } of files) await rm(partOf(file), { force: true }).catch(() => undefined);
  };
  try {
    for (const { file, content } of files) await putWhole(partOf(file), content, { part: partOf(file) });
  } catch (cause) {
    await drop();
    throw cause;
  }
  return {
    put: async () => {
      for (const { file } of files) await rename(partOf(file), file);
    },
    drop,
  };
}

/** @throws the error of the file system */
export const syncFile = (file: string): Promise<void> => sync(file, 'r+');

async function sync(file: string, flags: 'r' | 'r+'): Promise<void> {
  const handle = await open(file, flags);
  try {
    await handle.sync();
  } finally {
    await handle.close();
  }
}
