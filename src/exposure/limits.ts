// What a body can do, said in exposures: filled by camera/, read by plan/, which know nothing of each other.
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
  /** The shutter settings that exist, longest first, no two with the same Tv. */
  readonly shutters: readonly ShutterSetting[];
  /**
   * Ends of that list which need not be the body's own: it has times beyond that nobody can set by their labels, or it lists none at
   * all. Left out, both ends are its own.
   */
  readonly openEnds?: readonly ('longest' | 'shortest')[] | undefined;
  /** The auto-brackets that exist; none where the body has no auto-bracket. */
  readonly brackets: readonly BracketShape[];
  readonly compensation: CompensationLimits;
  /** The longest exposure in seconds that the link can bring back. */
  readonly longestSeconds: number;
  /** Seconds for one settings change to whatever value. */
  readonly secondsPerChange: number;
  /** Seconds more for every setting on the way: some bodies walk to a value step by step. 0 where it jumps. */
  readonly secondsPerSetting: number;
  /** Seconds a frame beside its exposure: release lag, the body's own cycle, transfer. */
  readonly secondsPerFrame: number;
}

/** @returns whether the body has nothing to change between the two; null is the bracket off */
export const isSameShape = (one: BracketShape | null, other: BracketShape | null): boolean =>
  one === other ||
  (one !== null && other !== null && one.step === other.step && one.pattern.join() === other.pattern.join());
