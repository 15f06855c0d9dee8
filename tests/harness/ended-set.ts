// Sets that have ended, for tests of what is done with them afterwards.
import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { WrittenSetRequest } from '../../shared/request.js';
import { type KeptSetRecord, readSetRecord } from '../../shared/set-record.js';
import type { Journal } from '../../src/journal/index.js';
import type { EventLog, Station } from '../../src/station/index.js';
import type { TestLink } from './links.js';

export const lost = () =>
  new EvenrungError('frame-missing', 'The shutter went, but no file came.', { released: true });
/** A call that never returns. */
export const never = () => new Promise<never>(() => undefined);

export interface Made {
  readonly station: Station;
  readonly events: EventLog;
  readonly link: TestLink;
}

export interface EndedSet {
  readonly id: string;
  readonly folder: string;
}

/**
 * @param shots after how many the set is stopped
 * @returns a set that has ended; its link counts from the beginning again
 */
export async function endedSet(
  journal: Journal,
  { station, link }: Made,
  asked: WrittenSetRequest,
  shots = Number.POSITIVE_INFINITY,
): Promise<EndedSet> {
  link.releases = 0;
  link.afterFire = (count) => {
    if (count === shots) station.stop();
  };
  await station.start(asked);
  await station.settled();
  link.afterFire = () => undefined;
  link.releases = 0;
  link.changes.length = 0;
  const [{ id, folder } = { id: '', folder: null }] = journal.sets({ limit: 1 });
  return { id, folder: folder ?? '' };
}

export const recordIn = async ({ folder }: EndedSet): Promise<KeptSetRecord> =>
  readSetRecord(await readFile(path.join(folder, 'set.json'), 'utf8')).record;

/** @returns names of the frames' pictures, sorted */
export const picturesIn = async ({ folder }: EndedSet): Promise<string[]> =>
  (await readdir(folder)).filter((name) => /^\d\d_.*\.jpg$/.test(name)).sort();

/**
 * @returns the error that it was refused with
 * @throws Error if it was not refused
 */
export const refusal = (work: Promise<unknown>): Promise<EvenrungError> =>
  work.then(
    () => {
      throw new Error('It was not refused.');
    },
    (cause: unknown) => asEvenrungError(cause),
  );
