// What a person should know of frames that are in the set all the same: each mark by its rule.

import { describe, expect, it } from 'vitest';
import { LOST_SHARE } from '../../shared/clipping.js';
import { NO_EV, sixths } from '../../shared/ev.js';
import { SHUTTER_SCALES, type ShutterSetting } from '../../src/exposure/index.js';
import { compareLight, type OddLight } from '../../src/frames/index.js';
import { type TakenAt, takenAtOf } from '../../src/frames/read/taken-at.js';
import { marksOf as marksOfSeen, type Seen } from '../../src/set/judge/judgements.js';
import {
  movedMark,
  offRelease,
  orderMarks,
  ratioMarks,
  timeMarks,
  withNeighbourMarks,
} from '../../src/set/judge/marks.js';

const BASE = SHUTTER_SCALES.third.find(({ label }) => label === '1/60') as ShutterSetting;

/** What the rules go by. */
interface Marked extends Pick<Seen, 'place' | 'frames' | 'baseMoved' | 'times' | 'clockDifference'> {
  readonly before: Seen['before'];
  readonly perhapsEarlyMs: number | null;
  readonly clipped: { readonly dark: number; readonly light: number } | null;
  readonly doubt: string | null;
  readonly takenAt: TakenAt | null;
}

const FRAME: Marked = {
  place: 5,
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
    ...{ broken: null, baseTv: null, sizeOfSet: null, kind: 'jpg', partner: undefined },
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
    expect(codes({ place: 1 })).toEqual(['clipped-light']);
    expect(codes({ place: 9 })).toEqual(['clipped-dark']);
    expect(codes({ place: 1, frames: 1 })).toEqual(['clipped-light', 'clipped-dark']);
    expect(codes({ place: 1, clipped: null })).toEqual([]);
  });

  it('counts from the share that the panel counts from', () => {
    const just = { dark: LOST_SHARE, light: LOST_SHARE };
    const less = { dark: LOST_SHARE * 0.99, light: LOST_SHARE * 0.99 };
    expect([codes({ place: 1, clipped: just }), codes({ place: 1, clipped: less })]).toEqual([
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
    const comparison: OddLight = {
      ratios: [pair(1, 1), pair(2, 2.1), pair(3, -0.1), pair(4, 1), pair(5, 3)],
      suspects: [3],
    };
    const marks = ratioMarks(comparison);
    expect([...marks.keys()]).toEqual([3, 6]);
    expect(marks.get(3)?.sentence).toBe(
      'Its brightness does not match its neighbours: frames 2 and 3 differ by +2.1 EV, not +1, frames 3 and 4 differ by −0.1 EV, not +1. Check it before you merge.',
    );
    expect(marks.get(6)?.sentence).toContain('frames 5 and 6 differ by +3 EV, not +1');
    expect(ratioMarks(compareLight([])).size).toBe(0);
  });
});

describe('in words', () => {
  const said = (changes: Partial<Marked>) =>
    marksOfOne({ ...FRAME, ...changes }).map(({ sentence }) => sentence);

  it('what is clipped, in per cent; with one decimal below one', () => {
    expect(said({ place: 1, frames: 1, clipped: { dark: 0.3, light: 0.246 } })).toEqual([
      '25% of the darkest frame is blown out: the set does not hold the highlights. Add frames at the darker end.',
      '30% of the brightest frame is black: the set does not hold the shadows. Add frames at the brighter end.',
    ]);
    const small = (light: number) => said({ place: 1, clipped: { dark: 0, light } })[0]?.split(' ')[0];
    expect([small(0.0096), small(0.01), small(0.0149)]).toEqual(['1.0%', '1%', '1%']);
  });

  it('how far the light had moved, with its sign', () => {
    const words = (ev: number) => movedMark(ev).sentence;
    expect(words(1 / 3)).toBe('The light had changed by +0.33 EV since the first frame of the set.');
    expect(words(-0.5)).toBe('The light had changed by −0.5 EV since the first frame of the set.');
  });

  it('which file came before it, also where that is no frame', () => {
    const words = (number: number | null) =>
      orderMarks('2026-11-25T16:42:10', { number, takenAt: '2026-11-25T16:42:12' })[0];
    expect(words(4)).toEqual({
      code: 'order',
      sentence:
        'Its file says that it was taken before frame 4, but it was fired later: check that it is the right picture.',
    });
    expect(words(null)?.sentence).toContain(
      'Its file says that it was taken before the file that came before it, but it was fired later: check that it is the right picture.',
    );
  });

  it('how long before or after its release it was taken', () => {
    const words = (takenAt: string) => timeMarks(takenAt, FRAME)[0]?.sentence;
    expect(words('2026-11-25T16:46:15')).toBe(
      "Its file says that it was taken 4 min after it was fired: check that it is the right picture, and that the camera's clock was not changed.",
    );
    expect(words('2026-11-25T16:41:55')).toContain('was taken 12 s before it was fired');
  });
});

describe('how far a file is off its release', () => {
  const off = (takenAt: string, times: Partial<Marked['times']> = {}, clockDifference: number | null = 0) =>
    offRelease(takenAt, { times: { ...FRAME.times, ...times }, clockDifference });

  it('counts from three seconds before it, and to three after the file was there', () => {
    expect(['16:42:07', '16:42:15', '16:42:06', '16:42:16'].map((at) => off(`2026-11-25T${at}`))).toEqual([
      0, 0, -1000, 1000,
    ]);
    // A file that was there before it was fired: the release counts.
    expect(off('2026-11-25T16:42:10', { storedAt: localAt(16, 42, 1) })).toBe(0);
    expect(off('2026-11-25T16:42:12', { storedAt: localAt(16, 42, 1) })).toBe(2000);
  });

  it('is nothing that anybody can tell where one of the times is missing', () => {
    expect(off('2020-01-01T00:00:00', { firedAt: null })).toBeNull();
    expect(off('2020-01-01T00:00:00', { storedAt: null })).toBeNull();
    expect(off('2020-01-01T00:00:00', {}, null)).toBeNull();
  });

  it('is none within 26 hours of zones, in whole quarters of an hour, and one beyond', () => {
    expect(off('2026-11-26T18:42:10')).toBe(0);
    expect(off('2026-11-24T14:42:10')).toBe(0);
    expect(off('2026-11-26T18:57:10')).toBe(26.25 * 3_600_000 - 5000);
    expect(off('2026-11-24T14:27:10')).toBe(-26.25 * 3_600_000 + 3000);
  });
});

describe('the marks that neighbours give', () => {
  const size = { code: 'size' as const, sentence: 'Odd.' };
  const ratio = { code: 'ratio' as const, sentence: 'Bright.' };
  const own = { code: 'order' as const, sentence: 'Late.' };

  it('take the place of earlier ones, behind what the frame has by itself', () => {
    expect(withNeighbourMarks([size, own, ratio], [{ ...ratio, sentence: 'Dark.' }])).toEqual([
      own,
      { ...ratio, sentence: 'Dark.' },
    ]);
    expect(withNeighbourMarks([own], [size, ratio])).toEqual([own, size, ratio]);
    expect(withNeighbourMarks([ratio, own], [])).toEqual([own]);
  });

  it('change nothing where they say the same', () => {
    expect(withNeighbourMarks([size, own, ratio], [size, ratio])).toBeNull();
    expect(withNeighbourMarks([own], [])).toBeNull();
    // Two that are said in one breath are two.
    expect(withNeighbourMarks([{ ...size, sentence: 'Odd.Bright.' }], [size, ratio])).toEqual([size, ratio]);
  });

  it('a step of light that was planned as none is written without a sign', () => {
    const comparison: OddLight = {
      ratios: [{ darker: 1, lighter: 2, expected: 0, ev: 1, mark: true }],
      suspects: [],
    };
    expect(ratioMarks(comparison).get(2)).toEqual({
      code: 'ratio',
      sentence:
        'The step in brightness is not as planned: frames 1 and 2 differ by +1 EV, not 0. The light may have changed in between.',
    });
  });
});
