// How much room is left on a disk.
import { statfs } from 'node:fs/promises';
import path from 'node:path';

/**
 * @param folder need not exist yet
 * @returns the free bytes on its disk; null if nobody can tell
 */
export async function freeBytesIn(folder: string): Promise<number | null> {
  for (let at = path.resolve(folder); ; at = path.dirname(at)) {
    try {
      const { bavail, bsize } = await statfs(at);
      return bavail * bsize;
    } catch {
      // Not made yet: the folder above it is on the same disk.
      if (path.dirname(at) === at) return null;
    }
  }
}
