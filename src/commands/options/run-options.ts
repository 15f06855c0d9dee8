// Options of a run beyond the frames of its set: its names, when its sets are made, whether base and span
// follow the light.
import type { Command } from 'commander';
import { EvenrungError } from '../../../shared/errors.js';
import { shortened } from '../../../shared/plain-words.js';
import { MOST_FRAMES } from '../../../shared/request.js';
import {
  LARGEST_VIEWPOINT,
  type WrittenLight,
  type WrittenRunRequest,
  type WrittenSpan,
} from '../../../shared/run-request.js';
import { scheduleFromWords, type WrittenSchedule } from '../../../shared/schedule.js';
import type { ForeseenSchedule } from '../../../shared/state.js';
import { USUAL_SPAN } from '../../../shared/usual-span.js';
import { crossesSunrise, zoneHere } from '../../series/index.js';
import { type RequestOptions, writtenRequest } from './options.js';

export interface ScheduleOptions {
  readonly every?: string;
  readonly count?: string;
  readonly until?: string;
  readonly start?: string;
  readonly place?: string;
  readonly overrun?: string;
  readonly stopBeforeSunrise?: boolean;
}

export interface LabelOptions {
  readonly name?: string;
  readonly note?: string;
  readonly viewpoint?: string;
}

export interface DelayOptions {
  /** Seconds. */
  readonly delay?: number;
}

export interface LightOptions {
  readonly maySleep?: boolean;
  readonly followLight?: boolean;
  readonly slowest?: string;
  readonly fastest?: string;
  readonly isoLeast?: string;
  readonly isoMost?: string;
  readonly mostShift?: string;
}

export interface SpanOptions {
  readonly followSpan?: boolean;
  readonly framesFewest?: string;
  readonly framesMost?: string;
  readonly framesChange?: string;
}

export const addScheduleOptions = (command: Command): Command =>
  command
    .option('--every <time>', 'repeat the set at this interval: 90s, 4min, 1h30')
    .option('--count <n>', 'how many sets; or give --until')
    .option('--until <moment>', 'until when: 05:30, 2026-06-22T05:30, sunrise-20min, nautical dawn')
    .option('--start <moment>', 'start of the first set: now, 21:40, sunset+10min')
    .option('--place <degrees>', 'your location, for sunrise and sunset: "47.5N 8.5E"')
    .option(
      '--overrun <way>',
      'after a set that overruns: skip (wait for the next slot), or follow (start at once)',
    )
    .option('--stop-before-sunrise', 'stop before sunrise');

export const addLabelOptions = (command: Command): Command =>
  command
    .option('--name <text>', 'name of the set')
    .option('--note <text>', 'note saved with the set')
    .option('--viewpoint <n>', 'viewpoint: number of the place where the tripod stands');

export const addLightOptions = (command: Command): Command =>
  command
    .option('--may-sleep', 'let the camera sleep between sets, if it wakes over USB')
    .option('--follow-light', 'the base exposure follows the light from set to set')
    .option('--slowest <time>', 'slowest shutter allowed for the base exposure')
    .option('--fastest <time>', 'fastest shutter allowed for the base exposure')
    .option('--iso-least <n>', 'lowest ISO allowed for the base exposure')
    .option('--iso-most <n>', 'highest ISO allowed for the base exposure')
    .option('--most-shift <ev>', 'most EV that the base exposure may move from set to set (usual: 1)');

export const addSpanOptions = (command: Command): Command =>
  command
    .option('--follow-span', 'the span follows the scene: frames are added or left out from set to set')
    .option(
      '--frames-fewest <n>',
      `fewest frames that a set may then have (usual: ${USUAL_SPAN.fewestFrames})`,
    )
    .option(
      '--frames-most <n>',
      `most frames that a set may then have (usual: ${USUAL_SPAN.moreFrames} more than the first one)`,
    )
    .option('--frames-change <n>', `most frames added or left out at once (usual: ${USUAL_SPAN.mostPerSet})`);

/**
 * @returns the request as it is written on the wire; mistakes in it are found where every request is parsed
 * @throws EvenrungError as writtenRequest and scheduleFromWords; malformed-request
 */
export function writtenRunRequest(
  options: RequestOptions & ScheduleOptions & LabelOptions & LightOptions & SpanOptions & DelayOptions,
): WrittenRunRequest {
  const { delay, name, note, viewpoint, maySleep, followLight } = options;
  const schedule = writtenSchedule(options);
  const light = writtenLight(options);
  const span = writtenSpan(options);
  const [lonely] = [
    ...(maySleep ? ['--may-sleep'] : []),
    ...(followLight ? ['--follow-light'] : []),
    ...(span === undefined ? [] : ['--follow-span']),
  ];
  if (schedule === undefined && lonely !== undefined) throw everyIsMissing(lonely);
  return {
    ...writtenRequest(options),
    ...(name === undefined ? {} : { name }),
    ...(note === undefined ? {} : { note }),
    ...(viewpoint === undefined ? {} : { viewpoint: wholeNumber('viewpoint', viewpoint, LARGEST_VIEWPOINT) }),
    ...(schedule === undefined ? {} : { schedule }),
    ...(light === undefined ? {} : { light }),
    ...(span === undefined ? {} : { followSpan: span }),
    ...(maySleep === undefined ? {} : { maySleep }),
    ...(delay === undefined ? {} : { delay }),
  };
}

/**
 * @returns undefined if a single set is asked for
 * @throws EvenrungError unreadable-schedule; malformed-request if --every is missing; schedule-impossible
 *   if the place is
 */
export function writtenSchedule(options: ScheduleOptions): WrittenSchedule | undefined {
  const { every, stopBeforeSunrise, place, ...words } = options;
  if (every === undefined) {
    const { count, until, start, overrun } = words;
    const given = { count, until, start, place, overrun, 'stop-before-sunrise': stopBeforeSunrise };
    const [lonely] = Object.entries(given).find(([, value]) => value !== undefined) ?? [];
    if (lonely !== undefined) throw everyIsMissing(`--${lonely}`);
    return undefined;
  }
  if (stopBeforeSunrise && place === undefined)
    throw new EvenrungError(
      'schedule-impossible',
      'Sunrise depends on your location: give it, such as --place "47.5N 8.5E".',
      { field: 'place' },
    );
  return scheduleFromWords({ every, place, ...words });
}

/**
 * For --stop-before-sunrise.
 * @returns the schedule with the end that its caution suggests; null if it needs none
 * @throws EvenrungError schedule-impossible if no end removes the caution
 */
export function endedBeforeSunrise(
  written: WrittenSchedule,
  { schedule, cautions }: ForeseenSchedule,
): WrittenSchedule | null {
  const until = cautions.find((caution) => caution.until !== null)?.until ?? null;
  if (until !== null) {
    const { count: _, ...others } = written;
    return { ...others, until };
  }
  const caution = crossesSunrise(schedule, schedule.place, zoneHere());
  if (caution === null) return null;
  throw new EvenrungError('schedule-impossible', caution.sentence, { field: 'until' });
}

function writtenLight(options: LightOptions): WrittenLight | undefined {
  const { followLight, slowest, fastest, isoLeast, isoMost, mostShift } = options;
  if (!followLight) {
    const given = {
      slowest,
      fastest,
      'iso-least': isoLeast,
      'iso-most': isoMost,
      'most-shift': mostShift,
    };
    const [lonely] = Object.entries(given).find(([, value]) => value !== undefined) ?? [];
    if (lonely === undefined) return undefined;
    throw new EvenrungError(
      'malformed-request',
      `--${lonely} is for a base exposure that follows the light: give --follow-light, too.`,
    );
  }
  return {
    ...(slowest === undefined ? {} : { slowest }),
    ...(fastest === undefined ? {} : { fastest }),
    ...(isoLeast === undefined ? {} : { isoLeast: wholeNumber('ISO', isoLeast, MOST_ISO) }),
    ...(isoMost === undefined ? {} : { isoMost: wholeNumber('ISO', isoMost, MOST_ISO) }),
    ...(mostShift === undefined ? {} : { mostPerSet: mostShift }),
  };
}

/**
 * @returns undefined if the span stays
 * @throws EvenrungError malformed-request
 */
export function writtenSpan({
  followSpan,
  framesFewest,
  framesMost,
  framesChange,
}: SpanOptions): WrittenSpan | undefined {
  const given = { 'frames-fewest': framesFewest, 'frames-most': framesMost, 'frames-change': framesChange };
  if (!followSpan) {
    const [lonely] = Object.entries(given).find(([, value]) => value !== undefined) ?? [];
    if (lonely === undefined) return undefined;
    throw new EvenrungError(
      'malformed-request',
      `--${lonely} is for a span that follows the scene: give --follow-span, too.`,
    );
  }
  const frames = (text: string) => wholeNumber('number of frames', text, MOST_FRAMES);
  return {
    ...(framesFewest === undefined ? {} : { fewestFrames: frames(framesFewest) }),
    ...(framesMost === undefined ? {} : { mostFrames: frames(framesMost) }),
    ...(framesChange === undefined ? {} : { mostPerSet: frames(framesChange) }),
  };
}

/** A larger number is not an ISO, but a typing mistake. */
const MOST_ISO = 10_000_000;

function wholeNumber(what: string, text: string, most: number): number {
  const value = /^\d{1,9}$/.test(text.trim()) ? Number(text) : 0;
  if (value >= 1 && value <= most) return value;
  throw new EvenrungError(
    'malformed-request',
    `'${shortened(text)}' is not a ${what}: give a whole number from 1 to ${most}.`,
  );
}

const everyIsMissing = (option: string): EvenrungError =>
  new EvenrungError(
    'malformed-request',
    `${option} is for sets that repeat: give the interval, too, such as --every 4min.`,
  );
