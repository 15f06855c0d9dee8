// What of a set that the journal keeps is still there.
import type { OnDisk } from '../../shared/kept.js';
import { lookOnDisk } from '../frames/index.js';
import type { JournalReader, ListedSet } from '../journal/index.js';

/**
 * @returns what of a set lies in its folder just now; null where nothing was stored
 * @throws EvenrungError storing-failed
 */
export async function setOnDisk(
  journal: JournalReader,
  { number, folder }: Pick<ListedSet, 'number' | 'folder'>,
): Promise<OnDisk | null> {
  return folder === null ? null : lookOnDisk(folder, journal.keptNames(number));
}
