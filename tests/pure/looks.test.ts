// Which look the panel has: by choice, by the system, by the sun (whose events are proven in sun.test.ts), and what the switch does.
import { describe, expect, it } from 'vitest';
import type { Place, SunEvent } from '../../shared/schedule.js';
import { sunEvents } from '../../src/series/index.js';
import {
  type Around,
  CHOICES,
  type Choice,
  hasPlace,
  type Look,
  lookOf,
  pressed,
} from '../../web/src/looks.js';
import { NO_PLACE } from '../../web/src/schedule-form.js';

const MINUTE = 60_000;
const NOON = new Date(2026, 5, 21, 12);
const DARK: Around = { at: NOON, systemIsDark: true, place: NO_PLACE };
const LIGHT: Around = { ...DARK, systemIsDark: false };

describe('a choice', () => {
  it.each(['day', 'dim', 'night'] as const)('%s is what it is called, whatever the system says', (choice) => {
    expect([lookOf(choice, DARK), lookOf(choice, LIGHT)]).toEqual([choice, choice]);
  });

  it('as the system: dim where that is dark, else day, and never night', () => {
    expect([lookOf('system', DARK), lookOf('system', LIGHT)]).toEqual(['dim', 'day']);
  });
});

describe('by the sun', () => {
  const PLACES: readonly (readonly [string, Place])[] = [
    ['Zurich', { latitude: 47.38, longitude: 8.54 }],
    ['Washington', { latitude: 38.9, longitude: -77.02 }],
    ['Sydney', { latitude: -33.87, longitude: 151.21 }],
    ['Quito', { latitude: -0.18, longitude: -78.47 }],
  ];
  const fields = ({ latitude, longitude }: Place) => ({
    latitude: String(latitude),
    longitude: String(longitude),
  });
  const at = (place: Place, moment: number) =>
    lookOf('sun', { at: new Date(moment), systemIsDark: false, place: fields(place) });

  const TURNS: readonly (readonly [SunEvent, Look, Look])[] = [
    ['dawn', 'night', 'dim'],
    ['sunrise', 'dim', 'day'],
    ['sunset', 'day', 'dim'],
    ['dusk', 'dim', 'night'],
  ];

  it.each(PLACES)('it turns within a minute of each event of the year in %s', (_, place) => {
    const from = Date.UTC(2026, 0, 1);
    const to = Date.UTC(2027, 0, 1);
    for (const [event, before, after] of TURNS) {
      const moments = [...sunEvents(event, place, from, to)];
      expect(moments.length).toBeGreaterThanOrEqual(365);
      const looks = new Set(moments.map((each) => `${at(place, each - MINUTE)} ${at(place, each + MINUTE)}`));
      expect([event, ...looks]).toEqual([event, `${before} ${after}`]);
    }
  });

  it('where the sun does not set, there is no night', () => {
    const tromso = { latitude: 69.65, longitude: 18.96 };
    const hours = Array.from({ length: 24 }, (_, hour) => at(tromso, Date.UTC(2026, 5, 21, hour)));
    expect(new Set(hours)).toEqual(new Set(['day']));
  });

  it('without a place the clock of the system has to do', () => {
    const hours = Array.from({ length: 24 }, (_, hour) =>
      lookOf('sun', { ...LIGHT, at: new Date(2026, 2, 1, hour) }),
    );
    const expected = Array.from({ length: 24 }, (_, hour): Look => {
      if (hour < 5 || hour >= 21) return 'night';
      return hour >= 6 && hour < 18 ? 'day' : 'dim';
    });
    expect(hours).toEqual(expected);
  });

  it.each([
    [NO_PLACE, false],
    [{ latitude: '47.5', longitude: '' }, false],
    [{ latitude: '91', longitude: '8' }, false],
    [{ latitude: 'north', longitude: '8' }, false],
    [{ latitude: '0', longitude: '0' }, true],
    [{ latitude: '-33.87', longitude: '151.21' }, true],
  ])('%o is a place: %o', (place, is) => {
    expect(hasPlace(place)).toBe(is);
  });
});

describe('the switch', () => {
  const lookNow = (around: Around) => (choice: Choice) => lookOf(choice, around);

  it.each(CHOICES.filter((each) => each !== 'night'))('goes from %s to night, and back to it', (choice) => {
    const now = lookNow(LIGHT);
    const night = pressed({ choice, before: 'system' }, now(choice), now);
    expect(night).toEqual({ choice: 'night', before: choice });
    expect(pressed(night, 'night', now).choice).toBe(choice);
  });

  it('gets brighter also where the sun says night', () => {
    const late = { ...LIGHT, at: new Date(2026, 2, 1, 23) };
    const now = lookNow(late);
    expect(now('sun')).toBe('night');
    expect(pressed({ choice: 'sun', before: 'system' }, 'night', now).choice).toBe('dim');
    expect(pressed({ choice: 'night', before: 'sun' }, 'night', now).choice).toBe('dim');
    expect(pressed({ choice: 'night', before: 'night' }, 'night', now).choice).toBe('dim');
  });
});
