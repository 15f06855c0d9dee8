// A run on a schedule: the same set every few minutes. What a person asks for is parsed once, here, whether it comes from the
// panel or the command line; what it comes to in absolute moments is worked out in src/series/schedule/.
//
// How it is written:
// - an interval: `4min`, `90s`, `1h`, `1h30min`, `1h30` (minutes), `4min30` (seconds), `2.5min`; a bare number is seconds. `m`
//   stands for min.
// - a moment: `now`; a time of day, `21:40` or `21:40:30`; a date and time, `2026-10-25T02:30`, with `Z` or `+02:00` behind it
//   where it is not local time; or a sun event with or without a shift, `sunset`, `sunset+10min`, `nautical dawn-20min`.
// - a place: `47.5N 8.5E`, `47.5 8.5`, `-33.9, 151.2`: latitude first where no letters tell.
import { z } from 'zod';
import { EvenrungError, type NamingFields } from './errors.js';
import { IN_PLAIN_WORDS, shortened } from './plain-words.js';
import { firstIssue } from './request.js';

export const SHORTEST_INTERVAL_SECONDS = 5;
export const LONGEST_INTERVAL_SECONDS = 24 * 3600;
export const MOST_SETS = 100_000;
/** A sun event that is shifted farther is another event's business. */
export const LARGEST_SHIFT_MINUTES = 12 * 60;

export const SUN_EVENTS = ['sunrise', 'sunset', 'dawn', 'dusk', 'nautical dawn', 'nautical dusk'] as const;
/** Dawn and dusk without a word before them are the civil ones: the sun 6 degrees below the horizon; nautical: 12. */
export type SunEvent = (typeof SUN_EVENTS)[number];

export const placeSchema = z.strictObject({
  /** Decimal degrees, north positive. */
  latitude: z.number().min(-90).max(90),
  /** Decimal degrees, east positive. */
  longitude: z.number().min(-180).max(180),
});
export type Place = z.infer<typeof placeSchema>;

/**
 * What to do if a set takes longer than its slot: wait for the next slot, or begin at once and then keep to
 * the grid.
 */
export const overrunSchema = z.enum(['skip', 'follow']);
export type Overrun = z.infer<typeof overrunSchema>;

/**
 * Moments, lengths of time and places as people write them. Text longer than any of these is refused before
 * it is parsed.
 */
const LONGEST_TEXT = 64;
const text = (what: string, such: string) =>
  z.string().max(LONGEST_TEXT, { error: `it is not ${what}: write it like ${such}` });
const moment = text('a moment', '21:40, 2026-10-25T02:30, sunset+10min or nautical dawn');

/** As it is written on the wire: `every` with `count` or `until`. */
export const scheduleRequestSchema = z
  .strictObject({
    every: z.union([z.number(), text('an interval', '90s, 4min or 1h30')], {
      error: ({ input }) =>
        input === undefined ? 'it is missing: give the interval, such as 4min' : undefined,
    }),
    count: z.number().optional(),
    until: moment.optional(),
    start: moment.default('now'),
    place: z.union([placeSchema, text('a place', '47.5N 8.5E')]).optional(),
    overrun: overrunSchema.default('skip'),
  })
  .meta({ id: 'ScheduleRequest' });
export type WrittenSchedule = z.input<typeof scheduleRequestSchema>;

export type Moment =
  | { readonly kind: 'now' }
  | { readonly kind: 'time'; readonly hour: number; readonly minute: number; readonly second: number | null }
  | {
      readonly kind: 'date-time';
      /** The wall clock's reading as if it were UTC, in ms since 1970. */
      readonly reading: number;
      /** Minutes east of UTC; null for local time. */
      readonly offsetMinutes: number | null;
    }
  | { readonly kind: 'sun'; readonly event: SunEvent; readonly shiftMinutes: number };

export interface ScheduleRequest {
  readonly everySeconds: number;
  /** One of the two is null. */
  readonly count: number | null;
  readonly until: Moment | null;
  readonly start: Moment;
  readonly place: Place | null;
  readonly overrun: Overrun;
}

/**
 * A schedule in absolute moments, as the journal keeps it and everyone sees it. Slot n, counted from 0,
 * begins n intervals after the start.
 */
export const scheduleSchema = z
  .strictObject({
    /** ISO 8601, UTC: the first slot. */
    start: z.string(),
    everySeconds: z.number(),
    /** Slots, whether a set is made in each or not. */
    count: z.number().int(),
    /** ISO 8601, UTC: no set is to last beyond this; null if sets were counted. */
    end: z.string().nullable(),
    overrun: overrunSchema,
    /** Seconds that one set was estimated to take. */
    setSeconds: z.number(),
    place: placeSchema.nullable(),
  })
  .meta({ id: 'Schedule' });
export type Schedule = z.infer<typeof scheduleSchema>;

/**
 * @param written anything at all, such as a parsed JSON body
 * @throws EvenrungError malformed-request, unreadable-schedule
 */
export function parseScheduleRequest(written: unknown): ScheduleRequest {
  const parsed = scheduleRequestSchema.safeParse(written, IN_PLAIN_WORDS);
  if (!parsed.success) throw new EvenrungError('malformed-request', firstIssue(parsed.error));
  const { every, count, until, start, place, overrun } = parsed.data;
  if (count !== undefined && until !== undefined) {
    throw unreadable('count', (named) => `Give ${named('count')} or ${named('until')}, not both.`);
  }
  if (count === undefined && until === undefined) {
    throw unreadable(
      'count',
      (named) =>
        `Say when to finish: give ${named('count')}, such as 60, or ${named('until')}, such as dawn-20min.`,
    );
  }
  return {
    everySeconds: readInterval(every),
    count: count === undefined ? null : checkedCount(count),
    until: until === undefined ? null : readUntil(until),
    start: readMoment(start, 'start'),
    place: place === undefined ? null : typeof place === 'string' ? readPlace(place) : place,
    overrun,
  };
}

/** The words of the command line's options, as they were typed. */
export interface ScheduleWords {
  readonly every: string;
  readonly count?: string | undefined;
  readonly until?: string | undefined;
  readonly start?: string | undefined;
  readonly place?: string | undefined;
  readonly overrun?: string | undefined;
}

/**
 * @returns the schedule that the options ask for, as it is written on the wire; moments and places are
 *   parsed where every request is
 * @throws EvenrungError unreadable-schedule
 */
export function scheduleFromWords({
  every,
  count,
  until,
  start,
  place,
  overrun,
}: ScheduleWords): WrittenSchedule {
  return {
    every,
    ...(count === undefined ? {} : { count: readCount(count) }),
    ...(until === undefined ? {} : { until }),
    ...(start === undefined ? {} : { start }),
    ...(place === undefined ? {} : { place }),
    ...(overrun === undefined ? {} : { overrun: readOverrun(overrun) }),
  };
}

/** @returns whole seconds, within what an interval may be @throws EvenrungError unreadable-schedule */
export function readInterval(written: string | number): number {
  const seconds = typeof written === 'number' ? written : (parseDuration(written) ?? parseSeconds(written));
  if (seconds === undefined || !Number.isInteger(seconds)) {
    throw unreadable(
      'every',
      `The interval '${shortened(String(written))}' is not understood: write it like 90s, 4min or 1h30.`,
    );
  }
  if (seconds < SHORTEST_INTERVAL_SECONDS || seconds > LONGEST_INTERVAL_SECONDS) {
    throw unreadable(
      'every',
      `The interval must be 5 s to 24 h, not ${inWords(written)}: write it with its unit, such as 4min.`,
    );
  }
  return seconds;
}

/** A bare number counts as seconds, which is easily overlooked. */
const inWords = (written: string | number): string =>
  typeof written === 'number' || parseDuration(written) === undefined
    ? `${shortened(String(written)).trim()} s`
    : shortened(written);

const HOURS = String.raw`(?:(?<hours>\d{1,3}(?:\.\d{1,4})?)h)`;
const MINUTES = String.raw`(?:(?<minutes>\d{1,5}(?:\.\d{1,4})?)(?:min|m))`;
const SECONDS = String.raw`(?:(?<seconds>\d{1,6})s)`;
const DURATION = [
  new RegExp(`^${HOURS}?${MINUTES}?${SECONDS}?$`),
  /^(?<hours>\d{1,3})h(?<minutes>\d{1,2})$/,
  /^(?<minutes>\d{1,5})(?:min|m)(?<seconds>\d{1,2})$/,
];

/** @returns seconds, or undefined if the text is not a length of time with units */
export function parseDuration(written: string): number | undefined {
  const bare = written.toLowerCase().replaceAll(/\s/g, '');
  if (bare === '') return undefined;
  for (const form of DURATION) {
    const parts = form.exec(bare)?.groups;
    if (parts === undefined) continue;
    const { hours, minutes, seconds } = parts;
    return Number(hours ?? 0) * 3600 + Number(minutes ?? 0) * 60 + Number(seconds ?? 0);
  }
  return undefined;
}

const parseSeconds = (written: string): number | undefined =>
  /^\s*\d{1,6}\s*$/.test(written) ? Number(written) : undefined;

function readCount(written: string): number {
  return checkedCount(/^\s*\d{1,9}\s*$/.test(written) ? Number(written) : Number.NaN, written);
}

function checkedCount(count: number, written: string | number = count): number {
  if (Number.isInteger(count) && count >= 1 && count <= MOST_SETS) return count;
  throw unreadable(
    'count',
    `'${shortened(String(written))}' is not a number of sets: give a whole number from 1 to ${MOST_SETS}.`,
  );
}

function readOverrun(written: string): Overrun {
  const parsed = overrunSchema.safeParse(written.trim());
  if (parsed.success) return parsed.data;
  throw unreadable(
    'overrun',
    (named) =>
      `'${shortened(String(written))}' is not understood: ${named('overrun')} must be skip or follow.`,
  );
}

function readUntil(written: string): Moment {
  const moment = readMoment(written, 'until');
  if (moment.kind !== 'now') return moment;
  throw unreadable('until', "No set fits in before 'now': give a later moment to finish.");
}

/** @throws EvenrungError unreadable-schedule */
export function readMoment(written: string, field: 'start' | 'until'): Moment {
  const bare = written.trim().toLowerCase().replaceAll('\u2212', '-').replaceAll(/\s+/g, ' ');
  const moment = bare === 'now' ? { kind: 'now' as const } : (sun(bare) ?? timeOfDay(bare) ?? dateTime(bare));
  if (moment !== undefined) return moment;
  throw unreadable(
    field,
    `The moment '${shortened(String(written))}' is not understood: write it like 21:40, 2026-10-25T02:30, sunset+10min or nautical dawn.`,
  );
}

const SUN = /^(nautical[ -])?(sunrise|sunset|dawn|dusk) ?(?:([+-])(.+))?$/;

function sun(bare: string): Moment | undefined {
  const [, nautical, word, sign, shift] = SUN.exec(bare) ?? [];
  const name = nautical === undefined ? word : `nautical ${word}`;
  const event = SUN_EVENTS.find((candidate) => candidate === name);
  if (event === undefined) return undefined;
  const seconds = shift === undefined ? 0 : parseDuration(shift);
  if (seconds === undefined || seconds % 60 !== 0 || seconds > LARGEST_SHIFT_MINUTES * 60) return undefined;
  return { kind: 'sun', event, shiftMinutes: (sign === '-' ? -seconds : seconds) / 60 || 0 };
}

const TIME = /^(\d{1,2}):(\d{2})(?::(\d{2}))?$/;

function timeOfDay(bare: string): Moment | undefined {
  const [, hour, minute, second] = TIME.exec(bare) ?? [];
  if (hour === undefined || minute === undefined) return undefined;
  if (Number(hour) > 23 || Number(minute) > 59 || Number(second ?? 0) > 59) return undefined;
  return {
    kind: 'time',
    hour: Number(hour),
    minute: Number(minute),
    second: second === undefined ? null : Number(second),
  };
}

/** ISO 8601, extended format; a space in place of the T is let pass (RFC 3339, 5.6). */
const DATE_TIME = /^(\d{4}-\d{2}-\d{2})[t ](\d{2}:\d{2})(:\d{2})?(?: ?(z)|([+-])(\d{2}):?(\d{2}))?$/;

function dateTime(bare: string): Moment | undefined {
  const [, date, time, second = ':00', zulu, sign, hours, minutes] = DATE_TIME.exec(bare) ?? [];
  if (date === undefined || time === undefined) return undefined;
  const spelled = `${date}T${time}${second}`;
  const reading = Date.parse(`${spelled}Z`);
  // 31 April is read as 1 May.
  if (Number.isNaN(reading) || !new Date(reading).toISOString().startsWith(spelled)) return undefined;
  const east = Number(hours ?? 0) * 60 + Number(minutes ?? 0);
  if (Number(minutes ?? 0) > 59 || east > 14 * 60) return undefined;
  const offsetMinutes =
    zulu !== undefined ? 0 : sign === undefined ? null : (sign === '-' ? -east : east) || 0;
  return { kind: 'date-time', reading, offsetMinutes };
}

const DEGREES = String.raw`([+-]?\d{1,3}(?:\.\d{1,10})?)`;
const PLAIN = new RegExp(`^${DEGREES}[ ,]+${DEGREES}$`);
const LETTERS = /^(\d{1,3}(?:\.\d{1,10})?) ?([nsew])[ ,]*(\d{1,3}(?:\.\d{1,10})?) ?([nsew])$/;

/** @throws EvenrungError unreadable-schedule */
export function readPlace(written: string): Place {
  const bare = written.trim().toLowerCase().replaceAll('\u2212', '-').replaceAll('\u00b0', '');
  const place = plainPlace(bare) ?? letteredPlace(bare);
  if (place !== undefined && placeSchema.safeParse(place).success) return place;
  throw unreadable(
    'place',
    `The place '${shortened(String(written))}' is not understood: give latitude and longitude in decimal degrees, such as 47.5N 8.5E.`,
  );
}

function plainPlace(bare: string): Place | undefined {
  const [, latitude, longitude] = PLAIN.exec(bare) ?? [];
  if (latitude === undefined || longitude === undefined) return undefined;
  return { latitude: Number(latitude), longitude: Number(longitude) };
}

function letteredPlace(bare: string): Place | undefined {
  const [, one, oneLetter = '', other, otherLetter = ''] = LETTERS.exec(bare) ?? [];
  if (one === undefined || other === undefined) return undefined;
  const written = [
    [oneLetter, Number(one)],
    [otherLetter, Number(other)],
  ] as const;
  const along = (positive: string, negative: string) =>
    written
      .filter(([letter]) => letter === positive || letter === negative)
      .map(([letter, degrees]) => (letter === positive ? degrees : -degrees));
  const [latitude] = along('n', 's');
  const [longitude] = along('e', 'w');
  return latitude === undefined || longitude === undefined ? undefined : { latitude, longitude };
}

/** @returns `47.5N 8.5E` */
export const formatPlace = ({ latitude, longitude }: Place): string =>
  `${Math.abs(latitude)}${latitude < 0 ? 'S' : 'N'} ${Math.abs(longitude)}${longitude < 0 ? 'W' : 'E'}`;

const unreadable = (field: string, message: string | NamingFields) =>
  new EvenrungError('unreadable-schedule', message, { field });
