// The caution for a schedule that may point the camera at the rising sun; more is in
// hardware-notes/cautions.md.
import { formatDuration } from '../../../shared/duration.js';
import { formatPlace, type Place, type Schedule } from '../../../shared/schedule.js';
import { lastSetEnds } from './resolve.js';
import { sunEvents } from './sun.js';
import { DAY_MS, dayOf, inWords, momentsOf, readingAt } from './zone.js';

export type SunriseCaution =
  | {
      readonly kind: 'crosses';
      /** The first one inside the schedule. */
      readonly sunrise: Date;
      /**
       * An end that stops before sunrise; null if the schedule begins so close to sunrise that no end does.
       */
      readonly suggestedEnd: Date | null;
      /** The same end, written as a request would. */
      readonly suggestedUntil: string | null;
      readonly sentence: string;
    }
  | { readonly kind: 'unknown'; readonly sentence: string };

const HOUR_MS = 3_600_000;
/**
 * From a height of h metres the horizon lies 2.076 sqrt(h) / 60 degrees deeper (as suncalc has it): at 3000 m
 * nearly 2 degrees, for which the sun takes 12 min at 47 degrees of latitude. The rest is reserve for a set
 * that takes longer than estimated.
 */
const BEFORE_MINUTES = 20;
const NIGHT_FROM_HOUR = 21;
const NIGHT_TO_HOUR = 9;
const OVER_NIGHT_MS = 6 * HOUR_MS;

const HARM =
  'The sun in or near the frame burns sensor, shutter and iris. Never look at it through an optical finder; it burns eyes.';

/**
 * @param place null if none was given: then it can only be said that a schedule runs overnight
 * @returns null if no sunrise lies between the start and the end of the last set
 */
export function crossesSunrise(
  schedule: Schedule,
  place: Place | null,
  timeZone: string,
): SunriseCaution | null {
  const from = Date.parse(schedule.start);
  const to = lastSetEnds(schedule);
  if (place === null) {
    if (!runsOverNight(from, to, timeZone)) return null;
    const sentence = `This schedule runs overnight, and Evenrung does not know when the sun comes up: give the place. ${HARM}`;
    return { kind: 'unknown', sentence };
  }
  const [sunrise] = sunEvents('sunrise', place, from, to);
  if (sunrise === undefined) return null;
  const end = sunrise - BEFORE_MINUTES * 60_000;
  const isRoom = end - from >= schedule.setSeconds * 1000;
  const stop = isRoom
    ? `Let it end ${formatDuration(BEFORE_MINUTES * 60)} before sunrise`
    : 'Begin after sunrise';
  const crosses = `This schedule crosses sunrise, ${inWords(sunrise, timeZone)} at ${formatPlace(place)}.`;
  return {
    kind: 'crosses',
    sunrise: new Date(sunrise),
    suggestedEnd: isRoom ? new Date(end) : null,
    suggestedUntil: isRoom ? `sunrise-${BEFORE_MINUTES}min` : null,
    sentence: `${crosses} ${HARM} ${stop}, or point the lens elsewhere.`,
  };
}

/** Whether it contains more than six hours of one night, from 21 to 9 on the clock. */
function runsOverNight(from: number, to: number, timeZone: string): boolean {
  const last = dayOf(readingAt(to, timeZone));
  for (let day = dayOf(readingAt(from, timeZone)) - DAY_MS; day <= last; day += DAY_MS) {
    const [falls] = momentsOf(day + NIGHT_FROM_HOUR * HOUR_MS, timeZone);
    const [ends] = momentsOf(day + DAY_MS + NIGHT_TO_HOUR * HOUR_MS, timeZone);
    if (Math.min(to, ends) - Math.max(from, falls) > OVER_NIGHT_MS) return true;
  }
  return false;
}
