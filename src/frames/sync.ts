// Files and names that are on disk when a call comes back, for whoever stores anything.
import { open } from 'node:fs/promises';

/** What some file systems answer that cannot sync a folder: there the system itself sees to it, or nothing can. */
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
