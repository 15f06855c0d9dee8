// The caution of a schedule that meets the sun: hardware-notes/cautions.md says more.
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
      /** An end that stops before it; null where the schedule begins so near to sunrise that no end does. */
      readonly suggestedEnd: Date | null;
      /** The same as it would be asked for. */
      readonly suggestedUntil: string | null;
      readonly sentence: string;
    }
  | { readonly kind: 'unknown'; readonly sentence: string };

const HOUR_MS = 3_600_000;
/**
 * From a height of h metres the horizon lies 2.076 sqrt(h) / 60 degrees deeper (as suncalc has it): at 3000 m nearly 2 degrees,
 * which the sun takes 12 min for at 47 degrees of latitude. The rest is for a set that takes longer than it was estimated.
 */
const BEFORE_MINUTES = 20;
const NIGHT_FROM_HOUR = 21;
const NIGHT_TO_HOUR = 9;
const OVER_NIGHT_MS = 6 * HOUR_MS;

const HARM =
  'The sun in or near the frame burns sensor, shutter and iris. Never look at it through an optical finder; it burns eyes.';

/**
 * @param place null where nobody gave one: then it can only be told that a schedule runs over night
 * @returns null where no sunrise lies between the start and the end of the last set
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

/** Whether more than six hours of one night, from 21 to 9 on the clock, lie in it. */
function runsOverNight(from: number, to: number, timeZone: string): boolean {
  const last = dayOf(readingAt(to, timeZone));
  for (let day = dayOf(readingAt(from, timeZone)) - DAY_MS; day <= last; day += DAY_MS) {
    const [falls] = momentsOf(day + NIGHT_FROM_HOUR * HOUR_MS, timeZone);
    const [ends] = momentsOf(day + DAY_MS + NIGHT_TO_HOUR * HOUR_MS, timeZone);
    if (Math.min(to, ends) - Math.max(from, falls) > OVER_NIGHT_MS) return true;
  }
  return false;
}
