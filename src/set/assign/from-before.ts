// Whether a file that came back is the picture that was released for it. A camera may keep a picture that
// nobody has fetched (the cable was out, the program was killed, somebody pressed the shutter by hand, the
// camera sends a picture twice). It sends that picture in place of the next one, which then comes one release
// later. Pure.
import { hasParts, type RecordedExposure, type TakenAt, wallOf } from '../../frames/index.js';
import { CLOCK_SLACK_MS, offRelease, ZONE_MS } from '../judge/marks.js';

export interface CameFile {
  /** When the picture was taken, by the camera's clock. */
  readonly takenAt: TakenAt;
  /** Distinguishes this file from any other, whatever it records; null if it was not worked out. */
  readonly digest: string | null;
}

/**
 * A file that is known to be the picture of its release. Times of later files are reckoned from its time by
 * the camera's clock.
 */
export interface Anchor {
  readonly takenAt: TakenAt;
  /** Seconds, as recorded; null if the file does not say. */
  readonly exposureTime: number | null;
  /** When its shutter was told to fire, ISO 8601, by this computer's clock; null if that is not known. */
  readonly firedAt: string | null;
  /** When the file was here, ISO 8601, by this computer's clock. */
  readonly storedAt: string;
}

/** What the files of a camera so far tell of their times, in this set and in those before. */
export interface CameSoFar {
  /** The last file that told its time, whichever release it was from. */
  readonly last: CameFile | null;
  readonly anchor: Anchor | null;
}

export const NOTHING_CAME_YET: CameSoFar = { last: null, anchor: null };

/** @returns null if the file does not say when it was taken */
export function cameIn(
  recorded: Pick<RecordedExposure, 'takenAt'> | null,
  digest: string | null,
): CameFile | null {
  const { takenAt = null } = recorded ?? {};
  return takenAt === null ? null : { takenAt, digest };
}

export interface ReleaseTimes extends CameSoFar {
  /** When the shutter was told to fire, and when the file was here; ISO 8601. */
  readonly firedAt: string;
  readonly storedAt: string;
  /** When the set was begun. */
  readonly setStartedAt: string;
  /** The time of the earliest release of this set whose file may still come; null if each has come. */
  readonly owedSince: string | null;
  /** Seconds by which the camera's clock is ahead; null if the camera tells no time. */
  readonly clockDifference: number | null;
}

/**
 * `its-own`: taken for its release, as far as the file and the clocks show. `from-before`: taken earlier.
 * `doubtful`: perhaps taken earlier, by as much as `earlyMs`, with nothing to decide it.
 */
export type Origin =
  | { readonly is: 'its-own' | 'from-before' }
  | { readonly is: 'doubtful'; readonly earlyMs: number };

/**
 * A file that seems older than this is no picture that waited: the camera's clock was set back, as in the
 * night when summer time ends.
 */
const LONGEST_WAIT_MS = 600_000;

/** Cameras cut off parts of a second, even some that write them. */
const WHOLE_SECOND_MS = 1000;

/** @returns where a file comes from, as far as its own time, the clocks and the files before it show */
export function originOf(file: CameFile, release: ReleaseTimes): Origin {
  const { last, anchor, firedAt, storedAt, setStartedAt, clockDifference } = release;
  if (last !== null && isNoNewer(file, last)) return { is: 'from-before' };
  if (clockDifference === null) return anchor === null ? { is: 'its-own' } : countedOn(file, anchor, release);
  // The two clocks agree only to within seconds. Within a set, a file that is a few seconds early is
  // therefore taken for its own.
  const off = offRelease(file.takenAt, { times: { firedAt, storedAt }, clockDifference });
  const isEarly = off !== null && off < Math.min(0, Date.parse(setStartedAt) - Date.parse(firedAt));
  return { is: isEarly ? 'from-before' : 'its-own' };
}

/**
 * The next frame is released only after the file of the one before has come, so by the camera's clock it must
 * be later.
 */
function isNoNewer(file: CameFile, last: CameFile): boolean {
  // Cameras that write no parts of a second (or always the same) may give two files the same time. Then only
  // an identical file counts as no newer.
  if (file.takenAt === last.takenAt) return file.digest !== null && file.digest === last.digest;
  const isExact = hasParts(file.takenAt) && hasParts(last.takenAt);
  const [now, earlier] = [file.takenAt, last.takenAt].map((at) =>
    isExact ? wallOf(at) : Math.floor(wallOf(at) / 1000) * 1000,
  ) as [number, number];
  return now < earlier && earlier - now <= LONGEST_WAIT_MS;
}

/**
 * A camera whose clock cannot be read still shows how much later than the anchor this file was taken. The
 * anchor was taken between its release and its being here. The second of these gives the latest moment at
 * which this file can have been taken; the release, with the exposure added, gives the likely moment, since
 * some cameras write the time at which the shutter closed.
 */
function countedOn(file: CameFile, anchor: Anchor, { firedAt, owedSince }: ReleaseTimes): Origin {
  const later = wallOf(file.takenAt) - wallOf(anchor.takenAt);
  const released = Date.parse(firedAt);
  // A file that is owed may come late; it counts as the frame that it proves to be.
  const earliest = Math.min(released, Date.parse(owedSince ?? firedAt));
  const atLatest = Date.parse(anchor.storedAt) + later;
  const likely =
    anchor.firedAt === null
      ? atLatest
      : Math.min(atLatest, Date.parse(anchor.firedAt) + (anchor.exposureTime ?? 0) * 1000 + later);
  const surely = released - atLatest;
  const perhaps = released - likely;
  if (earliest - atLatest > CLOCK_SLACK_MS && !isOtherZone(surely)) return { is: 'from-before' };
  if (surely > WHOLE_SECOND_MS || perhaps > CLOCK_SLACK_MS) return { is: 'doubtful', earlyMs: perhaps };
  return { is: 'its-own' };
}

/**
 * Whether a difference may come from a clock that was set to another zone or to winter time, and not from a
 * wait.
 */
const isOtherZone = (ms: number): boolean =>
  ms > ZONE_MS / 2 && Math.abs(ms - Math.round(ms / ZONE_MS) * ZONE_MS) <= CLOCK_SLACK_MS;
