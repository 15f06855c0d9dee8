// Whether a file that came back is the picture that was released for it. A camera may keep a picture that nobody fetched (the cable
// was out, the program was killed, somebody pressed its shutter by hand, it sends one twice) and send it in place of the next one,
// which comes one release later. Pure.
import { hasParts, type RecordedExposure, type TakenAt, wallOf } from '../../frames/index.js';
import { CLOCK_SLACK_MS, offRelease, ZONE_MS } from '../judge/marks.js';

export interface CameFile {
  /** By the camera's clock. */
  readonly takenAt: TakenAt;
  /** Tells one file from another, whatever they record; null if the file was not looked at for that. */
  readonly digest: string | null;
}

/** A file that was taken for its release: from its time on, the camera's clock is counted. */
export interface Anchor {
  readonly takenAt: TakenAt;
  /** Seconds, as recorded; null if the file does not tell. */
  readonly exposureTime: number | null;
  /** ISO 8601, by this computer's clock: told to fire; null if nobody knows any more. */
  readonly firedAt: string | null;
  /** ISO 8601, by this computer's clock: the file was there. */
  readonly storedAt: string;
}

/** What the files of a camera have told of their times so far, in this set and in those before. */
export interface CameSoFar {
  /** The last file that told its time, whatever it was. */
  readonly last: CameFile | null;
  readonly anchor: Anchor | null;
}

export const NOTHING_CAME_YET: CameSoFar = { last: null, anchor: null };

/** @returns null if the file does not tell when it was taken */
export function cameIn(
  recorded: Pick<RecordedExposure, 'takenAt'> | null,
  digest: string | null,
): CameFile | null {
  const { takenAt = null } = recorded ?? {};
  return takenAt === null ? null : { takenAt, digest };
}

export interface ReleaseTimes extends CameSoFar {
  /** ISO 8601, by this computer's clock: told to fire, and file there. */
  readonly firedAt: string;
  readonly storedAt: string;
  /** When the set was begun. */
  readonly setStartedAt: string;
  /** When the first release of the set was made whose file may still come; null if each has come. */
  readonly owedSince: string | null;
  /** Seconds that the camera's clock is ahead; null if it tells none. */
  readonly clockDifference: number | null;
}

/**
 * `its-own`: taken for its release, so far as its file and the clocks tell. `from-before`: taken earlier. `doubtful`: perhaps taken
 * earlier, by as much as `earlyMs`, and nothing decides it.
 */
export type Origin =
  | { readonly is: 'its-own' | 'from-before' }
  | { readonly is: 'doubtful'; readonly earlyMs: number };

/** What lies farther back is no picture that waited: the camera's clock was set back, as in the night when summer time ends. */
const LONGEST_WAIT_MS = 600_000;

/** Cameras cut off parts of a second, also those that write some. */
const WHOLE_SECOND_MS = 1000;

/** @returns where a file comes from, so far as its own time, the clocks and the files before it tell */
export function originOf(file: CameFile, release: ReleaseTimes): Origin {
  const { last, anchor, firedAt, storedAt, setStartedAt, clockDifference } = release;
  if (last !== null && isNoNewer(file, last)) return { is: 'from-before' };
  if (clockDifference === null) return anchor === null ? { is: 'its-own' } : countedOn(file, anchor, release);
  // A computer's and a camera's clock go together only so far: within a set, what is a few seconds early is believed.
  const off = offRelease(file.takenAt, { times: { firedAt, storedAt }, clockDifference });
  const isEarly = off !== null && off < Math.min(0, Date.parse(setStartedAt) - Date.parse(firedAt));
  return { is: isEarly ? 'from-before' : 'its-own' };
}

/** The next one is released only when the one before has come: by the same clock, its time is later. */
function isNoNewer(file: CameFile, last: CameFile): boolean {
  // Within one second, of cameras that tell no parts of it (or always the same): only the same file once more is not a new one.
  if (file.takenAt === last.takenAt) return file.digest !== null && file.digest === last.digest;
  const isExact = hasParts(file.takenAt) && hasParts(last.takenAt);
  const [now, earlier] = [file.takenAt, last.takenAt].map((at) =>
    isExact ? wallOf(at) : Math.floor(wallOf(at) / 1000) * 1000,
  ) as [number, number];
  return now < earlier && earlier - now <= LONGEST_WAIT_MS;
}

/**
 * A camera whose clock nobody can read still tells how much later than another file this one was taken. The other one was taken
 * between its release and its being there: the latest moment at which this one can have been taken follows from the latter, the
 * likely one from the release, its exposure added, since some cameras write the time at which the shutter closed.
 */
function countedOn(file: CameFile, anchor: Anchor, { firedAt, owedSince }: ReleaseTimes): Origin {
  const later = wallOf(file.takenAt) - wallOf(anchor.takenAt);
  const released = Date.parse(firedAt);
  // A file that is owed may come late, and counts as the frame that it proves to be.
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

/** Whether as much may be a clock that was set to another zone, or to winter time, and no wait. */
const isOtherZone = (ms: number): boolean =>
  ms > ZONE_MS / 2 && Math.abs(ms - Math.round(ms / ZONE_MS) * ZONE_MS) <= CLOCK_SLACK_MS;
