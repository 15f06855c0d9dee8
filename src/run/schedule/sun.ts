// When the sun rises, sets, and passes the twilights. suncalc counts sunrise and sunset where the sun's upper edge is on a level
// horizon (its centre at -0.833 degrees), civil twilight to -6, nautical to -12 degrees, as almanacs do.
import { getTimes, type SunTimeName } from 'suncalc';
import type { Place, SunEvent } from '../../../shared/schedule.js';
import { DAY_MS } from './zone.js';

const NAMES: Readonly<Record<SunEvent, SunTimeName>> = {
  sunrise: 'sunrise',
  sunset: 'sunset',
  dawn: 'dawn',
  dusk: 'dusk',
  'nautical dawn': 'nauticalDawn',
  'nautical dusk': 'nauticalDusk',
};

/**
 * Every such event from one moment to another, in ms since 1970, ascending. Accurate to about 15 s (suncalc's own figure) for a
 * level horizon at sea level; from a height the sun is seen earlier and longer, behind a ridge later and shorter.
 * @returns none where the sun does not come by
 */
export function sunEvents(event: SunEvent, place: Place, from: number, to: number): number[] {
  const found: number[] = [];
  // A solar day is counted from the noon next to the moment given, and its events lie within it.
  for (let day = from - DAY_MS; day < to + 2 * DAY_MS; day += DAY_MS) {
    const at = getTimes(new Date(day), place.latitude, place.longitude)[NAMES[event]]?.getTime();
    if (at !== undefined && at >= from && at <= to) found.push(at);
  }
  return [...new Set(found)].sort((a, b) => a - b);
}

/** @returns why there is no sunrise that day; undefined where there is one */
export function polar(place: Place, at: number): 'up' | 'down' | undefined {
  const times = getTimes(new Date(at), place.latitude, place.longitude);
  if (times.alwaysUp === true) return 'up';
  return times.alwaysDown === true ? 'down' : undefined;
}
