// What the bench `wire` and the processes that it starts say to each other.
import type { Sixths } from '../../src/exposure/index.js';
import type { StationAt } from './wire-station.js';
import type { Gap } from './wire-watch.js';

/** `tally` asks what happened since the last time; `rest` sets the shutter back by hand before. */
export type BodyOrder = 'tally' | 'rest';

export interface Tally {
  /** How many transactions, by operation code. */
  readonly operations: Readonly<Record<number, number>>;
  /** How many of them wrote or moved a setting, by property code. */
  readonly writes: Readonly<Record<number, number>>;
  /** Tv of what the shutter made, in order. */
  readonly shots: readonly Sixths[];
  /** What the wait of a transaction came to, which no timer keeps exactly. */
  readonly waits: { readonly count: number; readonly seconds: number };
  /** The body's settings as one text, for comparing. */
  readonly state: string;
}

export type BodyAnswer =
  | { readonly type: 'ready'; readonly environment: Readonly<Record<string, string>> }
  | { readonly type: 'tally'; readonly tally: Tally };

/** One set, frame by frame. */
export interface BareOrder {
  readonly setting: string;
  /** The label of each frame's shutter, as the body writes it. */
  readonly labels: readonly string[];
  /** An existing folder that takes the files. */
  readonly into: string;
}

export type BareAnswer =
  | { readonly type: 'ready' }
  | { readonly type: 'done'; readonly seconds: number }
  | { readonly type: 'failed'; readonly message: string };

/** So many frames are to be made of one body, with a look at the memory every so many of them. */
export interface ThousandOrder extends StationAt {
  readonly frames: number;
  readonly every: number;
}

/** Resident memory in MiB; null where the system does not tell. */
export interface Resident {
  readonly frames: number;
  readonly camera: number | null;
  readonly daemon: number | null;
}

export interface ThousandAnswer {
  readonly seconds: number;
  readonly resident: readonly Resident[];
  /** How many camera processes there were. */
  readonly cameraProcesses: number;
  readonly gaps: readonly Gap[];
  readonly looks: readonly number[];
  readonly channel: readonly number[];
}
