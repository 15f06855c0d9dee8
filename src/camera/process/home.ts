// HOME of the camera process, made level by level. A recursive mkdir is known to go round for ever under
// /proc, where nothing can be made and yet every level is reported missing.
import { mkdir, stat } from 'node:fs/promises';
import path from 'node:path';
import { EvenrungError } from '../../../shared/errors.js';

/** @throws EvenrungError state-not-writable */
export async function makeHome(home: string): Promise<void> {
  try {
    await makeFolder(path.resolve(home));
  } catch (cause) {
    const words = cause instanceof Error ? cause.message : String(cause);
    throw new EvenrungError(
      'state-not-writable',
      `The folder ${home} cannot be made: ${words}. Name a state folder that can be written, in XDG_STATE_HOME.`,
    );
  }
}

async function makeFolder(folder: string): Promise<void> {
  const failed = await makeOne(folder);
  if (failed === undefined) return;
  const above = path.dirname(folder);
  if (failed.code !== 'ENOENT' || above === folder) throw failed;
  await makeFolder(above);
  // Only once: if it is still missing although the level above exists, it will stay so.
  const failedAgain = await makeOne(folder);
  if (failedAgain !== undefined) throw failedAgain;
}

/** @returns why it does not exist, or undefined if it does */
async function makeOne(folder: string): Promise<NodeJS.ErrnoException | undefined> {
  try {
    await mkdir(folder);
    return undefined;
  } catch (cause) {
    const isThere = await stat(folder).then(
      (found) => found.isDirectory(),
      () => false,
    );
    return isThere ? undefined : (cause as NodeJS.ErrnoException);
  }
}
