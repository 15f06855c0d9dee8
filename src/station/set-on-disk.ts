// Which files of a set in the journal are still there.
import type { OnDisk } from '../../shared/kept.js';
import { lookOnDisk } from '../frames/index.js';
import type { JournalReader, ListedSet } from '../journal/index.js';

/**
 * @returns which files of a set are in its folder right now; null if nothing was stored
 * @throws EvenrungError storing-failed
 */
export async function setOnDisk(
  journal: JournalReader,
  { number, folder }: Pick<ListedSet, 'number' | 'folder'>,
): Promise<OnDisk | null> {
  return folder === null ? null : lookOnDisk(folder, journal.keptNames(number));
}
