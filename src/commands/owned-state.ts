// The state folder, held by this process alone, and the journal in it.
import type { Logger } from 'pino';
import { Journal } from '../journal/index.js';
import { Owner } from '../system/index.js';
import { stateFolder } from './options/places.js';

export interface OwnedState {
  readonly owner: Owner;
  readonly journal: Journal;
  /** Never throws. */
  release(): void;
}

/**
 * @param what the name of the command
 * @throws EvenrungError already-owned, state-not-writable
 */
export async function takeState(what: string, log: Logger): Promise<OwnedState> {
  const folder = stateFolder();
  const owner = await Owner.take(folder, { what });
  try {
    const journal = await Journal.open(folder, { onKeptAside: ({ sentence }) => log.warn(sentence) });
    return {
      owner,
      journal,
      release: () => {
        journal.close();
        void owner.release();
      },
    };
  } catch (cause) {
    await owner.release();
    throw cause;
  }
}
