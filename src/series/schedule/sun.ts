// When the sun rises, sets, and passes the twilights: the moments at which its altitude passes what almanacs count by. They are sought
// on the altitude itself, because the sums for a whole day take it for granted that the sun's path stays the same from noon to
// midnight: near the poles it does not, and where the sun only just grazes the horizon they miss by minutes, or by a whole event.
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

/** The sun turns twice a day, and in half an hour no farther than that one turn lies between two looks. */
const LOOK_EVERY_MS = 30 * 60_000;
const PRECISE_MS = 1;
/** Parts of a second mean nothing here. */
const SECOND_MS = 1000;

/**
 * Every such event from one moment to another, in ms since 1970, ascending, one after another as they are asked for; none where the
 * sun does not come by. For a level horizon at sea level: from a height the sun is seen earlier and longer, behind a ridge later and
 * shorter. tests/long/sun-ephemeris.test.ts holds how far it is off, at which latitudes.
 */
export function* sunEvents(
  event: SunEvent,
  { latitude, longitude }: Place,
  from: number,
  to: number,
): Generator<number, void, undefined> {
  const { altitude, way } = PASSINGS[event];
  const sign = way === 'up' ? 1 : -1;
  /** Below 0 before such an event, above it after. */
  const past = (at: number) => sign * (sunAltitude(at, latitude, longitude) - altitude);
  for (const [start, end] of stretches(past, from, to)) {
    if (past(start) >= 0 || past(end) < 0) continue;
    const at = Math.round(crossing(past, start, end) / SECOND_MS) * SECOND_MS;
    if (at >= from && at <= to) yield at;
  }
}

/** @returns why there is no sunrise from this moment on to the next day; undefined where there is one */
export function polar(place: Place, at: number): 'up' | 'down' | undefined {
  for (const event of ['sunrise', 'sunset'] as const) {
    const [found] = sunEvents(event, place, at, at + DAY_MS);
    if (found !== undefined) return undefined;
  }
  return sunAltitude(at, place.latitude, place.longitude) > UPPER_EDGE_ALTITUDE ? 'up' : 'down';
}

/** @returns pieces of the time from before `from` to after `to`, in each of which the curve goes only up or only down */
function* stretches(
  curve: (at: number) => number,
  from: number,
  to: number,
): Generator<readonly [start: number, end: number], void, undefined> {
  // A turn is seen from the look next to it: what lies before `from` is looked at, too.
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

/** @returns where the curve has its one top (`sign` 1) or foot (-1) between two moments */
function turn(curve: (at: number) => number, start: number, end: number, sign: 1 | -1): number {
  let [low, high] = [start, end];
  while (high - low > PRECISE_MS) {
    const third = (high - low) / 3;
    if (sign * curve(low + third) < sign * curve(high - third)) low += third;
    else high -= third;
  }
  return (low + high) / 2;
}

/** @returns where the curve goes up through 0 */
function crossing(curve: (at: number) => number, start: number, end: number): number {
  let [low, high] = [start, end];
  while (high - low > PRECISE_MS) {
    const middle = (low + high) / 2;
    if (curve(middle) < 0) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
