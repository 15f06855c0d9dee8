// Names of files in a set folder, as a record or a journal keeps them. Such a name must not lead out of the
// folder.
import { lstat, stat } from 'node:fs/promises';
import path from 'node:path';
import { EvenrungError } from '../../../shared/errors.js';

/** Whether it can be the name of a file in a folder, and of none outside. */
export const isPlainName = (file: string): boolean =>
  file !== '' && file !== '.' && file !== '..' && !/[/\\\0]/.test(file);

/**
 * @param folder a set folder
 * @param file its name in it, as it was kept
 * @returns its path, if it is a file of that folder; a link is not
 * @throws EvenrungError not-found
 */
export async function fileInside(folder: string, file: string): Promise<string> {
  const isThere = (await stat(folder).catch(() => null))?.isDirectory() ?? false;
  const name = path.basename(folder);
  if (!isThere)
    throw new EvenrungError(
      'not-found',
      `The set folder ${name} is missing: it was moved or deleted, or its disk is not connected.`,
    );
  if (!isPlainName(file))
    throw new EvenrungError(
      'not-found',
      `The record of this set names a file outside its folder ${name}: Evenrung does not hand it out.`,
    );
  const full = path.join(folder, file);
  const found = await lstat(full).catch(() => null);
  if (found?.isFile()) return full;
  const why = found === null ? 'was moved or deleted' : 'is no longer a file, or only a link';
  throw new EvenrungError('not-found', `${file} in the set folder ${name} ${why}.`);
}
