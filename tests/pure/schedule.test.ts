import { describe, expect, it } from 'vitest';
import { formatDuration } from '../../shared/duration.js';
import { EvenrungError } from '../../shared/errors.js';

import {
  formatPlace,
  type Moment,
  parseDuration,
  parseScheduleRequest,
  readInterval,
  readMoment,
  readPlace,
  type Schedule,
  scheduleFromWords,
  scheduleSchema,
  type WrittenSchedule,
} from '../../shared/schedule.js';
import { type BodyLimits, SHUTTER_SCALES } from '../../src/exposure/index.js';
import { isoSettings } from '../../src/exposure/iso.js';
import { limitsFromStated, type PlanRequest, resolveBase, STATED_DEFAULTS } from '../../src/plan/index.js';
import {
  crossesSunrise,
  estimateSchedule,
  fits,
  handySeconds,
  lastSetEnds,
  resolveSchedule,
  SlotClock,
  type SlotProgress,
  scheduleInWords,
  slotStarts,
  slowestBaseThatFits,
  whatToGiveUp,
} from '../../src/series/index.js';
import { type Clock, systemClock } from '../../src/system/index.js';
import { parseFramed } from '../framed.js';
import fc from '../seeded.js';

const ZONE = 'Europe/Zurich';
const PLACE = '47.38N 8.54E';
const MINUTE = 60_000;
const HOUR = 60 * MINUTE;

function refusal(work: () => unknown): { code: string; message: string; details: Record<string, unknown> } {
  try {
    work();
  } catch (cause) {
    if (cause instanceof EvenrungError)
      return { code: cause.code, message: cause.message, details: cause.details };
    throw cause;
  }
  throw new Error('Nothing was refused.');
}

const at = (iso: string): number => Date.parse(iso);

interface When {
  readonly now: string;
  readonly timeZone?: string;
  readonly setSeconds?: number;
}

const resolve = (
  written: Partial<WrittenSchedule>,
  { now, timeZone = ZONE, setSeconds = 60 }: When,
): Schedule =>
  resolveSchedule(
    parseScheduleRequest({
      every: '4min',
      ...(written.until === undefined ? { count: 10 } : {}),
      ...written,
    }),
    { now: new Date(now), timeZone, setSeconds },
  );

describe('what is written', () => {
  it.each([
    ['4min', 240],
    ['4 min', 240],
    ['4m', 240],
    ['90s', 90],
    ['90', 90],
    [' 90 ', 90],
    ['1h', 3600],
    ['1h30', 5400],
    ['1h30min', 5400],
    ['1H30MIN', 5400],
    ['4min30', 270],
    ['4min30s', 270],
    ['2.5min', 150],
    ['0.5h', 1800],
    ['24h', 86400],
    ['1h0min5s', 3605],
    ['5s', 5],
  ])('an interval: %s', (written, seconds) => {
    expect(readInterval(written)).toBe(seconds);
  });

  it.each([
    '',
    'min',
    '4 minutes',
    '4min 1h',
    '-4min',
    '1e3',
    '4,5min',
    '30s4',
    '0.01min',
    '1h30min20',
    'h30',
    '4min4min',
  ])('is no interval: %s', (written) => {
    expect(refusal(() => readInterval(written)).code).toBe('unreadable-schedule');
  });

  it.each([4, '4s', '24h1s', '25h', 86_401, 0])('is an interval of no use: %s', (written) => {
    expect(refusal(() => readInterval(written)).message).toContain('5 s to 24 h');
  });

  it('is a length that is read as it was formatted', () => {
    fc.assert(
      fc.property(fc.integer({ min: 5, max: 86_400 }), (seconds) => {
        const tidy = seconds < 3600 ? seconds : Math.round(seconds / 60) * 60;
        expect(parseDuration(formatDuration(seconds))).toBe(tidy);
      }),
    );
  });

  it.each<[string, Moment]>([
    ['now', { kind: 'now' }],
    ['21:40', { kind: 'time', hour: 21, minute: 40, second: null }],
    ['7:05:09', { kind: 'time', hour: 7, minute: 5, second: 9 }],
    ['2026-10-25T02:30', { kind: 'date-time', reading: at('2026-10-25T02:30:00Z'), offsetMinutes: null }],
    ['2026-10-25 02:30:15', { kind: 'date-time', reading: at('2026-10-25T02:30:15Z'), offsetMinutes: null }],
    ['2026-10-25T02:30Z', { kind: 'date-time', reading: at('2026-10-25T02:30:00Z'), offsetMinutes: 0 }],
    [
      '2026-10-25T02:30-03:30',
      { kind: 'date-time', reading: at('2026-10-25T02:30:00Z'), offsetMinutes: -210 },
    ],
    ['sunset', { kind: 'sun', event: 'sunset', shiftMinutes: 0 }],
    ['sunset+10min', { kind: 'sun', event: 'sunset', shiftMinutes: 10 }],
    ['Dawn - 1h30', { kind: 'sun', event: 'dawn', shiftMinutes: -90 }],
    ['nautical dusk', { kind: 'sun', event: 'nautical dusk', shiftMinutes: 0 }],
    ['nautical-dawn\u221220min', { kind: 'sun', event: 'nautical dawn', shiftMinutes: -20 }],
  ])('a moment: %s', (written, moment) => {
    expect(readMoment(written, 'start')).toEqual(moment);
  });

  it.each([
    '',
    '24:00',
    '21:60',
    '2140',
    'noon',
    'nautical sunrise',
    'sunset+10',
    'sunset+10s',
    'sunset+13h',
    'sunset10min',
    '2026-02-30T10:00',
    '2026-10-25T25:00',
    '2026-10-25',
    '2026-10-25T02:30+15:00',
    'tomorrow 21:40',
  ])('is no moment: %s', (written) => {
    expect(refusal(() => readMoment(written, 'until'))).toMatchObject({
      code: 'unreadable-schedule',
      details: { field: 'until' },
    });
  });

  it.each([
    ['47.5N 8.5E', 47.5, 8.5],
    ['8.5E 47.5N', 47.5, 8.5],
    ['33.9s, 151.2e', -33.9, 151.2],
    ['47.5 8.5', 47.5, 8.5],
    ['-33.9, -70.7', -33.9, -70.7],
    ['47.5\u00b0N 8.5\u00b0W', 47.5, -8.5],
  ])('a place: %s', (written, latitude, longitude) => {
    expect(readPlace(written)).toEqual({ latitude, longitude });
  });

  it.each(['', '47.5', '91 8', '47.5N 181E', '47.5N 8.5N', '47N30 8E', 'here'])(
    'is no place: %s',
    (written) => {
      expect(refusal(() => readPlace(written)).message).toContain('decimal degrees');
    },
  );

  it('is a place that is read as it was formatted', () => {
    const degrees = (most: number) => fc.integer({ min: -most * 100, max: most * 100 }).map((n) => n / 100);
    fc.assert(
      fc.property(degrees(90), degrees(180), (latitude, longitude) => {
        const place = readPlace(formatPlace({ latitude, longitude }));
        expect(place.latitude).toBeCloseTo(latitude, 9);
        expect(place.longitude).toBeCloseTo(longitude, 9);
      }),
    );
  });

  it('needs a count or an end, and not both', () => {
    expect(refusal(() => parseScheduleRequest({ every: '4min' })).code).toBe('unreadable-schedule');
    const both = refusal(() => parseScheduleRequest({ every: '4min', count: 3, until: 'dawn' }));
    expect(both.code).toBe('unreadable-schedule');
    expect(both.message).toContain('not both');
  });

  it.each([
    [{ count: 3 }, 'malformed-request'],
    [{ every: '4min', count: 3, colour: 'blue' }, 'malformed-request'],
    [{ every: '4min', count: 3, overrun: 'wait' }, 'malformed-request'],
    [{ every: '4min', count: 3, place: { latitude: 91, longitude: 0 } }, 'malformed-request'],
    [{ every: '4min', count: 0 }, 'unreadable-schedule'],
    [{ every: '4min', count: 100_001 }, 'unreadable-schedule'],
    [{ every: '4min', count: 1.5 }, 'unreadable-schedule'],
    [{ every: '4min', until: 'now' }, 'unreadable-schedule'],
    ['4min', 'malformed-request'],
  ])('is refused: %j', (written, code) => {
    expect(refusal(() => parseScheduleRequest(written)).code).toBe(code);
  });

  it('comes from the command line in the same words', () => {
    const words = {
      every: '4min',
      count: '60',
      start: 'sunset+10min',
      place: '47.5N 8.5E',
      overrun: 'follow',
    };
    expect(parseScheduleRequest(scheduleFromWords(words))).toEqual({
      everySeconds: 240,
      count: 60,
      until: null,
      start: { kind: 'sun', event: 'sunset', shiftMinutes: 10 },
      place: { latitude: 47.5, longitude: 8.5 },
      overrun: 'follow',
    });
    expect(parseScheduleRequest(scheduleFromWords({ every: '4min', until: 'dawn-20min' }))).toMatchObject({
      count: null,
      start: { kind: 'now' },
      overrun: 'skip',
      place: null,
    });
    expect(refusal(() => scheduleFromWords({ every: '4min', count: 'many' })).message).toContain("'many'");
    expect(refusal(() => scheduleFromWords({ every: '4min', overrun: 'wait' })).message).toContain(
      'skip or follow',
    );
  });
});

describe('moments', () => {
  it('are now, and counted from there', () => {
    const schedule = resolve({}, { now: '2026-06-20T19:00:00.000Z' });
    expect(scheduleSchema.parse(schedule)).toEqual(schedule);
    expect(schedule).toMatchObject({
      start: '2026-06-20T19:00:00.000Z',
      end: null,
      count: 10,
      everySeconds: 240,
    });
    const starts = [...slotStarts(schedule)];
    expect(starts).toHaveLength(10);
    expect(starts.at(-1)?.toISOString()).toBe('2026-06-20T19:36:00.000Z');
    expect(lastSetEnds(schedule)).toBe(at('2026-06-20T19:37:00Z'));
  });

  it('are the next time of day, today or tomorrow', () => {
    const now = '2026-06-20T19:00:20.000Z';
    expect(resolve({ start: '22:30' }, { now }).start).toBe('2026-06-20T20:30:00.000Z');
    expect(resolve({ start: '20:30' }, { now }).start).toBe('2026-06-21T18:30:00.000Z');
    // The minute that was given still lasts.
    expect(resolve({ start: '21:00' }, { now }).start).toBe(now);
    expect(resolve({ start: '21:00:00' }, { now }).start).toBe('2026-06-21T19:00:00.000Z');
    expect(resolve({ start: '22:30', until: '01:00' }, { now }).end).toBe('2026-06-20T23:00:00.000Z');
  });

  it('are sun events, the next ones from now and from the start', () => {
    const written = { start: 'sunset+10min', until: 'dawn-20min', place: PLACE };
    const schedule = resolve(written, { now: '2026-06-20T12:00:00Z' });
    // Zurich: sunset 21:26, civil dawn 04:49 in summer time (from memory, hence 3 minutes).
    expect(Math.abs(at(schedule.start) - at('2026-06-20T19:36:00Z'))).toBeLessThan(3 * MINUTE);
    expect(Math.abs(at(schedule.end ?? '') - at('2026-06-21T02:29:00Z'))).toBeLessThan(3 * MINUTE);
    // Ten minutes after sunset has not come yet, though sunset has.
    const between = resolve(written, { now: '2026-06-20T19:30:00Z' });
    expect(between.start).toBe(schedule.start);
    const after = resolve(written, { now: '2026-06-20T19:40:00Z' });
    expect(at(after.start) - at(schedule.start)).toBeGreaterThan(23 * HOUR);
  });

  it('end with the last set that is done by then', () => {
    const now = '2026-06-20T19:00:00Z';
    const counted = (setSeconds: number, until: string) => resolve({ until }, { now, setSeconds }).count;
    expect(counted(60, '2026-06-20T19:09:00Z')).toBe(3);
    expect(counted(61, '2026-06-20T19:09:00Z')).toBe(2);
    expect(counted(60, '2026-06-20T19:01:00Z')).toBe(1);
    expect(refusal(() => counted(61, '2026-06-20T19:01:00Z'))).toMatchObject({ code: 'schedule-impossible' });
  });

  it.each([
    [{ start: '2026-06-20T20:00' }, 'schedule-past', 'has passed'],
    [{ until: '2026-06-20T20:00' }, 'schedule-past', 'has passed'],
    [
      { start: '2026-06-20T23:00', until: '2026-06-20T22:00' },
      'schedule-impossible',
      'The end, 2026-06-20 22:00, is not after the start, 2026-06-20 23:00: give a later end.',
    ],
    [
      { start: 'sunset' },
      'schedule-impossible',
      'The time of sunset depends on your place: give it in decimal degrees, such as 47.5N 8.5E.',
    ],
    [
      { until: 'dawn' },
      'schedule-impossible',
      'The time of dawn depends on your place: give it in decimal degrees, such as 47.5N 8.5E.',
    ],
    [{ start: '2028-06-20T23:00' }, 'schedule-impossible', 'more than a year'],
    [{ every: 5, until: '2026-08-20T23:00' }, 'schedule-impossible', '100000 are the most'],
  ])('are refused: %j', (written, code, words) => {
    const refused = refusal(() => resolve(written, { now: '2026-06-20T19:00:00Z', setSeconds: 2 }));
    expect(refused.code).toBe(code);
    expect(refused.message).toContain(words);
  });

  it('are refused with place and date where the sun does not come by', () => {
    const tromso = { place: '69.65N 18.96E' };
    const day = refusal(() => resolve({ ...tromso, start: 'sunset' }, { now: '2026-06-21T10:00:00Z' }));
    expect(day).toMatchObject({ code: 'schedule-impossible', details: { field: 'start' } });
    expect(day.message).toContain('no sunset at 69.65N 18.96E within a day of 2026-06-21: the sun stays up');
    const night = refusal(() => resolve({ ...tromso, until: 'sunrise' }, { now: '2026-12-21T10:00:00Z' }));
    expect(night.message).toContain(
      'no sunrise at 69.65N 18.96E within a day of 2026-12-21: the sun stays down',
    );
    // No nautical dawn in a northern summer, though the sun sets.
    const bright = refusal(() =>
      resolve({ place: '60N 10E', until: 'nautical dawn' }, { now: '2026-06-21T20:00:00Z' }),
    );
    expect(bright.message).toContain('no nautical dawn at 60N 10E within a day of 2026-06-21. Give');
  });

  it('keep the set within its interval, and name the shortest that does', () => {
    const now = '2026-06-20T19:00:00Z';
    const tight = refusal(() => resolve({ every: '4min' }, { now, setSeconds: 252.4 }));
    expect(tight).toMatchObject({
      code: 'schedule-impossible',
      details: { shortestSeconds: 300, field: 'every' },
    });
    expect(tight.message).toBe(
      'One set takes 4 min 13 s, longer than the interval of 4 min: use at least 5 min, or make the set shorter.',
    );
    expect(resolve({ every: '5min' }, { now, setSeconds: 252.4 }).count).toBe(10);
    expect(resolve({ every: '4min', count: 1 }, { now, setSeconds: 252.4 }).count).toBe(1);
    expect(
      refusal(() => resolve({ every: '24h' }, { now, setSeconds: 90_000 })).details.shortestSeconds,
    ).toBe(undefined);
    expect([3, 12, 61, 95, 3599, 3601, 80_000].map(handySeconds)).toEqual([
      5, 15, 90, 120, 3600, 4500, 80_100,
    ]);
  });
});

describe('days on which clocks are changed', () => {
  // Europe/Zurich: 2026-03-29 02:00 becomes 03:00, 2026-10-25 03:00 becomes 02:00. America/New_York: 2026-03-08 02:00 becomes
  // 03:00, 2026-11-01 02:00 becomes 01:00 (IANA time zone data base).
  it('a time that comes twice is its first coming', () => {
    const now = '2026-10-24T20:00:00Z';
    expect(resolve({ start: '02:30' }, { now }).start).toBe('2026-10-25T00:30:00.000Z');
    expect(resolve({ start: '2026-10-25T02:30' }, { now }).start).toBe('2026-10-25T00:30:00.000Z');
    expect(resolve({ start: '2026-10-25T02:30+01:00' }, { now }).start).toBe('2026-10-25T01:30:00.000Z');
  });

  it('a time that comes twice is its second coming when the first is over', () => {
    const now = '2026-10-25T00:45:00Z';
    expect(resolve({ start: '02:30' }, { now }).start).toBe('2026-10-25T01:30:00.000Z');
    expect(resolve({ start: '2026-10-25T02:30' }, { now }).start).toBe('2026-10-25T01:30:00.000Z');
    expect(resolve({ until: '02:30' }, { now }).end).toBe('2026-10-25T01:30:00.000Z');
  });

  it('a time that is left out comes as much later as the clocks are put forward', () => {
    const zurich = { now: '2026-03-28T20:00:00Z' };
    expect(resolve({ start: '02:30' }, zurich).start).toBe('2026-03-29T01:30:00.000Z');
    const newYork = { now: '2026-03-07T22:00:00Z', timeZone: 'America/New_York' };
    expect(resolve({ start: '02:30' }, newYork).start).toBe('2026-03-08T07:30:00.000Z');
    expect(resolve({ start: '2026-03-08T02:30' }, newYork).start).toBe('2026-03-08T07:30:00.000Z');
    expect(resolve({ start: '01:59' }, newYork).start).toBe('2026-03-08T06:59:00.000Z');
    expect(resolve({ start: '03:00' }, newYork).start).toBe('2026-03-08T07:00:00.000Z');
  });

  it('the grid runs evenly through the change', () => {
    const autumn = resolve(
      { every: '30min', start: '01:00', until: '05:00' },
      { now: '2026-10-24T20:00:00Z' },
    );
    // From 1 to 5 there are five hours that night.
    expect(autumn.count).toBe(10);
    const spring = resolve(
      { every: '30min', start: '01:00', until: '05:00' },
      { now: '2026-03-07T22:00:00Z', timeZone: 'America/New_York' },
    );
    expect(spring.count).toBe(6);
    for (const schedule of [autumn, spring]) {
      const starts = [...slotStarts(schedule)].map((start) => start.getTime());
      expect(new Set(starts.slice(1).map((start, index) => start - (starts[index] ?? 0)))).toEqual(
        new Set([30 * MINUTE]),
      );
    }
  });
});

describe('what a schedule takes', () => {
  it('is counted', () => {
    const schedule = resolve({ count: 60 }, { now: '2026-06-20T19:36:00Z' });
    expect(estimateSchedule(schedule, { actuations: 9, bytes: 9 * 25e6 })).toEqual({
      sets: 60,
      ends: new Date('2026-06-20T23:33:00Z'),
      actuations: 540,
      bytes: 60 * 9 * 25e6,
    });
    expect(estimateSchedule(schedule, { actuations: 9, bytes: null }).bytes).toBeNull();
    expect(scheduleInWords(schedule, ZONE)).toBe(
      '60 sets, one every 4 min, from 2026-06-20 21:36 to about 2026-06-21 01:33.',
    );
  });
});

describe('the caution of sunrise', () => {
  const place = readPlace(PLACE);

  it('comes where a sunrise lies inside, with an end before it', () => {
    const schedule = resolve({ start: '22:00', until: '08:00', place }, { now: '2026-06-20T12:00:00Z' });
    const caution = crossesSunrise(schedule, place, ZONE);
    if (caution?.kind !== 'crosses') throw new Error('There is no caution.');
    // 05:29 in summer time (from memory).
    expect(Math.abs(caution.sunrise.getTime() - at('2026-06-21T03:29:00Z'))).toBeLessThan(2 * MINUTE);
    expect(caution.suggestedEnd?.getTime()).toBe(caution.sunrise.getTime() - 20 * MINUTE);
    expect(caution.sentence).toContain('crosses sunrise, 2026-06-21 05:');
    for (const word of ['sensor', 'shutter', 'iris', 'eyes', 'optical finder'])
      expect(caution.sentence).toContain(word);
    const until = caution.suggestedUntil ?? '';
    const shorter = resolve({ start: '22:00', until, place }, { now: '2026-06-20T12:00:00Z' });
    expect(shorter.end).toBe(caution.suggestedEnd?.toISOString());
    expect(crossesSunrise(shorter, place, ZONE)).toBeNull();
  });

  it('counts the last set to its end', () => {
    const sunrise = at('2026-06-21T03:29:00Z');
    const schedule = (setSeconds: number) =>
      resolve({ count: 1, start: '2026-06-21T05:20', place }, { now: '2026-06-20T12:00:00Z', setSeconds });
    expect(crossesSunrise(schedule(60), place, ZONE)).toBeNull();
    const crossing = crossesSunrise(
      schedule((sunrise - at('2026-06-21T03:20:00Z')) / 1000 + 300),
      place,
      ZONE,
    );
    expect(crossing).toMatchObject({ kind: 'crosses', suggestedEnd: null, suggestedUntil: null });
    expect(crossing?.sentence).toContain('Begin after sunrise');
  });

  it('does not come by day, nor where the sun does not rise', () => {
    const now = '2026-12-20T09:00:00Z';
    expect(crossesSunrise(resolve({ until: '15:00', place }, { now }), place, ZONE)).toBeNull();
    const tromso = readPlace('69.65N 18.96E');
    expect(crossesSunrise(resolve({ until: '2026-12-22T15:00' }, { now }), tromso, ZONE)).toBeNull();
  });

  it('says that nobody knows where no place was given and it runs over night', () => {
    const night = resolve({ start: '22:00', until: '06:00' }, { now: '2026-06-20T12:00:00Z' });
    expect(crossesSunrise(night, null, ZONE)).toMatchObject({ kind: 'unknown' });
    // The same hours are no night elsewhere.
    expect(crossesSunrise(night, null, 'America/New_York')).toBeNull();
    const evening = resolve({ start: '18:00', until: '02:00' }, { now: '2026-06-20T12:00:00Z' });
    expect(crossesSunrise(evening, null, ZONE)).toBeNull();
    const days = resolve({ every: '30min', until: '2026-06-23T12:00' }, { now: '2026-06-20T12:00:00Z' });
    expect(crossesSunrise(days, null, ZONE)).toMatchObject({ kind: 'unknown' });
  });
});

/** A clock that stands still unless it is moved; sleeping moves it. */
class HandClock implements Clock {
  steady = 5000;
  ahead = at('2026-06-20T19:00:00Z') - 5000;
  readonly slept: number[] = [];
  onSleep: (() => void) | undefined;

  monotonic = (): number => this.steady;
  wall = (): number => this.steady + this.ahead;
  sleep = async (milliseconds: number): Promise<void> => {
    this.slept.push(milliseconds);
    this.steady += milliseconds;
    this.onSleep?.();
  };

  pass(milliseconds: number): void {
    this.steady += milliseconds;
  }
}

describe('the slot clock', () => {
  const NOW = '2026-06-20T19:00:00Z';

  function started(written: Partial<WrittenSchedule> = {}, clock = new HandClock(), setSeconds = 60) {
    const schedule = resolve(written, { now: NOW, setSeconds });
    return { clock, schedule, slots: SlotClock.start(schedule, clock, clock.sleep) };
  }

  /** @returns the slot that is next, which there must be */
  function nextSlot(slots: SlotClock) {
    const next = slots.next();
    if (next.kind === 'over') throw new Error('The schedule is over.');
    return next;
  }

  async function beginNext(slots: SlotClock) {
    const next = nextSlot(slots);
    expect(await slots.waitUntil(next.slot)).toBe('due');
    slots.begin(next.slot);
    return next;
  }

  it('goes from slot to slot, and is over after the last', async () => {
    const { clock, slots } = started({ count: 3 });
    const begun: number[] = [];
    for (let next = slots.next(); next.kind === 'slot'; next = slots.next()) {
      expect(await slots.waitUntil(next.slot)).toBe('due');
      begun.push(clock.wall() - at(NOW));
      slots.begin(next.slot);
      clock.pass(50_000);
    }
    expect(begun).toEqual([0, 4 * MINUTE, 8 * MINUTE]);
    expect(slots.next()).toEqual({ kind: 'over', missed: 0 });
  });

  it('looks at the clock often on the way', async () => {
    const { clock, slots } = started({ start: '22:00' });
    await beginNext(slots);
    expect(clock.wall()).toBe(at('2026-06-20T20:00:00Z'));
    expect(Math.max(...clock.slept)).toBeLessThanOrEqual(30_000);
  });

  it('does not mind that the computer clock is set, either way', async () => {
    const { clock, slots } = started();
    const begun: number[] = [];
    for (const jump of [0, 2 * HOUR, -5 * HOUR, 17_000]) {
      await beginNext(slots);
      begun.push(clock.steady - 5000);
      clock.ahead += jump;
      clock.pass(60_000);
    }
    expect(begun).toEqual([0, 4 * MINUTE, 8 * MINUTE, 12 * MINUTE]);
    expect(slots.progress().wallAheadMs).toBe(2 * HOUR - 5 * HOUR + 17_000);
  });

  it("waits for the grid after a set that took too long: 'skip'", async () => {
    const { clock, slots } = started();
    await beginNext(slots);
    clock.pass(5 * MINUTE);
    const next = await beginNext(slots);
    expect(next).toMatchObject({ slot: { index: 2 }, missed: 1 });
    expect(clock.wall() - at(NOW)).toBe(8 * MINUTE);
    expect(slots.progress()).toMatchObject({ nextIndex: 3, missed: 1 });
  });

  it("begins at once after a set that took too long, and keeps to the grid: 'follow'", async () => {
    const { clock, slots } = started({ overrun: 'follow' });
    await beginNext(slots);
    clock.pass(5 * MINUTE);
    const late = await beginNext(slots);
    expect(late).toMatchObject({ slot: { index: 1, atOnce: true }, missed: 0 });
    expect(clock.wall() - at(NOW)).toBe(5 * MINUTE);
    clock.pass(MINUTE);
    await beginNext(slots);
    expect(clock.wall() - at(NOW)).toBe(8 * MINUTE);
    clock.pass(13 * MINUTE);
    // 21 min: the slot of 20 min is begun at once, those of 12 and 16 min are missed.
    expect(nextSlot(slots)).toMatchObject({ slot: { index: 5, atOnce: true }, missed: 2 });
  });

  it('lets a slot be late by a tenth of the interval, 30 s at most', async () => {
    const { clock, slots } = started();
    await beginNext(slots);
    clock.pass(4 * MINUTE + 24_000);
    expect(nextSlot(slots).slot).toMatchObject({ index: 1, atOnce: true });
    clock.pass(1);
    expect(nextSlot(slots).slot).toMatchObject({ index: 2, atOnce: false });
    const hourly = started({ every: '1h' });
    await beginNext(hourly.slots);
    hourly.clock.pass(HOUR + 30_001);
    expect(nextSlot(hourly.slots).slot.index).toBe(2);
  });

  it('never lets a late set run beyond the end that was asked for', async () => {
    const until = { until: '2026-06-20T19:09:00Z', overrun: 'follow' } as const;
    const { clock, slots, schedule } = started(until);
    expect(schedule.count).toBe(3);
    await beginNext(slots);
    await beginNext(slots);
    clock.pass(4 * MINUTE + 30_000);
    expect(slots.next()).toEqual({ kind: 'over', missed: 1 });
  });

  it('has a set begun in the slot that is running only, and not where it would run beyond the end', async () => {
    const { clock, slots } = started();
    const { slot } = nextSlot(slots);
    expect(await slots.waitUntil(slot)).toBe('due');
    // Taken in time: its camera may take longer than a tenth of the interval.
    clock.pass(4 * MINUTE - 1);
    expect(slots.asOfNow(slot)).toEqual(slot);
    clock.pass(1);
    expect(slots.asOfNow(slot)).toMatchObject({ index: 1 });
    clock.pass(24_000);
    expect(slots.asOfNow(slot)).toMatchObject({ index: 1 });
    // Too late for that one, too; the next is still to come.
    clock.pass(1);
    expect(slots.asOfNow(slot)).toBeNull();
    expect(nextSlot(slots).slot.index).toBe(2);

    const follow = started({ until: '2026-06-20T19:06:00Z', overrun: 'follow' });
    await beginNext(follow.slots);
    follow.clock.pass(4 * MINUTE + 50_000);
    const late = nextSlot(follow.slots).slot;
    expect(late).toMatchObject({ index: 1, atOnce: true });
    expect(await follow.slots.waitUntil(late)).toBe('due');
    follow.clock.pass(10_000);
    expect(follow.slots.asOfNow(late)).toEqual(late);
    follow.clock.pass(1);
    expect(follow.slots.asOfNow(late)).toBeNull();
    expect(follow.slots.next()).toEqual({ kind: 'over', missed: 1 });
  });

  it('takes slots that the computer slept through as missed', async () => {
    const { clock, slots } = started();
    await beginNext(slots);
    const { slot } = nextSlot(slots);
    clock.onSleep = () => {
      clock.onSleep = undefined;
      clock.pass(21 * MINUTE);
    };
    expect(await slots.waitUntil(slot)).toBe('late');
    const next = await beginNext(slots);
    expect(next).toMatchObject({ slot: { index: 6 }, missed: 5 });
    expect(clock.wall() - at(NOW)).toBe(24 * MINUTE);
  });

  it('can be stopped while it waits', async () => {
    const schedule = resolve({ start: '22:00' }, { now: NOW });
    const slots = SlotClock.start(schedule, new HandClock());
    const stop = new AbortController();
    const waiting = slots.waitUntil(nextSlot(slots).slot, stop.signal);
    setImmediate(() => stop.abort());
    expect(await waiting).toBe('stopped');
    expect(await slots.waitUntil(nextSlot(slots).slot, stop.signal)).toBe('stopped');
  });

  describe('in another process', () => {
    const resumed = (schedule: Schedule, progress: SlotProgress, wall: number) => {
      const clock = new HandClock();
      clock.steady = 77;
      clock.ahead = wall - 77;
      // The journal is text.
      return SlotClock.resume(schedule, JSON.parse(JSON.stringify(progress)), clock, clock.sleep);
    };

    it('keeps to the grid, and counts what passed meanwhile as missed', async () => {
      const { schedule, slots, clock } = started();
      const { slot } = nextSlot(slots);
      const progress = slots.begin(slot);
      const after = resumed(schedule, progress, clock.wall() + 14 * MINUTE);
      const next = await beginNext(after);
      expect(next).toMatchObject({ slot: { index: 4, start: at(NOW) + 16 * MINUTE }, missed: 3 });
      expect(after.progress()).toMatchObject({ nextIndex: 5, missed: 3 });
    });

    it('is over where the schedule has ended meanwhile', () => {
      const { schedule, slots, clock } = started();
      const progress = slots.begin(nextSlot(slots).slot);
      const after = resumed(schedule, progress, clock.wall() + 24 * HOUR);
      expect(after.next()).toEqual({ kind: 'over', missed: 9 });
    });

    it('takes into account that the computer clock was set before', () => {
      const { schedule, slots, clock } = started();
      clock.ahead += 2 * HOUR;
      const progress = slots.begin(nextSlot(slots).slot);
      const after = resumed(schedule, progress, clock.wall() + 3 * MINUTE);
      expect(nextSlot(after)).toMatchObject({ slot: { index: 1 }, missed: 0 });
      expect(after.now()).toBe(at(NOW) + 3 * MINUTE);
    });

    it('goes on from the journal where the computer came up without its time', () => {
      const { schedule, slots } = started();
      const progress = slots.begin(nextSlot(slots).slot);
      const after = resumed(schedule, progress, 0);
      expect(nextSlot(after)).toMatchObject({ slot: { index: 1 }, missed: 0 });
      expect(after.now()).toBe(at(NOW));
    });
  });
});

describe('the clock of the system', () => {
  const sources = () => {
    const time = { steady: 100, uptime: 1000, wall: 0 };
    const clock = systemClock({
      steady: () => time.steady,
      uptime: () => time.uptime,
      wall: () => time.wall,
    });
    return { time, clock };
  };

  it('counts the time that the computer slept', () => {
    const { time, clock } = sources();
    expect(clock.monotonic()).toBe(100);
    time.steady += 10_000;
    time.uptime += 3_610_000;
    expect(clock.monotonic()).toBe(3_610_100);
    time.steady += 5000;
    time.uptime += 5000;
    expect(clock.monotonic()).toBe(3_615_100);
  });

  it('is not moved by an uptime in whole seconds, nor by the wall', () => {
    const { time, clock } = sources();
    const true0 = time.uptime;
    for (let passed = 0; passed < 100_000; passed += 700) {
      time.steady = 100 + passed;
      time.uptime = Math.floor((true0 + passed) / 1000) * 1000;
      time.wall += passed % 7 === 0 ? 3_600_000 : 0;
      expect(clock.monotonic()).toBe(time.steady);
    }
  });

  it('runs on where the system does not tell its uptime', () => {
    let steady = 0;
    const clock = systemClock({
      steady: () => steady,
      uptime: () => {
        throw new Error('not permitted');
      },
      wall: () => 0,
    });
    steady = 9000;
    expect(clock.monotonic()).toBe(9000);
  });
});

describe('whether a set still fits its slot', () => {
  const limits: BodyLimits = { ...limitsFromStated(STATED_DEFAULTS), longestSeconds: 30.5 };
  const isos = isoSettings(['100', '200', '400', '800', '1600', '3200']);
  const request = (base: string, frames = 5): PlanRequest => {
    const { offsets, step, mode } = parseFramed({ frames, step: 1 });
    return { offsets, step, mode, base: resolveBase(base, limits) };
  };

  it('does where it is done in time', () => {
    const verdict = fits({ request: request('1'), limits, everySeconds: 60 });
    expect(verdict.fits).toBe(true);
    expect(whatToGiveUp({ request: request('1'), limits, everySeconds: 60 }, null)).toEqual([]);
  });

  it('does not where it takes longer than the interval, and every way out fits', () => {
    const asked = { request: request('4'), limits, everySeconds: 20 };
    const verdict = fits(asked);
    if (verdict.fits) throw new Error('It fits.');
    expect(verdict.sentence).toContain('longer than the interval of 20 s');
    const ways = whatToGiveUp(asked, { now: isos[0] as (typeof isos)[0], offered: isos });
    expect(ways.map(({ code }) => code)).toEqual(['fewer-frames', 'interval', 'iso']);
    for (const way of ways) {
      const changed =
        way.code === 'fewer-frames'
          ? { ...asked, request: { ...asked.request, offsets: way.offsets } }
          : way.code === 'interval'
            ? { ...asked, everySeconds: way.everySeconds }
            : { ...asked, request: { ...asked.request, base: way.base } };
      expect(fits(changed).fits, way.sentence).toBe(true);
    }
    const [fewer, , iso] = ways;
    expect(fewer?.code === 'fewer-frames' && fewer.offsets.at(0)).toBe(asked.request.offsets[0]);
    expect(iso?.code === 'iso' && iso.sentence).toMatch(
      /^Raise the ISO from 100 to \d+, with a base exposure of /,
    );
  });

  it('does not where the file of a frame would not come back; a longer interval does not help then', () => {
    const asked = { request: request('15'), limits, everySeconds: 3600 };
    const verdict = fits(asked);
    expect(verdict).toMatchObject({ fits: false, plan: null });
    const ways = whatToGiveUp(asked, { now: isos[0] as (typeof isos)[0], offered: isos });
    expect(ways.map(({ code }) => code)).toEqual(['fewer-frames', 'iso']);
  });

  it('tells the slowest base that fits: one setting slower does not', () => {
    const asked = { request: request('1'), limits, everySeconds: 60 };
    const slowest = slowestBaseThatFits(asked);
    if (slowest === undefined) throw new Error('There is none.');
    const withBase = (base: PlanRequest['base']) =>
      fits({ ...asked, request: { ...asked.request, base } }).fits;
    expect(withBase(slowest)).toBe(true);
    const slower = SHUTTER_SCALES.third.find(({ tv }) => tv === slowest.tv - 2);
    expect(slower !== undefined && withBase(slower)).toBe(false);
    expect(slowestBaseThatFits({ ...asked, everySeconds: 0.1 })).toBeUndefined();
    const cannotBeSet = limits.shutters.map((one) => ({ ...one, settable: one.tv !== slowest.tv }));
    const next = slowestBaseThatFits({ ...asked, limits: { ...limits, shutters: cannotBeSet } });
    expect(next?.tv).toBe(slowest.tv + 2);
  });
});
