// What a body can do, in terms of exposures. camera/ fills it in and plan/ reads it; neither knows the other.
import type { Sixths } from './ev.js';
import type { ShutterSetting } from './shutter.js';

/** One firing of the body's own auto-bracket. */
export interface BracketShape {
  /** EV between neighbouring frames, above 0. */
  readonly step: Sixths;
  /**
   * The frames in firing order, in steps from the centre: [0, -1, 1] is three frames, the metered one first. One-sided
   * brackets are [0, 1] or [0, -1].
   */
  readonly pattern: readonly number[];
  /**
   * Whether one release fires the whole bracket, at the body's own speed; left out if each of its frames
   * takes a release of its own.
   */
  readonly isOneRelease?: boolean;
}

/** How long things take on a link that takes release and fetch apart, so that files come while the next frame is exposed. */
export interface ApartTiming {
  /** Seconds from the release to the opening of the shutter. */
  readonly secondsBeforeExposure: number;
  /** Seconds from the closing of the shutter until the body takes another release, or opens for the next frame of the same one. */
  readonly secondsAfterExposure: number;
  /** Seconds that the files of one frame take over the cable while nothing else is asked of it. */
  readonly secondsPerTransfer: number;
  /**
   * Seconds that one piece of a file keeps the cable busy: the head of the next frame's file has to wait at
   * most so long. Null if files come whole, each with the event that tells of it: then the next release waits
   * for all of it.
   */
  readonly secondsPerPiece: number | null;
  /**
   * The most frames that one release may make, as far as the body's buffer has been seen to hold them; null
   * if nobody has looked.
   */
  readonly mostInOneGo: number | null;
}

/** Centre by exposure compensation, in automatic modes. */
export interface CompensationLimits {
  /** The farthest that compensation goes, either way. */
  readonly range: Sixths;
  /** The steps that it moves in. */
  readonly grid: Sixths;
}

/** Everything that the planner needs to know of a body. */
export interface BodyLimits {
  /** The shutter settings that exist, longest first, no two with the same Tv; those that take bulb among them. */
  readonly shutters: readonly ShutterSetting[];
  /**
   * Ends of that list which need not be the body's own: it has times beyond that nobody can set by their labels, or it lists none at
   * all. Left out, both ends are its own.
   */
  readonly openEnds?: readonly ('longest' | 'shortest')[] | undefined;
  /** The auto-brackets that exist; none if the body has no auto-bracket. */
  readonly brackets: readonly BracketShape[];
  readonly compensation: CompensationLimits;
  /** The longest exposure in seconds that the link can bring back. */
  readonly longestSeconds: number;
  /** Seconds for one settings change to whatever value. */
  readonly secondsPerChange: number;
  /**
   * Additional seconds for every setting on the way, since some bodies step through all values; 0 if the body
   * jumps to the value.
   */
  readonly secondsPerSetting: number;
  /** Seconds that a frame takes in addition to its exposure: release lag, the body's own cycle, transfer. */
  readonly secondsPerFrame: number;
  /** Left out over a link that releases and fetches at once. */
  readonly apart?: ApartTiming;
}

/**
 * @param release what one release is to fire
 * @returns the same body with only those brackets that it can fire in this way. Firing a whole pass takes a
 *   link that releases and fetches apart, and a pass is never longer than the buffer was seen to hold.
 */
export function firedBy(limits: BodyLimits, release: 'frame' | 'pass'): BodyLimits {
  const { apart } = limits;
  const most = apart === undefined ? 0 : (apart.mostInOneGo ?? Number.POSITIVE_INFINITY);
  const isFired =
    release === 'pass'
      ? ({ pattern, isOneRelease }: BracketShape) => isOneRelease === true && pattern.length <= most
      : ({ isOneRelease }: BracketShape) => isOneRelease !== true;
  return { ...limits, brackets: limits.brackets.filter(isFired) };
}

/**
 * @returns the settings that a body has labels for, longest first: only these can be set, metered,
 *   bracketed around, and taken as a base
 */
export const labelledShutters = ({ shutters }: Pick<BodyLimits, 'shutters'>): ShutterSetting[] =>
  shutters.filter(({ bulb }) => bulb !== true);

/** @returns whether one release can fire a bracket of this body */
export const hasOneRelease = (limits: BodyLimits): boolean =>
  firedBy(limits, 'pass').brackets.some(({ pattern }) => pattern.length > 1);

/** @returns whether the body has nothing to change between the two; null is the bracket off */
export const isSameShape = (one: BracketShape | null, other: BracketShape | null): boolean =>
  one === other ||
  (one !== null &&
    other !== null &&
    one.step === other.step &&
    (one.isOneRelease === true) === (other.isOneRelease === true) &&
    one.pattern.join() === other.pattern.join());
