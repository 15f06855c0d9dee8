// What a file records of its own exposure, whichever reader read it.
import type { TakenAt } from './taken-at.js';

/** A recorded exposure; null for each value that the file does not tell. */
export interface RecordedExposure {
  /** Seconds. */
  readonly exposureTime: number | null;
  readonly fNumber: number | null;
  readonly iso: number | null;
  /** EV that the body was told to expose more than it meters: compensation and, on most bodies, the bracket. */
  readonly bias: number | null;
  /** Millimetres that the lens stood at, as it is, not as on another format. */
  readonly focalLength: number | null;
  /** By the camera's own clock. */
  readonly takenAt: TakenAt | null;
}
