// A file that came back, read as far as the next release has to wait for; and the way aside for what is no frame. Knows no frames.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { FiredFrame } from '../camera/index.js';
import { quickDigest, readRecorded, type SetFolder } from '../frames/index.js';
import type { Came } from './assign.js';
import type { Book } from './book.js';

export interface Arrival extends Came {
  readonly path: string;
  /** Its extension by content; undefined if it is nothing that a camera writes. */
  readonly kind: string | undefined;
  /** The size that the body said it has, in bytes; null if it said none, or if the file came before a restart. */
  readonly saidBytes: number | null;
}

/** Its head is enough. Never throws because of what is in the file. @throws EvenrungError storing-failed */
export async function readArrival(fired: FiredFrame, folder: SetFolder): Promise<Arrival> {
  const { storedAt = new Date().toISOString() } = fired;
  const digest = await quickDigest(fired.path);
  const { path, saidBytes = null } = fired;
  const kind = await folder.kindOf(path);
  const known = { path, kind, saidBytes, digest, storedAt };
  try {
    if (kind === undefined)
      throw new EvenrungError('frame-unreadable', 'The file that came back is no picture.');
    return { ...known, recorded: await readRecorded(path), broken: null };
  } catch (cause) {
    return { ...known, recorded: null, broken: asEvenrungError(cause).message };
  }
}

export const WAITED = 'It had waited in the camera since before it was fired for.';

/** @param frame the number of the frame that it came for; null if there is none */
export async function putAside(
  { path, kind }: Pick<Arrival, 'path' | 'kind'>,
  { reason, frame }: { readonly reason: string; readonly frame: number | null },
  { folder, book }: { readonly folder: SetFolder; readonly book: Book },
): Promise<void> {
  const file = await folder.setAside(path, frame, kind);
  book.aside({ file, reason });
}
