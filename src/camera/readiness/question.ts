// What the readiness of a body is judged from, and what one rule finds. Pure: a rule reads settings that
// somebody else has read, and changes nothing.
import type { Mark, ReadinessCode } from '../../../shared/readiness.js';
import type { LinkKind, Settings } from '../link.js';

export interface ReadinessQuestion {
  readonly settings: Settings;
  readonly link: LinkKind;
  /** Whether the link tells of every file that the body makes: then a frame may be two files. */
  readonly pairs: boolean;
  readonly dialect: 'amount' | 'pattern' | 'drive-entry' | 'none';
  /** How the run moves the centre: by the shutter, or by exposure compensation. */
  readonly mode: 'manual' | 'aperture';
  /** The time at which the settings were read. */
  readonly now: Date;
  /** Bytes free where the sets go; null if nobody knows. */
  readonly freeBytes: number | null;
  /** Frames of the set that is asked for; null if none is. */
  readonly frames: number | null;
  /** Bytes of one frame, of one file or of two; null if nobody knows. */
  readonly fileBytes: number | null;
  /** Codes of hand ticks that a person has ticked. */
  readonly ticked: ReadonlySet<string>;
}

/** A finding from what the wire tells. */
export interface Found {
  readonly mark: Mark;
  readonly message: string;
  /** What the daemon can do about it on request. */
  readonly remedy?: 'set-clock';
}

/** A question to a person, since the wire does not tell: it wants attention until it is ticked. */
export interface AskPerson {
  readonly mark: 'by-hand';
  /** What to check, and why. */
  readonly message: string;
  /** The sentence once it is ticked. */
  readonly done: string;
}

export type Finding = Found | AskPerson;

export interface Rule {
  readonly code: ReadinessCode;
  /** @returns null if there is nothing to say of this body */
  readonly look: (question: ReadinessQuestion) => Finding | null;
}

export const fine = (message: string): Found => ({ mark: 'fine', message });
export const attention = (message: string): Found => ({ mark: 'attention', message });
export const stops = (message: string): Found => ({ mark: 'stops', message });
export const askPerson = (message: string, done: string): AskPerson => ({ mark: 'by-hand', message, done });

const WEIGHT: Readonly<Record<Finding['mark'], number>> = { fine: 0, 'by-hand': 1, attention: 2, stops: 3 };

/** @returns the gravest finding, the first of several; null if there is none */
export function gravest(findings: readonly (Finding | null)[]): Finding | null {
  return findings.reduce<Finding | null>(
    (worst, finding) =>
      finding !== null && (worst === null || WEIGHT[finding.mark] > WEIGHT[worst.mark]) ? finding : worst,
    null,
  );
}

/** The subject of a sentence: the invented body must not pass for a camera. */
export const who = ({ link }: Pick<ReadinessQuestion, 'link'>): string =>
  link === 'practice' ? 'The practice camera' : 'The camera';
