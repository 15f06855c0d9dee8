// From a schedule as it was asked for to absolute moments. Pure: the time of day and its zone are handed in.
//
// A time of day means the next such moment: for a start, from now on; for an end, from the start on. A time
// that was given to the minute still counts as now while that minute lasts. For days on which clocks are
// changed see momentsOf in zone.ts: a time that comes twice is taken at its first coming that still lies
// ahead; a time that is left out comes later by as much as the clocks are put forward. Slots are even steps
// from the start, whatever clocks show.
import { formatDuration } from '../../../shared/duration.js';
import { EvenrungError } from '../../../shared/errors.js';
import {
  formatPlace,
  LONGEST_INTERVAL_SECONDS,
  MOST_SETS,
  type Moment,
  type Place,
  type Schedule,
  type ScheduleRequest,
} from '../../../shared/schedule.js';
import { handySeconds } from './handy.js';
import { polar, sunEvents } from './sun.js';
import { DAY_MS, dateInWords, dayOf, inWords, momentsOf, readingAt } from './zone.js';

export interface Circumstances {
  readonly now: Date;
  /** IANA name of the time zone of the request's times of day, such as Europe/Zurich. */
  readonly timeZone: string;
  /** Seconds that one set is estimated to take. */
  readonly setSeconds: number;
}

const MINUTE_MS = 60_000;
/** A start that is farther away is a typing mistake. */
const FARTHEST_START_MS = 366 * DAY_MS;
/**
 * Far from the equator an event may come up to half an hour later than the day before. One that is later
 * still does not belong to the next day.
 */
const NEXT_WITHIN_MS = 26 * 60 * MINUTE_MS;

/**
 * @throws EvenrungError schedule-past if a start or end that was given with its date is over;
 *   schedule-impossible if the end lies before the start or leaves no room for a set, if a place is missing,
 *   if there is no such event of the sun, if there are too many sets, or if the interval is shorter than the
 *   set: then the sentence and `details.shortestSeconds` give the shortest handy one
 */
export function resolveSchedule(asked: ScheduleRequest, circumstances: Circumstances): Schedule {
  const { setSeconds, timeZone } = circumstances;
  const { everySeconds, overrun, place } = asked;
  const start = startOf(asked, circumstances);
  const end = asked.until === null ? null : endOf(asked.until, start, asked, circumstances);
  if (end !== null && end - start < setSeconds * 1000) {
    const room = `From ${inWords(start, timeZone)} to ${inWords(end, timeZone)}`;
    throw impossible(
      'until',
      `${room} there is no time for a set, which takes ${formatDuration(Math.ceil(setSeconds))}.`,
    );
  }
  const count =
    end === null
      ? (asked.count ?? 1)
      : Math.floor((end - start - setSeconds * 1000) / (everySeconds * 1000)) + 1;
  if (count > MOST_SETS)
    throw impossible(
      'until',
      `That would be ${count} sets, and ${MOST_SETS} are the most: use a longer interval, or an earlier end.`,
    );
  if (count > 1) checkInterval(everySeconds, setSeconds);
  return {
    start: new Date(start).toISOString(),
    everySeconds,
    count,
    end: end === null ? null : new Date(end).toISOString(),
    overrun,
    setSeconds,
    place,
  };
}

/** @param index from 0 @returns when this slot begins, in ms since 1970 */
export const slotStart = ({ start, everySeconds }: Schedule, index: number): number =>
  Date.parse(start) + index * everySeconds * 1000;

/** The starts of all slots; each is worked out when it is asked for. */
export function* slotStarts(schedule: Schedule): Generator<Date, void, undefined> {
  for (let index = 0; index < schedule.count; index += 1) yield new Date(slotStart(schedule, index));
}

/** @returns when the last set is expected to be done, in ms since 1970 */
export const lastSetEnds = (schedule: Schedule): number =>
  slotStart(schedule, schedule.count - 1) + schedule.setSeconds * 1000;

function startOf({ start, place }: ScheduleRequest, { now, timeZone }: Circumstances): number {
  const from = now.getTime();
  const found = nextMoment(start, from, place, timeZone, 'start');
  if (found < from - MINUTE_MS) {
    throw new EvenrungError(
      'schedule-past',
      `The start, ${inWords(found, timeZone)}, has passed: it is ${inWords(from, timeZone)} now.`,
      { field: 'start' },
    );
  }
  if (found - from > FARTHEST_START_MS) {
    throw impossible('start', `The start, ${inWords(found, timeZone)}, is more than a year ahead.`);
  }
  return Math.max(found, from);
}

function endOf(
  until: Moment,
  start: number,
  { place }: ScheduleRequest,
  { now, timeZone }: Circumstances,
): number {
  const end = nextMoment(until, start, place, timeZone, 'until');
  if (end <= now.getTime()) {
    throw new EvenrungError(
      'schedule-past',
      `The end, ${inWords(end, timeZone)}, has passed: it is ${inWords(now.getTime(), timeZone)} now.`,
      { field: 'until' },
    );
  }
  if (end <= start) {
    throw impossible(
      'until',
      `The end, ${inWords(end, timeZone)}, is not after the start, ${inWords(start, timeZone)}: give a later end.`,
    );
  }
  return end;
}

/** @returns ms since 1970; may lie before `from` if a date was given */
function nextMoment(
  moment: Moment,
  from: number,
  place: Place | null,
  timeZone: string,
  field: 'start' | 'until',
): number {
  switch (moment.kind) {
    case 'now':
      return from;
    case 'date-time': {
      const { reading, offsetMinutes } = moment;
      if (offsetMinutes !== null) return reading - offsetMinutes * MINUTE_MS;
      const moments = momentsOf(reading, timeZone);
      return moments.find((at) => at > from) ?? moments[0];
    }
    case 'time': {
      const { hour, minute, second } = moment;
      const time = ((hour * 60 + minute) * 60 + (second ?? 0)) * 1000;
      const today = dayOf(readingAt(from, timeZone));
      const lasting = field === 'start' && second === null ? MINUTE_MS : 0;
      const next = [today, today + DAY_MS, today + 2 * DAY_MS]
        .flatMap((day) => momentsOf(day + time, timeZone))
        .find((at) => at + lasting > from);
      return next ?? from;
    }
    case 'sun':
      return nextSunEvent(moment, from, place, timeZone, field);
  }
}

function nextSunEvent(
  { event, shiftMinutes }: Extract<Moment, { kind: 'sun' }>,
  from: number,
  place: Place | null,
  timeZone: string,
  field: 'start' | 'until',
): number {
  if (place === null) {
    throw impossible(
      'place',
      `The time of ${event} depends on your place: give it in decimal degrees, such as 47.5N 8.5E.`,
    );
  }
  const shift = shiftMinutes * MINUTE_MS;
  const [next] = sunEvents(event, place, from - shift + 1, from - shift + NEXT_WITHIN_MS);
  if (next !== undefined) return next + shift;
  const why = { up: ': the sun stays up', down: ': the sun stays down', none: '' };
  const date = dateInWords(from - shift, timeZone);
  throw impossible(
    field,
    `There is no ${event} at ${formatPlace(place)} within a day of ${date}${why[polar(place, from - shift) ?? 'none']}. Give a time of day instead.`,
  );
}

function checkInterval(everySeconds: number, setSeconds: number): void {
  if (everySeconds >= setSeconds) return;
  const takes = `One set takes ${formatDuration(Math.ceil(setSeconds))}, longer than the interval of ${formatDuration(everySeconds)}`;
  const shortest = handySeconds(setSeconds);
  if (shortest > LONGEST_INTERVAL_SECONDS)
    throw impossible('every', `${takes}, and longer than any interval can be. Make the set shorter.`);
  throw impossible('every', `${takes}: use at least ${formatDuration(shortest)}, or make the set shorter.`, {
    shortestSeconds: shortest,
  });
}

const impossible = (field: string, message: string, details: Record<string, unknown> = {}) =>
  new EvenrungError('schedule-impossible', message, { field, ...details });
