import { describe, expect, it } from 'vitest';
import type { Place, SunEvent } from '../../shared/schedule.js';
import { sunEvents } from '../../src/series/index.js';

const MINUTE = 60_000;
const DAY = 24 * 60 * MINUTE;

/** The event of a UTC day. */
function on(day: string, event: SunEvent, place: Place): number {
  const from = Date.parse(`${day}T00:00:00Z`);
  const [at] = sunEvents(event, place, from, from + DAY - 1);
  return at ?? Number.NaN;
}

const minutesApart = (one: number, other: number): number => Math.abs(one - other) / MINUTE;

const GREENWICH: Place = { latitude: 51.48, longitude: 0 };
const ZURICH: Place = { latitude: 47.38, longitude: 8.54 };
const WASHINGTON: Place = { latitude: 38.9, longitude: -77.02 };
const SYDNEY: Place = { latitude: -33.87, longitude: 151.21 };
const QUITO: Place = { latitude: -0.18, longitude: -78.47 };
const TROMSO: Place = { latitude: 69.65, longitude: 18.96 };

describe('sunrise and sunset against almanac values', () => {
  // Yearly tables in whole minutes, as the US Naval Observatory and HM Nautical Almanac Office publish them for these towns;
  // quoted from memory, so 2 minutes: one for the rounding, one for the memory and the place within the town.
  it.each([
    ['Greenwich, June solstice', GREENWICH, '2026-06-21', 'sunrise', '03:43'],
    ['Greenwich, June solstice', GREENWICH, '2026-06-21', 'sunset', '20:21'],
    ['Greenwich, December solstice', GREENWICH, '2026-12-21', 'sunrise', '08:04'],
    ['Greenwich, December solstice', GREENWICH, '2026-12-21', 'sunset', '15:53'],
    ['Washington, June solstice', WASHINGTON, '2026-06-21', 'sunrise', '09:43'],
    ['Washington, New Year', WASHINGTON, '2026-01-01', 'sunrise', '12:27'],
    ['Washington, New Year', WASHINGTON, '2026-01-01', 'sunset', '21:57'],
    ['Zurich, June solstice', ZURICH, '2026-06-21', 'sunrise', '03:29'],
    ['Zurich, June solstice', ZURICH, '2026-06-21', 'sunset', '19:26'],
  ] as const)('%s: %#', (_, place, day, event, time) => {
    expect(minutesApart(on(day, event, place), Date.parse(`${day}T${time}:00Z`))).toBeLessThanOrEqual(2);
  });
});

describe('sun events against the equations of the NOAA Global Monitoring Laboratory', () => {
  // "Solar Calculation Details" and its spreadsheet, after Meeus, "Astronomical Algorithms" (from memory): by the equation of time
  // and the hour angle, another way than suncalc's, and taken anew at the event itself. 0.5 minutes: what refraction does near the
  // horizon is worth more, and no almanac gives less than a whole minute.
  const ALTITUDE: Readonly<Record<SunEvent, number>> = {
    sunrise: -0.833,
    sunset: -0.833,
    dawn: -6,
    dusk: -6,
    'nautical dawn': -12,
    'nautical dusk': -12,
  };

  const { sin, cos, tan, asin, acos, PI } = Math;
  const rad = (degrees: number) => (degrees * PI) / 180;

  /** Declination in radians, equation of time in minutes. */
  function sunAt(at: number): { declination: number; equation: number } {
    const t = (at / DAY + 2_440_587.5 - 2_451_545) / 36_525;
    const l = rad(280.46646 + t * (36_000.76983 + t * 0.0003032));
    const m = rad(357.52911 + t * (35_999.05029 - 0.0001537 * t));
    const e = 0.016708634 - t * (0.000042037 + 0.0000001267 * t);
    const centre =
      sin(m) * (1.914602 - t * (0.004817 + 0.000014 * t)) +
      sin(2 * m) * (0.019993 - 0.000101 * t) +
      sin(3 * m) * 0.000289;
    const node = rad(125.04 - 1934.136 * t);
    const apparent = l + rad(centre - 0.00569 - 0.00478 * sin(node));
    const mean = 23 + (26 + (21.448 - t * (46.815 + t * (0.00059 - t * 0.001813))) / 60) / 60;
    const obliquity = rad(mean + 0.00256 * cos(node));
    const y = tan(obliquity / 2) ** 2;
    const equation =
      y * sin(2 * l) -
      2 * e * sin(m) +
      4 * e * y * sin(m) * cos(2 * l) -
      0.5 * y * y * sin(4 * l) -
      1.25 * e * e * sin(2 * m);
    return { declination: asin(sin(obliquity) * sin(apparent)), equation: (4 * equation * 180) / PI };
  }

  function byNoaa(day: string, event: SunEvent, { latitude, longitude }: Place): number {
    const midnight = Date.parse(`${day}T00:00:00Z`);
    const sign = event === 'sunrise' || event.endsWith('dawn') ? 1 : -1;
    const zenith = rad(90 - ALTITUDE[event]);
    const phi = rad(latitude);
    let at = midnight + DAY / 2;
    for (let round = 0; round < 4; round += 1) {
      const { declination, equation } = sunAt(at);
      const hourAngle = acos(cos(zenith) / (cos(phi) * cos(declination)) - tan(phi) * tan(declination));
      at = midnight + (720 - 4 * (longitude + (sign * hourAngle * 180) / PI) - equation) * MINUTE;
    }
    return at;
  }

  const days = ['2026-02-03', '2026-03-20', '2026-05-08', '2026-08-24', '2026-10-25', '2026-12-21'];
  it.each([
    ['Greenwich', GREENWICH],
    ['Zurich', ZURICH],
    ['Washington', WASHINGTON],
    ['Sydney', SYDNEY],
    ['Quito', QUITO],
  ] as const)('agree at %s', (_, place) => {
    for (const day of days) {
      for (const event of Object.keys(ALTITUDE) as SunEvent[]) {
        const expected = byNoaa(day, event, place);
        // Far from Greenwich the local day runs over the bounds of the UTC day.
        const [found] = sunEvents(event, place, expected - DAY / 4, expected + DAY / 4);
        expect(minutesApart(found ?? 0, expected), `${day} ${event}`).toBeLessThan(0.5);
      }
    }
  });
});

describe('a list of events', () => {
  it('has each day once, in order, within its bounds', () => {
    const from = Date.parse('2026-06-01T10:00:00Z');
    for (const place of [
      GREENWICH,
      SYDNEY,
      { latitude: 10, longitude: 179.9 },
      { latitude: 10, longitude: -179.9 },
    ]) {
      const found = [...sunEvents('sunset', place, from, from + 10 * DAY)];
      expect(found).toHaveLength(10);
      expect(found.every((at) => at >= from && at <= from + 10 * DAY)).toBe(true);
      const apart = found.slice(1).map((at, index) => at - (found[index] ?? 0));
      expect(apart.every((gap) => minutesApart(gap, DAY) < 3)).toBe(true);
    }
  });

  it('is empty where the sun does not set, or does not rise', () => {
    const june = Date.parse('2026-06-21T00:00:00Z');
    const december = Date.parse('2026-12-21T00:00:00Z');
    expect([...sunEvents('sunset', TROMSO, june, june + 3 * DAY)]).toEqual([]);
    expect([...sunEvents('sunrise', TROMSO, december, december + 3 * DAY)]).toEqual([]);
    // In the polar night there is a twilight at noon.
    expect([...sunEvents('dawn', TROMSO, december, december + DAY)]).toHaveLength(1);
    expect([...sunEvents('sunrise', { latitude: 90, longitude: 0 }, june, june + DAY)]).toEqual([]);
  });
});
