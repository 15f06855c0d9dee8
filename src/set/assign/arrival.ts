// A file that came back, read as far as the next release has to know it; and how a file that belongs to no
// frame is set aside. If a body makes two files of one exposure, they are one arrival. Knows no frames.
import { asEvenrungError, EvenrungError } from '../../../shared/errors.js';
import type { BroughtFile } from '../../camera/index.js';
import {
  differsFrom,
  isSameExposure,
  ownFirst,
  quickDigest,
  readRecorded,
  type SetFolder,
} from '../../frames/index.js';
import type { Book } from '../book/book.js';
import type { Telling } from '../set-frame.js';
import type { Came } from './assign.js';

/** One file that came. */
export interface ArrivedFile extends Came, Telling {
  readonly path: string;
  /**
   * The size in bytes that the body gave for the file; null if it gave none, or if the file came before a
   * restart.
   */
  readonly saidBytes: number | null;
  /**
   * Null if all of the file is here. If only its head is here so far, settles when the rest has come, and
   * rejects if it does not come.
   */
  readonly rest: Promise<void> | null;
}

/**
 * All that came of one exposure: the file to merge, by which the frame is recognised and judged, and perhaps
 * a partner.
 */
export interface Arrival extends ArrivedFile {
  readonly partner: ArrivedFile | null;
}

/**
 * Reads a file that came. Its head is enough, and nothing in the file makes this throw.
 * @throws EvenrungError storing-failed
 */
export async function readArrival(fired: BroughtFile, folder: SetFolder): Promise<Arrival> {
  const own = await readFile(fired, folder);
  if (fired.partner === undefined) return { ...own, partner: null };
  return together(own, await readFile(fired.partner, folder));
}

async function readFile(fired: BroughtFile, folder: SetFolder): Promise<ArrivedFile> {
  const { storedAt = new Date().toISOString() } = fired;
  const digest = await quickDigest(fired.path);
  const { path, saidBytes = null, cameraName = null } = fired;
  const kind = await folder.kindOf(path);
  const known = { path, kind, saidBytes, cameraName, digest, storedAt, rest: fired.whole ?? null };
  try {
    if (kind === undefined)
      throw new EvenrungError('frame-unreadable', 'The file that came back is not a picture.');
    return { ...known, recorded: await readRecorded(path), broken: null };
  } catch (cause) {
    return { ...known, recorded: null, broken: asEvenrungError(cause).message };
  }
}

export const filesOf = ({ partner, ...own }: Arrival): ArrivedFile[] =>
  partner === null ? [own] : [own, partner];

export const isUnderWay = (arrival: Arrival): boolean => filesOf(arrival).some(({ rest }) => rest !== null);

/**
 * Waits until all of an arrival is here. A partner that does not come is left out: it can be fetched later.
 * @throws EvenrungError as Link.bring, if the file itself does not come
 */
export async function whole(head: Arrival): Promise<Arrival> {
  await head.rest;
  const here = await head.partner?.rest?.then(
    () => true,
    () => false,
  );
  return here === false ? { ...head, partner: null } : head;
}

// --- two files of one exposure

export function together(one: ArrivedFile, other: ArrivedFile): Arrival {
  const [own, partner] = ownFirst(one, other);
  return { ...own, partner };
}

/**
 * `sure`: both files record the same exposure and the same moment, or they share a name in the camera and
 * nothing speaks against it. `named`: they share a name, whatever they record; some cameras give a name more
 * than once.
 */
export type Relation = 'sure' | 'named';

/**
 * Puts files of one exposure together.
 * @param arrivals in the order in which they came
 */
export function pairUp(arrivals: readonly Arrival[], how: Relation): Arrival[] {
  const paired: Arrival[] = [];
  for (const arrival of arrivals) {
    const isPartner = (one: Arrival) =>
      arrival.partner === null && one.partner === null && isPartnerOf(arrival, one, how);
    const at = paired.findIndex(isPartner);
    const other = paired[at];
    if (other === undefined) paired.push(arrival);
    else paired[at] = together(other, arrival);
  }
  return paired;
}

/** Whether both files are of one exposure. */
export function isPartnerOf(file: Telling, other: Telling, how: Relation): boolean {
  if (file.kind === other.kind) return false;
  const isNamed = isSameName(file.cameraName, other.cameraName);
  if (how === 'named') return isNamed;
  if (file.recorded === null || other.recorded === null) return isNamed;
  return isNamed
    ? differsFrom(other.recorded, file.recorded) === null
    : isSameExposure(other.recorded, file.recorded);
}

/**
 * A camera gives the files of one exposure the same name with different extensions (DCF, JEITA CP-3461, from
 * memory).
 */
function isSameName(one: string | null, other: string | null): boolean {
  if (one === null || other === null || one.toLowerCase() === other.toLowerCase()) return false;
  const [stem, otherStem] = [one, other].map((name) => name.replace(/\.[^.]*$/, '').toLowerCase());
  return stem === otherStem;
}

// --- files that belong to no frame

export const WAITED = 'It had been waiting in the camera since before this release.';

/**
 * Sets a file aside, and its partner with it.
 * @param frame the number of the frame that it came for; null if it came for none
 */
export async function putAside(
  { partner = null, ...own }: Pick<ArrivedFile, 'path' | 'kind'> & { readonly partner?: ArrivedFile | null },
  { reason, frame }: { readonly reason: string; readonly frame: number | null },
  { folder, book }: { readonly folder: SetFolder; readonly book: Book },
): Promise<void> {
  const names = await folder.setAllAside(partner === null ? [own] : [own, partner], frame);
  // Both are journalled at once: a file that is left among the arrivals would be taken for a frame after a
  // restart.
  book.aside(...names.map((file) => ({ file, reason })));
}
