// When the sun rises, sets, and passes the twilights: the moments at which its altitude passes the values
// that almanacs use. These moments are sought on the altitude itself. Formulas for a whole day assume that
// the sun's path stays the same from noon to midnight; near the poles it does not, and if the sun only just
// grazes the horizon, they are wrong by minutes or miss an event altogether.
import type { Place, SunEvent } from '../../../shared/schedule.js';
import { CIVIL_ALTITUDE, NAUTICAL_ALTITUDE, sunAltitude, UPPER_EDGE_ALTITUDE } from '../../../shared/sun.js';
import { DAY_MS } from './zone.js';

interface Passing {
  /** Degrees. */
  readonly altitude: number;
  readonly way: 'up' | 'down';
}

const PASSINGS: Readonly<Record<SunEvent, Passing>> = {
  sunrise: { altitude: UPPER_EDGE_ALTITUDE, way: 'up' },
  sunset: { altitude: UPPER_EDGE_ALTITUDE, way: 'down' },
  dawn: { altitude: CIVIL_ALTITUDE, way: 'up' },
  dusk: { altitude: CIVIL_ALTITUDE, way: 'down' },
  'nautical dawn': { altitude: NAUTICAL_ALTITUDE, way: 'up' },
  'nautical dusk': { altitude: NAUTICAL_ALTITUDE, way: 'down' },
};

/**
 * The sun's altitude turns twice a day. Half an hour is short enough for at most one turn between two looks.
 */
const LOOK_EVERY_MS = 30 * 60_000;
const PRECISE_MS = 1;
/** Parts of a second mean nothing for the sun. */
const SECOND_MS = 1000;

/**
 * Every such event between two moments, in ms since 1970, ascending; each is worked out when it is asked for.
 * None if the event does not occur. For a level horizon at sea level: from a height the sun is seen earlier
 * and longer, behind a ridge later and shorter. tests/long/sun-ephemeris.test.ts states how large the errors
 * are, and at which latitudes.
 */
export function* sunEvents(
  event: SunEvent,
  { latitude, longitude }: Place,
  from: number,
  to: number,
): Generator<number, void, undefined> {
  const { altitude, way } = PASSINGS[event];
  const sign = way === 'up' ? 1 : -1;
  /** Below 0 before such an event, above 0 after it. */
  const past = (at: number) => sign * (sunAltitude(at, latitude, longitude) - altitude);
  for (const [start, end] of stretches(past, from, to)) {
    if (past(start) >= 0 || past(end) < 0) continue;
    const at = Math.round(crossing(past, start, end) / SECOND_MS) * SECOND_MS;
    if (at >= from && at <= to) yield at;
  }
}

/** @returns why there is no sunrise between this moment and the next day; undefined if there is one */
export function polar(place: Place, at: number): 'up' | 'down' | undefined {
  for (const event of ['sunrise', 'sunset'] as const) {
    const [found] = sunEvents(event, place, at, at + DAY_MS);
    if (found !== undefined) return undefined;
  }
  return sunAltitude(at, place.latitude, place.longitude) > UPPER_EDGE_ALTITUDE ? 'up' : 'down';
}

/**
 * @returns pieces of the time from before `from` to after `to`; within each, the curve only rises or only
 *   falls
 */
function* stretches(
  curve: (at: number) => number,
  from: number,
  to: number,
): Generator<readonly [start: number, end: number], void, undefined> {
  // A turn is recognised at the look after it, so the time before `from` is looked at, too.
  let start = from - 2 * LOOK_EVERY_MS;
  for (let at = from - LOOK_EVERY_MS; start <= to; at += LOOK_EVERY_MS) {
    const [before, after] = [at - LOOK_EVERY_MS, at + LOOK_EVERY_MS];
    const here = curve(at);
    const [rises, risesOn] = [here > curve(before), curve(after) > here];
    const end = rises === risesOn ? at : turn(curve, before, after, rises ? 1 : -1);
    if (end <= start) continue;
    yield [start, end];
    start = end;
  }
}

/** @returns the moment of the curve's one highest (`sign` 1) or lowest (-1) point between two moments */
function turn(curve: (at: number) => number, start: number, end: number, sign: 1 | -1): number {
  let [low, high] = [start, end];
  while (high - low > PRECISE_MS) {
    const third = (high - low) / 3;
    if (sign * curve(low + third) < sign * curve(high - third)) low += third;
    else high -= third;
  }
  return (low + high) / 2;
}

/** @returns the moment at which the curve rises through 0 */
function crossing(curve: (at: number) => number, start: number, end: number): number {
  let [low, high] = [start, end];
  while (high - low > PRECISE_MS) {
    const middle = (low + high) / 2;
    if (curve(middle) < 0) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
