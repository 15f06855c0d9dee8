// What an alarm says, and how much of it to whom: a command on this computer is told everything, a webhook
// elsewhere gets no paths.
import { randomUUID } from 'node:crypto';
import os from 'node:os';
import path from 'node:path';
import { ALARM_VERSION, type AlarmNotice, alarmSchema } from '../../shared/alarm.js';
import type { ErrorCode } from '../../shared/error-codes.js';
import { pageAddress } from '../../shared/pages.js';

/** Why somebody should come to the camera. */
export interface Halt {
  /** The id of the run. */
  readonly run: string;
  /**
   * `stopped`: the run ended by itself because something was about to run out. A person who stops a run is
   * there, and need not be called.
   */
  readonly state: 'halted' | 'stopped';
  readonly error: ErrorCode | null;
  readonly sentence: string;
  /** The path of the set folder; null if there is none. */
  readonly folder: string | null;
  readonly verified: number;
  readonly frames: number;
}

/**
 * The longest sentence that is handed on, in characters: an operating system limits the size of the
 * environment.
 */
const LONGEST_SENTENCE = 4000;

export function environmentOf({ sentence, run, state, folder, error }: Halt): Record<string, string> {
  const values = {
    EVENRUNG_SENTENCE: cutSentence(sentence),
    EVENRUNG_RUN: run,
    EVENRUNG_STATE: state,
    EVENRUNG_FOLDER: folder ?? '',
    EVENRUNG_ERROR: error ?? '',
  };
  // A NUL is the one character that an environment variable cannot hold.
  return Object.fromEntries(
    Object.entries(values).map(([name, value]) => [name, value.replaceAll('\0', '')]),
  );
}

export function noticeOf(
  { run, state, error, sentence, folder, verified, frames }: Halt,
  at: Date,
): AlarmNotice {
  return alarmSchema.parse({
    version: ALARM_VERSION,
    id: randomUUID(),
    at: at.toISOString(),
    run,
    state,
    error,
    sentence: withoutPlaces(cutSentence(sentence), folder),
    page: error === null ? null : pageAddress(error),
    verified,
    frames,
    folder: folder === null ? null : path.basename(folder),
  } satisfies AlarmNotice);
}

const cutSentence = (sentence: string): string => sentence.slice(0, LONGEST_SENTENCE);

/** A path shows who somebody is. */
function withoutPlaces(sentence: string, folder: string | null): string {
  const into = folder === null ? '' : path.dirname(folder);
  const places: [string, string][] = [
    [folder ?? '', path.basename(folder ?? '')],
    [into, path.basename(into)],
    [os.homedir(), '~'],
  ];
  return places
    .filter(([place]) => place.length > 1)
    .reduce((text, [place, name]) => text.replaceAll(place, () => name), sentence);
}
