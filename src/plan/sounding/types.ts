// The request for a sounding, what its test frames show, and its result: values that its files share. Pure.
import type { BodyLimits, ShutterSetting, Sixths } from '../../exposure/index.js';

/** Of one sounding. */
export const MOST_TEST_FRAMES = 8;
/** From the first release to the last file. */
export const MOST_SOUNDING_SECONDS = 120;

/** An exposure that a test frame can have. */
export interface TestExposure {
  /** EV from the first test frame; + is more light. */
  readonly offset: Sixths;
  /** The shutter; in aperture priority the time that is assumed for it. */
  readonly shutter: ShutterSetting;
}

/** The exposures that can be fired, and the kind of set that is wanted. */
export interface SoundingAt {
  readonly mode: 'manual' | 'aperture';
  readonly step: Sixths;
  readonly limits: BodyLimits;
  /** The first test frame; in aperture priority whatever the camera meters counts as this. */
  readonly start: ShutterSetting;
  /** EV at ISO 100 from which on a part is white in the first frame; null if aperture or ISO is not known. */
  readonly whiteFromEv100: number | null;
  /** Whether somebody knows of the sun in the frame, and has it fired all the same. */
  readonly despiteSun: boolean;
}

export interface SeenLost {
  /** Of the picture, 0 to 1, in areas. */
  readonly share: number;
  readonly small: { readonly count: number; readonly share: number };
}

/** What all test frames together show of one end. */
export interface SeenEnd {
  /** EV from the first frame of the frame that just holds this end; null if the outermost one does not. */
  readonly heldAt: number | null;
  /** What the outermost frame loses. */
  readonly lost: SeenLost;
}

export interface Seen {
  readonly highlights: SeenEnd;
  readonly shadows: SeenEnd;
  /** White parts of the darkest frame. */
  readonly whiteParts: number;
}

/** What a test frame lost by itself: shares of the picture, in areas. */
export interface Shown {
  readonly offset: Sixths;
  readonly highlights: number;
  readonly shadows: number;
}

export interface SoFar {
  readonly shown: readonly Shown[];
  readonly seen: Seen;
  readonly secondsLeft: number;
  /** @returns seconds that a frame of this exposure is expected to take, all in all */
  readonly takes: (exposure: TestExposure) => number;
}

export type Next =
  | { readonly is: 'fire'; readonly exposure: TestExposure; readonly to: TestPurpose }
  /** The sun may be in the frame: nothing more is fired before somebody has heard that. */
  | { readonly is: 'sun' }
  | {
      readonly is: 'done';
      readonly proposed: Proposed;
      /** Whether part of the darkest frame is still white: then nothing tells it from the sun. */
      readonly mayBeSun: boolean;
    };

/** The purpose of a test frame. */
export type TestPurpose = 'start' | 'darker' | 'spot' | 'brighter' | 'darkest' | 'brightest';

export type WhyNotReached = 'range' | 'time' | 'frames';

/** One end of the light. */
export type FoundEnd =
  /** EV from the first test frame of the frame that just holds it. */
  | { readonly isReached: true; readonly heldAt: number }
  | { readonly isReached: false; readonly why: WhyNotReached };

/** The set that holds the scene, as far as the camera can. */
export interface Proposed {
  /** EV from the first test frame, the darkest first. */
  readonly offsets: readonly Sixths[];
  /** The frames that just hold each end, as exposures that can be fired: those of the set lie there, or outside of them. */
  readonly needed: { readonly darkest: Sixths; readonly brightest: Sixths };
  /** Null in aperture priority: the camera meters it. */
  readonly base: ShutterSetting | null;
  readonly highlights: FoundEnd;
  readonly shadows: FoundEnd;
}
