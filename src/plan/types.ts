// The values that the planner takes and returns.
import type { Warning } from '../../shared/plan.js';
import type { PlanReadings } from '../../shared/plan-readings.js';
import type { Least, ReleaseWay } from '../../shared/request.js';
import type { BracketShape, ShutterSetting, Sixths } from '../exposure/index.js';

/** The frames of one set, as they are wanted. */
export interface PlanRequest {
  /** EV from the base, ascending, evenly spaced by `step`; at most 61. */
  readonly offsets: readonly Sixths[];
  readonly step: Sixths;
  readonly base: ShutterSetting;
  /** manual: the centre of a pass is moved by shutter; aperture: by exposure compensation. */
  readonly mode: 'manual' | 'aperture';
  /** Seconds to wait before each pass; none if it is left out. */
  readonly settleSeconds?: number | undefined;
  /**
   * What one release fires. If it is left out or null: a frame, unless the least spread is asked for and one
   * release a pass has less of it.
   */
  readonly release?: ReleaseWay | null | undefined;
  /** What is kept short; the time if it is left out. */
  readonly least?: Least | undefined;
  /** The readings that base and offsets were worked out from, if the request was made by readings. */
  readonly readings?: PlanReadings | undefined;
}

export interface PlannedFrame {
  readonly offset: Sixths;
  /** False for a frame that only comes with its pass: nobody asked for it, or another pass makes it. */
  readonly wanted: boolean;
  readonly shutter: ShutterSetting;
}

/** One firing of the body's own auto-bracket, or a single frame with the bracket off. */
export interface Pass {
  readonly centre: Sixths;
  /** The shutter setting of the centre. */
  readonly centreShutter: ShutterSetting;
  /** null for a single frame. */
  readonly shape: BracketShape | null;
  /** In the body's firing order. */
  readonly frames: readonly PlannedFrame[];
}

export interface Plan extends Omit<PlanRequest, 'release'> {
  /**
   * What one release fires. `pass`: no release waits for a file of an earlier one, not even the release of a
   * single frame.
   */
  readonly release: ReleaseWay;
  /**
   * In firing order: from the darkest pass to the brightest, or beginning with the one centred on the body's
   * present setting. Every wanted offset is made by exactly one frame.
   */
  readonly passes: readonly Pass[];
  readonly estimate: Estimate;
  readonly warnings: readonly Warning[];
  /** False if the search was cut off; then a better plan could save at most `gapSeconds`. */
  readonly provenLeast: boolean;
  readonly gapSeconds: number;
}

export interface Estimate {
  readonly seconds: number;
  /** From the first opening of the shutter to its last closing, frames that nobody asked for included; null in plans of earlier programs. */
  readonly spreadSeconds: number | null;
  /**
   * `seconds` split by pass, in firing order, without the putting back of settings. Time before the first
   * frame of a pass belongs to that pass; files that are still on the way after the last frame belong to the
   * last pass.
   */
  readonly passSeconds: readonly number[];
  /** Shutter actuations: all frames, also those that nobody asked for. */
  readonly actuations: number;
  /** Bytes on disk; null if the size of a file is not known. */
  readonly bytes: number | null;
  /** The longest time in seconds between the starts of two neighbouring exposures of the set. */
  readonly longestGapSeconds: number;
}

/** Shooting conditions, as far as they are known. A condition that is left out is not judged. */
export interface Conditions {
  /** Focal length in mm, 35 mm equivalent, if the camera is held by hand; left out on a tripod. */
  readonly handHeldMm?: number | undefined;
  /** Mains frequency in Hz, where mains light falls on the scene. */
  readonly mainsHz?: 50 | 60 | undefined;
  /** How fast the light changes, in EV a minute. */
  readonly lightEvPerMinute?: number | undefined;
  /** True if the body takes a dark frame after a long exposure. */
  readonly noiseReduction?: boolean | undefined;
  /** Bytes of one file. */
  readonly fileBytes?: number | undefined;
  /** The base as it was written, if it may not be a setting of the body. */
  readonly baseWritten?: string | undefined;
  /**
   * The present setting of the body's shutter: a pass that is centred there is fired first, and saves a
   * change.
   */
  readonly standingTv?: Sixths | undefined;
  readonly fNumber?: number | undefined;
  readonly iso?: number | undefined;
}
