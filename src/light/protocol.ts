// The messages between a judge and the process of this room. Plain data; pixels never cross, only results.
import type { SideReply } from '../system/index.js';
import type { Coverage } from './coverage/result.js';
import type { AskedEnds, SceneEnds } from './ends/tell.js';
import type { Response } from './radiance/response.js';
import type { PictureSource } from './read/copies.js';
import type { Unreadable } from './read/unreadable.js';
import type { Compared } from './steady/compare.js';

/** Each judge has a desk of its own in the process, under a number. */
export type Asked =
  | {
      readonly ask: 'look';
      readonly desk: number;
      readonly number: number;
      readonly offsetEv: number;
      readonly source: PictureSource;
      /** Whether it is compared with its neighbour; left out if the process only has to know it again. */
      readonly compare: boolean;
    }
  | { readonly ask: 'drop'; readonly desk: number; readonly number: number }
  | { readonly ask: 'coverage'; readonly desk: number }
  | { readonly ask: 'ends'; readonly desk: number; readonly at: AskedEnds }
  | { readonly ask: 'response'; readonly desk: number }
  | {
      readonly ask: 'merge-begin';
      readonly desk: number;
      readonly response: Response;
    }
  | {
      readonly ask: 'merge-add';
      readonly desk: number;
      readonly offsetEv: number;
      readonly source: PictureSource;
      readonly side: number;
    }
  | {
      readonly ask: 'merge-end';
      readonly desk: number;
      readonly side: number;
      readonly about: readonly string[];
      /** The file that the radiance is written to. */
      readonly file: string;
    }
  | { readonly ask: 'clear'; readonly desk: number };

export interface Looked {
  readonly full: { readonly width: number; readonly height: number };
  /** How many pixels of the full picture one pixel of the copy stands for. */
  readonly scale: number;
  readonly against: { readonly number: number; readonly compared: Compared | null } | null;
}

export interface Covered {
  readonly coverage: Coverage;
  /** PNG. */
  readonly map: Uint8Array;
}

export interface MergedPictures {
  /** JPEG. */
  readonly preview: Uint8Array;
  readonly width: number;
  readonly height: number;
}

/** The file could not be written. */
export interface Refused {
  /** Why, in words that fit behind a colon. */
  readonly refused: string;
}

/** The answer to each question. */
export interface Answers {
  readonly look: Looked | Unreadable;
  readonly drop: null;
  /** Null if no frame was looked at. */
  readonly coverage: Covered | null;
  /** Null if no frame was looked at. */
  readonly ends: SceneEnds | null;
  /** Null if the frames do not tell it. */
  readonly response: Response | null;
  readonly 'merge-begin': null;
  /** Null if it was added. */
  readonly 'merge-add': Unreadable | null;
  /** Null if there was nothing to merge. */
  readonly 'merge-end': MergedPictures | Refused | null;
  readonly clear: null;
}

export type Question = { readonly id: number } & Asked;

export type Answer = SideReply<Answers>;
