// A set that is asked for by two spot readings, as it stands in the fields. Pure. What follows from readings the daemon says.
import { parseReading } from '../../shared/reading.js';
import type { WrittenReadings } from '../../shared/request.js';

/** What says which frames are made. */
export type AskedBy = 'frames' | 'readings';

export type ReadingPart = 'darkest' | 'brightest';
export const READING_PARTS: readonly ReadingPart[] = ['darkest', 'brightest'];

/** As they are written; empty as long as nothing was metered. */
export type ReadingsForm = Readonly<Record<ReadingPart, string>> & {
  /** What a script said besides, and no field shows. */
  readonly beside: Omit<WrittenReadings, ReadingPart>;
};

export const NO_READINGS: ReadingsForm = { darkest: '', brightest: '', beside: {} };

/** @returns the readings, or the field that cannot be read, where both are empty the first */
export function readReadings(form: ReadingsForm): WrittenReadings | ReadingPart {
  const wrong = READING_PARTS.find((part) => parseReading(form[part]) === undefined);
  if (wrong !== undefined) return wrong;
  return { darkest: form.darkest.trim(), brightest: form.brightest.trim(), ...form.beside };
}

export function readingsOf(written: WrittenReadings | undefined): ReadingsForm {
  if (written === undefined) return NO_READINGS;
  const { darkest, brightest, ...beside } = written;
  return { darkest, brightest, beside };
}
