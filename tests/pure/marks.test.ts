// What a person should know of frames that are in the set all the same: each mark by its rule.

import { describe, expect, it } from 'vitest';
import { LOST_SHARE } from '../../shared/clipping.js';
import { NO_EV, sixths } from '../../shared/ev.js';
import { SHUTTER_SCALES, type ShutterSetting } from '../../src/exposure/index.js';
import { compareLight, type LightComparison } from '../../src/frames/index.js';
import { type TakenAt, takenAtOf } from '../../src/frames/read/taken-at.js';
import { marksOf as marksOfSeen, type Seen } from '../../src/set/judgements.js';
import { ratioMarks } from '../../src/set/marks.js';

const BASE = SHUTTER_SCALES.third.find(({ label }) => label === '1/60') as ShutterSetting;

/** What the rules go by. */
interface Marked extends Pick<Seen, 'number' | 'frames' | 'baseMoved' | 'times' | 'clockDifference'> {
  readonly before: Seen['before'];
  readonly perhapsEarlyMs: number | null;
  readonly clipped: { readonly dark: number; readonly light: number } | null;
  readonly doubt: string | null;
  readonly takenAt: TakenAt | null;
}

const FRAME: Marked = {
  number: 5,
  frames: 9,
  clipped: { dark: 0.3, light: 0.2 },
  baseMoved: null,
  takenAt: '2026-11-25T16:42:10',
  times: { firedAt: localAt(16, 42, 10), storedAt: localAt(16, 42, 12) },
  clockDifference: 0,
  before: null,
  doubt: null,
  perhapsEarlyMs: null,
};

const marksOfOne = ({ clipped, doubt, takenAt, ...known }: Marked) =>
  marksOfSeen({
    ...known,
    recorded: { exposureTime: 1 / 60, fNumber: 8, iso: 100, bias: null, focalLength: 24, takenAt },
    ...{ broken: null, baseTv: null, sizeOfSet: null },
    looked: { broken: null, doubt, clipped, size: null },
    asked: {
      ...{ mode: 'manual', step: sixths(6), fNumber: 8, iso: 100, longestTv: null, shortestTv: null },
      ...{ offset: NO_EV, centre: NO_EV, shutter: BASE },
    },
  });

/** @returns UTC of that time on this computer's wall */
function localAt(hour: number, minute: number, second: number): string {
  return new Date(2026, 10, 25, hour, minute, second).toISOString();
}
const codes = (changes: Partial<Marked>) => marksOfOne({ ...FRAME, ...changes }).map(({ code }) => code);

it('a frame that may have been taken before its release is marked, and says by how much', () => {
  const [mark] = marksOfOne({ ...FRAME, clockDifference: null, perhapsEarlyMs: 2400 });
  expect(mark).toMatchObject({ code: 'time' });
  expect(mark?.sentence).toContain('may have been taken 2 s before it was fired');
});

describe('clipping', () => {
  it('is what a set is for; only where no frame is left to hold it, it is a mark', () => {
    expect(codes({})).toEqual([]);
    expect(codes({ number: 1 })).toEqual(['clipped-light']);
    expect(codes({ number: 9 })).toEqual(['clipped-dark']);
    expect(codes({ number: 1, frames: 1 })).toEqual(['clipped-light', 'clipped-dark']);
    expect(codes({ number: 1, clipped: null })).toEqual([]);
  });

  it('counts from the share that the panel counts from', () => {
    const just = { dark: LOST_SHARE, light: LOST_SHARE };
    const less = { dark: LOST_SHARE * 0.99, light: LOST_SHARE * 0.99 };
    expect([codes({ number: 1, clipped: just }), codes({ number: 1, clipped: less })]).toEqual([
      ['clipped-light'],
      [],
    ]);
  });
});

describe('the time that a file records', () => {
  it.each([
    ['2026:11:25 16:42:10', '123', '2026-11-25T16:42:10.123'],
    ['2026:11:25 16:42:10', ['07 '], '2026-11-25T16:42:10.07'],
    [['2026:11:25 16:42:10'], undefined, '2026-11-25T16:42:10'],
    ['2026:11:25 16:42:10+01:00', 5, '2026-11-25T16:42:10.5'],
    ['0000:00:00 00:00:00', '00', null],
    ['    :  :     :  :  ', undefined, null],
    ['2026:13:25 16:42:10', undefined, null],
    ['yesterday', '1', null],
    [undefined, undefined, null],
  ])('%j and %j: %j', (time, parts, expected) => {
    expect(takenAtOf(time, parts)).toBe(expected);
  });

  it('between the release and the file, give and take what clocks do', () => {
    for (const takenAt of ['2026-11-25T16:42:08', '2026-11-25T16:42:11.5', '2026-11-25T16:42:14'])
      expect(codes({ takenAt })).toEqual([]);
    for (const takenAt of ['2026-11-25T16:42:05', '2026-11-25T16:42:16', '2026-11-24T16:43:10'])
      expect(codes({ takenAt })).toEqual(['time']);
  });

  it('goes by the camera’s clock: how far that is ahead is counted in', () => {
    expect(codes({ takenAt: '2026-11-25T16:43:50', clockDifference: 100 })).toEqual([]);
    expect(codes({ takenAt: '2026-11-25T16:42:10', clockDifference: 100 })).toEqual(['time']);
    expect(codes({ takenAt: '2026-11-25T16:40:30', clockDifference: -100 })).toEqual([]);
  });

  it('in another zone is no odd time, however long the exposure was', () => {
    const long = { times: { firedAt: localAt(16, 42, 10), storedAt: localAt(16, 43, 20) } };
    for (const takenAt of ['2026-11-25T15:42:12', '2026-11-26T02:57:11', '2026-11-25T10:12:10'])
      expect(codes({ takenAt })).toEqual([]);
    for (const takenAt of ['2026-11-25T15:42:08', '2026-11-25T15:43:20', '2026-11-25T17:43:22'])
      expect(codes({ takenAt, ...long })).toEqual([]);
    expect(codes({ takenAt: '2026-11-25T15:49:00' })).toEqual(['time']);
    expect(codes({ takenAt: '2026-11-29T16:42:11' })).toEqual(['time']);
  });

  it('that nobody can compare is no mark', () => {
    expect(codes({ takenAt: null })).toEqual([]);
    expect(codes({ takenAt: '2020-01-01T00:00:00', clockDifference: null })).toEqual([]);
    expect(codes({ takenAt: '2020-01-01T00:00:00', times: { firedAt: null, storedAt: null } })).toEqual([]);
  });

  it('must not run backwards; without parts of a second only whole ones count', () => {
    const following = (takenAt: string) => codes({ before: { number: 4, takenAt } });
    expect(following('2026-11-25T16:42:10')).toEqual([]);
    expect(following('2026-11-25T16:42:10.9')).toEqual([]);
    expect(following('2026-11-25T16:42:11')).toEqual(['order']);
    const exact = (takenAt: string) =>
      codes({ takenAt: '2026-11-25T16:42:10.50', before: { number: 4, takenAt } });
    expect([exact('2026-11-25T16:42:10.49'), exact('2026-11-25T16:42:10.51')]).toEqual([[], ['order']]);
    expect(
      marksOfOne({ ...FRAME, before: { number: 4, takenAt: '2026-11-25T16:42:11' } })[0]?.sentence,
    ).toContain('taken before frame 4');
  });
});

describe('the light of neighbours', () => {
  const pair = (darker: number, ev: number) => ({
    darker,
    lighter: darker + 1,
    expected: 1,
    ev,
    mark: ev !== 1,
  });

  it('a frame that differs from both is named; else the lighter one says where it changes', () => {
    const comparison: LightComparison = {
      ratios: [pair(1, 1), pair(2, 2.1), pair(3, -0.1), pair(4, 1), pair(5, 3)],
      suspects: [3],
    };
    const marks = ratioMarks(comparison);
    expect([...marks.keys()]).toEqual([3, 6]);
    expect(marks.get(3)?.sentence).toBe(
      'Its brightness does not fit its neighbours: from frame 2 to 3 +2.1 EV where +1 EV was planned, from frame 3 to 4 -0.1 EV where +1 EV was planned. Look at it before you merge.',
    );
    expect(marks.get(6)?.sentence).toContain('from frame 5 to 6 +3 EV where +1 EV was planned');
    expect(ratioMarks(compareLight([])).size).toBe(0);
  });
});
