// A set that is asked for by two spot readings, as it is in the fields. Pure. The daemon says what follows
// from readings.
import { parseReading } from '../../shared/reading.js';
import type { WrittenReadings } from '../../shared/request.js';
import type { BodyView } from '../../shared/state.js';

/** What determines the frames. */
export type AskedBy = 'frames' | 'readings';

export type ReadingPart = 'darkest' | 'brightest';
export const READING_PARTS: readonly ReadingPart[] = ['darkest', 'brightest'];

/** The settings that readings are metered for, if no camera tells them. */
export type Standing = 'aperture' | 'iso';
export const STANDINGS: readonly Standing[] = ['aperture', 'iso'];

/** As they are written; empty as long as nothing was metered. */
export type ReadingsForm = Readonly<Record<ReadingPart | Standing, string>> & {
  /** Values that a script has sent and no field shows. */
  readonly beside: Omit<WrittenReadings, ReadingPart | Standing>;
};

export const NO_READINGS: ReadingsForm = { darkest: '', brightest: '', aperture: '', iso: '', beside: {} };

/** Least and most, as in shared/request.ts. */
const CAN_BE: Readonly<Record<Standing, readonly [number, number]>> = {
  aperture: [0.5, 500],
  iso: [1, 10_000_000],
};

/**
 * @param written such as `8`, `f/8`, `100`, `ISO 100`
 * @returns null if it is empty, undefined if it is no such number
 */
export function readStanding(which: Standing, written: string): number | null | undefined {
  const plain = written.trim();
  if (plain === '') return null;
  const number = Number(plain.replace(which === 'aperture' ? /^f\/?\s*/i : /^iso\s*/i, ''));
  const [least, most] = CAN_BE[which];
  return number >= least && number <= most ? number : undefined;
}

/** @returns the readings, or the field that cannot be read; if both are empty, the first */
export function readReadings(form: ReadingsForm): WrittenReadings | ReadingPart | Standing {
  const wrong = READING_PARTS.find((part) => parseReading(form[part]) === undefined);
  if (wrong !== undefined) return wrong;
  const [aperture, iso] = [readStanding('aperture', form.aperture), readStanding('iso', form.iso)];
  if (aperture === undefined) return 'aperture';
  if (iso === undefined) return 'iso';
  return {
    ...{ darkest: form.darkest.trim(), brightest: form.brightest.trim() },
    ...(aperture === null ? {} : { aperture }),
    ...(iso === null ? {} : { iso }),
    ...form.beside,
  };
}

export function readingsOf(written: WrittenReadings | undefined): ReadingsForm {
  if (written === undefined) return NO_READINGS;
  const { darkest, brightest, aperture, iso, ...beside } = written;
  const number = (given: number | undefined) => (given === undefined ? '' : String(given));
  return { darkest, brightest, aperture: number(aperture), iso: number(iso), beside };
}

/**
 * @returns the fields that a person has to fill in because the camera does not tell; a value that is in one
 *   stays until it is removed
 */
export const standingsFor = (
  body: Pick<BodyView, Standing>,
  form: Pick<ReadingsForm, Standing>,
): readonly Standing[] => STANDINGS.filter((which) => body[which] === null || form[which] !== '');
