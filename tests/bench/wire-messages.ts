// What the bench `wire` and the processes that it starts say to each other.
import type { WrittenSetRequest } from '../../shared/request.js';
import type { LinkWay } from '../../src/camera/index.js';
import type { Sixths } from '../../src/exposure/index.js';
import type { CallsOf, Change, Gap } from './wire-watch.js';

/** An order that could not be carried out. */
export interface Failed {
  readonly type: 'failed';
  readonly message: string;
}

// --- the body

/** `tally` asks what happened since the last time; `rest` sets the shutter back by hand before. */
export type BodyOrder = 'tally' | 'rest';

export interface BodyReady {
  readonly type: 'ready';
  /** What a process needs in its environment to find the body. */
  readonly environment: Readonly<Record<string, string>>;
}

export interface Tally {
  readonly type: 'tally';
  /** How many transactions there were. */
  readonly transactions: number;
  /** How many of them wrote or moved a setting, by property code. */
  readonly writes: Readonly<Record<number, number>>;
  /** Tv of what the shutter made, in order. */
  readonly shots: readonly Sixths[];
  /** Seconds from the first opening of its shutter to the last closing, by the body's own clock; null where it made nothing. */
  readonly spread: number | null;
  /** Seconds that transactions were made to wait, as it came out: no timer keeps them exactly. */
  readonly waited: number;
  /** The body's settings as one text, for comparing. */
  readonly state: string;
}

// --- the daemon

export interface DaemonAt {
  /** The compiled entry of the camera process. */
  readonly cameraProcess: string;
  /** That the camera process finds the body by. */
  readonly environment: Readonly<Record<string, string>>;
  /** By which way it reaches the body. */
  readonly way: LinkWay;
  /** Whether it keeps a journal, as a daemon does that is no bench's. */
  readonly keepsJournal: boolean;
  /** Whether its pictures are judged by their light; left out, they are not. */
  readonly judges?: boolean;
  /** An existing folder that takes the sets, and everything else that a daemon keeps. */
  readonly into: string;
}

export type DaemonOrder =
  | { readonly type: 'meet'; readonly at: DaemonAt }
  | { readonly type: 'plan'; readonly request: WrittenSetRequest }
  /** The first frame is copied to `sample`, where that is given; the set is removed. */
  | { readonly type: 'fire'; readonly request: WrittenSetRequest; readonly sample?: string }
  | { readonly type: 'resident' }
  | { readonly type: 'close' };

export interface Planned {
  readonly type: 'planned';
  /** Each pass as centre and count, in firing order: `-3 EV x 3`. */
  readonly passes: readonly string[];
  /** The centre of each pass, in firing order: the base is 0. */
  readonly centres: readonly Sixths[];
  /** Of every frame that is fired, in firing order. */
  readonly exposures: readonly number[];
  /** The frames that are wanted, from the darkest to the brightest. */
  readonly frames: readonly {
    readonly tv: Sixths;
    readonly seconds: number;
    /** The label of the shutter, as the body writes it. */
    readonly label: string;
  }[];
}

/** A set that is complete: what was seen of it from outside. */
export interface Fired {
  readonly type: 'fired';
  /** From asking for the set to the end of its run, with the settings put back and the record written. */
  readonly seconds: number;
  /** Of them, from asking to the first frame. */
  readonly before: number;
  /** Of them, from the last frame in hand to the end. */
  readonly after: number;
  readonly changes: readonly Change[];
  readonly gaps: readonly Gap[];
  /** Milliseconds from a frame in hand until it is verified. */
  readonly looks: readonly number[];
  /** Milliseconds of each fire that passed outside the camera process. */
  readonly channel: readonly number[];
  /** Calls of the link, by method. */
  readonly calls: Readonly<Record<string, CallsOf>>;
}

/** Memory in MiB; null where the system does not tell. */
export interface Resident {
  readonly type: 'resident';
  readonly camera: number | null;
  readonly daemon: number | null;
  readonly cameraPid: number | null;
}

export interface Done {
  readonly type: 'done';
}

// --- the bare binding

/** One set, frame by frame. */
export interface BareOrder {
  readonly setting: string;
  readonly labels: readonly string[];
  /** An existing folder that takes the files. */
  readonly into: string;
}

export interface BareReady {
  readonly type: 'ready';
}

export interface BareFired {
  readonly type: 'fired';
  readonly seconds: number;
}
