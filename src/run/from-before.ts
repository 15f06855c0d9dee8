// Whether a file that came back is the picture that was released for it. A camera may keep a picture that nobody fetched (the cable
// was out, the program was killed, somebody pressed its shutter by hand, it sends one twice) and send it in place of the next one,
// which comes one release later. Pure.
import { hasParts, type RecordedExposure, type TakenAt, wallOf } from '../frames/index.js';
import { offRelease } from './marks.js';

export interface CameFile {
  /** By the camera's clock. */
  readonly takenAt: TakenAt;
  /** Seconds, as recorded; null where the file does not tell. */
  readonly exposureTime: number | null;
}

/** @returns null where the file does not tell when it was taken */
export function cameIn(recorded: Pick<RecordedExposure, 'takenAt' | 'exposureTime'> | null): CameFile | null {
  const { takenAt = null, exposureTime = null } = recorded ?? {};
  return takenAt === null ? null : { takenAt, exposureTime };
}

export interface Release {
  /** ISO 8601, by this computer's clock: told to fire, and file there. */
  readonly firedAt: string;
  readonly storedAt: string;
  /** When the set was begun. */
  readonly setStartedAt: string;
  /** Seconds that the camera's clock is ahead; null where it tells none. */
  readonly clockDifference: number | null;
  /** The file that came before it, in this set or in the one before; null where none is known. */
  readonly last: CameFile | null;
}

/** What lies farther back is no picture that waited: the camera's clock was set back, as in the night when summer time ends. */
const LONGEST_WAIT_MS = 600_000;

/** @returns whether it was taken before the shutter was released for it, so far as its file and the clocks tell */
export function isFromBefore(file: CameFile, release: Release): boolean {
  const { last, firedAt, storedAt, setStartedAt, clockDifference } = release;
  if (last !== null && isNoNewer(file, last)) return true;
  // A computer's and a camera's clock go together only so far: within a set, what is a few seconds early is believed.
  const off = offRelease(file.takenAt, { times: { firedAt, storedAt }, clockDifference });
  return off !== null && off < Math.min(0, Date.parse(setStartedAt) - Date.parse(firedAt));
}

/** The next one is released only when the one before has come: of one clock, its time is later. */
function isNoNewer(file: CameFile, last: CameFile): boolean {
  // Some cameras write parts of a second that are always the same.
  if (file.takenAt === last.takenAt) return file.exposureTime === last.exposureTime;
  const isExact = hasParts(file.takenAt) && hasParts(last.takenAt);
  const [now, earlier] = [file.takenAt, last.takenAt].map((at) =>
    isExact ? wallOf(at) : Math.floor(wallOf(at) / 1000) * 1000,
  ) as [number, number];
  return now < earlier && earlier - now <= LONGEST_WAIT_MS;
}
