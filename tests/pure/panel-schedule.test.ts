// What the panel makes of a schedule by itself: the request that its fields make, and the marks of the time line.
import { describe, expect, it } from 'vitest';
import { spanRequestSchema } from '../../shared/run-request.js';
import { parseScheduleRequest } from '../../shared/schedule.js';
import type { LineSet, ScheduleView } from '../../shared/state.js';
import {
  endOffered,
  intervalOf,
  NO_SCHEDULE,
  readKept,
  type ScheduleForm,
  writeSchedule,
} from '../../web/src/schedule-form.js';
import { rowsOf, timeLineOf } from '../../web/src/time-line.js';

const NOWHERE = { latitude: '', longitude: '' };
const HERE = { latitude: '47.5', longitude: '-8.5' };

const written = (change: Partial<ScheduleForm>, place = NOWHERE, mode: 'manual' | 'aperture' = 'manual') =>
  writeSchedule({ ...NO_SCHEDULE, on: true, ...change }, place, mode);

describe('the request', () => {
  it('is one that the daemon reads, whatever is chosen', () => {
    const ends = { kind: 'nautical dawn', time: '', shift: '20', side: 'before' } as const;
    const starts = { kind: 'time', time: '21:40', shift: '', side: 'after' } as const;
    const part = written({ every: '2.5', unit: 'min', ends, starts }, HERE);
    if (typeof part === 'string') throw new Error(`The field ${part} cannot be read.`);
    expect(parseScheduleRequest(part.schedule)).toEqual({
      everySeconds: 150,
      count: null,
      until: { kind: 'sun', event: 'nautical dawn', shiftMinutes: -20 },
      start: { kind: 'time', hour: 21, minute: 40, second: null },
      place: { latitude: 47.5, longitude: -8.5 },
      overrun: 'skip',
    });
    expect(part).not.toHaveProperty('light');
    expect(part).not.toHaveProperty('maySleep');
  });

  it.each([
    ['every', { every: '' }],
    ['every', { every: '0' }],
    ['count', { count: 'x' }],
    ['until', { ends: { kind: 'time', time: '', shift: '0', side: 'before' } }],
    ['start', { starts: { kind: 'dusk', time: '', shift: '-3', side: 'after' } }],
    ['iso', { follows: true, isoLeast: '100' }],
    ['fewestFrames', { spanFollows: true, framesFewest: '0' }],
    ['mostFrames', { spanFollows: true, framesMost: '62' }],
    ['framesChange', { spanFollows: true, framesChange: '1.5' }],
  ] as const)('names the field %s where it cannot be read: %j', (field, change) => {
    expect(written(change)).toBe(field);
  });

  it.each([
    ['91', '0'],
    ['47.5', ''],
  ])('names the place where %s, %s is none', (latitude, longitude) => {
    expect(written({}, { latitude, longitude })).toBe('place');
  });

  it('asks for a span that follows, with the limits that somebody wrote', () => {
    expect(written({})).not.toHaveProperty('followSpan');
    expect(written({ spanFollows: true })).toHaveProperty('followSpan', {});
    const limits = { framesFewest: '5', framesMost: '15', framesChange: '1' };
    const part = written({ spanFollows: true, ...limits }, NOWHERE, 'aperture');
    expect(part).toHaveProperty('followSpan', { fewestFrames: 5, mostFrames: 15, mostPerSet: 1 });
    expect(spanRequestSchema.safeParse(typeof part === 'string' ? part : part.followSpan).success).toBe(true);
  });

  it('leaves the light to the camera in aperture priority', () => {
    expect(written({ follows: true })).toHaveProperty('light', { mostPerSet: '1' });
    expect(written({ follows: true }, NOWHERE, 'aperture')).not.toHaveProperty('light');
  });
});

it.each([
  ['sunrise-20min', { kind: 'sunrise', shift: '20', side: 'before' }],
  ['nautical dusk+1h30min', { kind: 'nautical dusk', shift: '90', side: 'after' }],
  ['dawn', { kind: 'dawn', shift: '0', side: 'before' }],
])('the end %s that is offered can be taken', (until, fields) => {
  const offered = endOffered(until);
  expect(offered).toMatchObject(fields);
  if (offered === null) return;
  const part = written({ ends: offered }, HERE);
  if (typeof part === 'string') throw new Error(`The field ${part} cannot be read.`);
  const again = (end: string) => parseScheduleRequest({ every: 60, until: end }).until;
  expect(again(part.schedule?.until ?? '')).toEqual(again(until));
});

it('an end that the fields have no words for is not offered', () => {
  expect(endOffered('2026-06-22T04:00')).toBeNull();
});

it.each([
  [5, '5', 's'],
  [90, '1.5', 'min'],
  [100, '100', 's'],
  [240, '4', 'min'],
  [7200, '2', 'h'],
])('%d s stand in the fields as %s %s', (seconds, every, unit) => {
  expect(intervalOf(seconds)).toEqual({ every, unit });
});

const START = Date.UTC(2026, 5, 21, 19, 36);

function made(slots: readonly number[], shift = 0): LineSet[] {
  return slots.map((slot, index) => ({
    ...{ set: `set-${slot}`, ordinal: index + 1, slot, state: 'complete', verified: 9, frames: 9 },
    startedAt: new Date(START + slot * 60_000 + 500).toISOString(),
    ...{ endedAt: null, shutter: '1/60', iso: null, shift: index === 0 ? 0 : shift, sentence: null },
  }));
}

function viewOf(count: number, change: Partial<ScheduleView>): ScheduleView {
  return {
    schedule: {
      ...{ start: new Date(START).toISOString(), everySeconds: 60, count, end: null, overrun: 'skip' },
      ...{ setSeconds: 9, place: null },
    },
    ...{
      words: '',
      estimate: { sets: count, ends: '', actuations: 0, bytes: null },
      cautions: [],
      run: 'run',
    },
    ...{
      state: 'waiting',
      next: null,
      begun: 0,
      complete: 0,
      missed: 0,
      notes: [],
      sentence: null,
      error: null,
    },
    ...{ endedAt: null, early: false, ...change },
  };
}

const wents = (...given: Parameters<typeof timeLineOf>) => timeLineOf(...given).marks.map(({ went }) => went);

describe('the time line', () => {
  it('has a mark for each slot: made, missed, to come', () => {
    const next = { index: 3, at: '' };
    expect(wents(viewOf(5, { begun: 2, complete: 2, next }), made([0, 2]))).toEqual([
      'complete',
      'missed',
      'complete',
      'to-come',
      'to-come',
    ]);
  });

  it('sees slots that have passed before anybody counted them', () => {
    const view = viewOf(5, { begun: 1, complete: 1, next: { index: 3, at: '' } });
    expect(wents(view, made([0]))).toEqual(['complete', 'missed', 'missed', 'to-come', 'to-come']);
    expect(timeLineOf(view, made([0])).counts).toMatchObject({ complete: 1, missed: 2, 'to-come': 2 });
  });

  it('after the end nothing is to come: what was stopped is not made, what has passed is missed', () => {
    const of = { begun: 1, complete: 1 } as const;
    expect(wents(viewOf(3, { ...of, state: 'stopped' }), made([0]))).toEqual([
      'complete',
      'not-made',
      'not-made',
    ]);
    expect(wents(viewOf(3, { ...of, state: 'complete' }), made([0]))).toEqual([
      'complete',
      'missed',
      'missed',
    ]);
  });

  it('tells a set in hand from one that is over, and counts it once', () => {
    const line = made([0, 1]).map((set, index): LineSet => (index === 1 ? { ...set, state: 'firing' } : set));
    const view = viewOf(4, { state: 'firing', begun: 2, complete: 1 });
    expect(wents(view, line)).toEqual(['complete', 'in-hand', 'to-come', 'to-come']);
    expect(timeLineOf(view, line).counts).toEqual({
      ...{ complete: 1, incomplete: 0, missed: 0, 'in-hand': 1, 'to-come': 2, 'not-made': 0 },
    });
  });

  it('of thousands shows those about the present, and says how many it leaves out', () => {
    const slots = Array.from({ length: 500 }, (_, index) => 2500 + index);
    const line = made(slots).map((set, index) => ({ ...set, ordinal: 2501 + index }));
    const next = { index: 3000, at: '' };
    const { marks, before, behind, counts } = timeLineOf(
      viewOf(10_000, { begun: 3000, complete: 3000, next }),
      line,
    );
    expect(marks).toHaveLength(500);
    expect([before, behind]).toEqual([2600, 6900]);
    expect(marks.filter(({ went }) => went === 'missed')).toEqual([]);
    expect(counts).toMatchObject({ complete: 3000, 'to-come': 7000 });
    expect(rowsOf(marks).map((row) => row.length)).toEqual(Array.from({ length: 20 }, () => 25));
  });

  it('does not take for missed what its line does not reach back to', () => {
    const line = made([400, 401]).map((set, index) => ({ ...set, ordinal: 401 + index }));
    const { marks, before } = timeLineOf(
      viewOf(450, { begun: 402, complete: 402, next: { index: 402, at: '' } }),
      line,
    );
    expect(before).toBe(400);
    expect(marks[0]).toMatchObject({ slot: 400, went: 'complete' });
  });

  it('stands higher where the base lets in more light; what hardly moves stays near the middle', () => {
    const view = viewOf(4, { begun: 4, complete: 4, state: 'complete' });
    const levels = (shift: number) =>
      timeLineOf(view, made([0, 1, 2, 3], shift)).marks.map(({ level }) => level);
    expect(levels(1)).toEqual([0, 1 / 3, 2 / 3, 1]);
    expect(levels(-1)).toEqual([1, 2 / 3, 1 / 3, 0]);
    expect(levels(0)).toEqual([0.5, 0.5, 0.5, 0.5]);
    for (const level of levels(1 / 6)) expect(Math.abs((level ?? 0) - 0.5)).toBeLessThan(0.1);
    expect(timeLineOf(view, made([0, 1, 2, 3], 1)).moved).toBe(3);
  });
});

describe('what was kept of a schedule', () => {
  it('is what was filled in', () => {
    const form: ScheduleForm = {
      ...NO_SCHEDULE,
      ...{ on: true, every: '4', ends: { kind: 'sunrise', time: '', shift: '20', side: 'before' } },
    };
    expect(readKept(JSON.parse(JSON.stringify(form)))).toEqual(form);
  });

  it.each([
    ['nothing', null],
    ['a text', 'sunset'],
    ['a field too few', { ...NO_SCHEDULE, every: undefined }],
    ['a number for a text', { ...NO_SCHEDULE, count: 12 }],
    ['another unit', { ...NO_SCHEDULE, unit: 'week' }],
    ['another event', { ...NO_SCHEDULE, ends: { ...NO_SCHEDULE.ends, kind: 'moonrise' } }],
    ['a moment that is none', { ...NO_SCHEDULE, starts: 'now' }],
    ['another way to overrun', { ...NO_SCHEDULE, overrun: 'hope' }],
  ])('is not taken where it is %s', (_what, kept) => {
    expect(readKept(kept)).toBeUndefined();
  });
});
