// Which look the panel has, day, dim or night, by somebody's choice and by the sun. Pure.
import { CIVIL_ALTITUDE, sunAltitude, UPPER_EDGE_ALTITUDE } from '../../shared/sun.js';
import { type PlaceFields, readPlace } from './schedule-form.js';

/** `night` is only red, so that eyes stay adapted to the dark. */
export type Look = 'day' | 'dim' | 'night';

export const CHOICES = ['system', 'sun', 'day', 'dim', 'night'] as const;
export type Choice = (typeof CHOICES)[number];

export const LETTERS = ['usual', 'large', 'larger'] as const;
export type Letters = (typeof LETTERS)[number];

export interface Around {
  readonly at: Date;
  readonly systemIsDark: boolean;
  readonly place: PlaceFields;
}

export function lookOf(choice: Choice, { at, systemIsDark, place }: Around): Look {
  if (choice === 'system') return systemIsDark ? 'dim' : 'day';
  if (choice !== 'sun') return choice;
  return hasPlace(place) ? bySun(at, place) : byClock(at.getHours());
}

export function hasPlace(fields: PlaceFields): boolean {
  const place = readPlace(fields);
  return place !== null && place !== 'place';
}

function bySun(at: Date, fields: PlaceFields): Look {
  const place = readPlace(fields);
  if (place === null || place === 'place') return byClock(at.getHours());
  const altitude = sunAltitude(at.getTime(), place.latitude, place.longitude);
  if (altitude > UPPER_EDGE_ALTITUDE) return 'day';
  return altitude > CIVIL_ALTITUDE ? 'dim' : 'night';
}

/**
 * If nobody has said where this is. Half of the year evenings are bright: nothing turns red before it is
 * late.
 */
function byClock(hour: number): Look {
  if (hour >= 6 && hour < 18) return 'day';
  return hour === 5 || (hour >= 18 && hour < 21) ? 'dim' : 'night';
}

export interface Pressed {
  readonly choice: Choice;
  /** The choice before the switch changed it to night. */
  readonly before: Choice;
}

/**
 * The switch at the top: to night, and back to the earlier choice.
 * @param shown the present look of `choice`
 */
export function pressed(
  { choice, before }: Pressed,
  shown: Look,
  lookNow: (choice: Choice) => Look,
): Pressed {
  if (shown !== 'night') return { choice: 'night', before: choice };
  // It is to get brighter, whatever the sun says.
  const back = choice === 'night' ? before : 'dim';
  return { choice: lookNow(back) === 'night' ? 'dim' : back, before };
}
