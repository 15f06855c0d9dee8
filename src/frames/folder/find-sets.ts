// Finds the sets in a folder that a person names. Looks at names, and reads nothing.
import { readdir, stat } from 'node:fs/promises';
import path from 'node:path';
import { EvenrungError } from '../../../shared/errors.js';
import { whyRefused } from '../../../shared/refused.js';
import { RECORD } from '../hand-over/names.js';

/** The folder in which frames arrive; it exists as long as a set has not ended. */
const INCOMING = '.incoming';

/**
 * @param folder a set folder, finished or not, or one that holds several
 * @returns the paths of the set folders, by name
 * @throws EvenrungError no-such-set if there is none
 */
export async function setFoldersIn(folder: string): Promise<string[]> {
  let names: string[];
  try {
    names = (await readdir(folder)).sort();
  } catch (cause) {
    throw new EvenrungError('no-such-set', unreadable(folder, cause));
  }
  if (areOfSet(names)) return [folder];
  const sets: string[] = [];
  // A set that is just being made, or a copy of one, has a hidden name.
  for (const name of names.filter((one) => !one.startsWith('.'))) {
    const inside = path.join(folder, name);
    const isFolder = (await stat(inside).catch(() => null))?.isDirectory() ?? false;
    if (isFolder && areOfSet(await readdir(inside).catch(() => []))) sets.push(inside);
  }
  if (sets.length > 0) return sets;
  throw new EvenrungError(
    'no-such-set',
    `The folder ${folder} holds no set: neither it nor a folder in it has a ${RECORD}.`,
  );
}

/** A set that was cut off has no record yet. */
const areOfSet = (names: readonly string[]): boolean => names.includes(RECORD) || names.includes(INCOMING);

function unreadable(folder: string, cause: unknown): string {
  const { code } = cause as NodeJS.ErrnoException;
  if (code === 'ENOENT') return `There is no folder ${folder}.`;
  if (code === 'ENOTDIR') return `${folder} is not a folder: give the one that holds the set.`;
  return `The folder ${folder} cannot be read: ${whyRefused(cause)}.`;
}
