// Files whose size is odd beside that of their neighbours: each bound from both sides. The bounds are common practice, no source
// (src/frames/judge/sizes.ts).
import { describe, expect, it } from 'vitest';
import { oddSizeSentence, oddSizes } from '../../src/frames/index.js';

/** @returns the numbers of those that are odd, counted from 1 */
const odd = (kind: string, ...sizes: number[]): number[] =>
  oddSizes(sizes.map((bytes, index) => ({ number: index + 1, kind, bytes }))).map(({ number }) => number);

describe('a raw file', () => {
  it('between two others is odd below half of the smaller one, whichever side that is on', () => {
    expect(odd('dng', 20e6, 10e6, 24e6)).toEqual([]);
    expect(odd('dng', 20e6, 10e6 - 1, 24e6)).toEqual([2]);
    expect(odd('dng', 24e6, 10e6 - 1, 20e6)).toEqual([2]);
    expect(odd('dng', 24e6, 10e6, 20e6)).toEqual([]);
  });

  it('between two others is odd above twice the larger one', () => {
    expect(odd('dng', 10e6, 24e6, 12e6)).toEqual([]);
    expect(odd('dng', 10e6, 24e6 + 1, 12e6)).toEqual([2]);
    expect(odd('dng', 12e6, 24e6 + 1, 10e6)).toEqual([2]);
  });

  it('at an end is odd below a quarter of its neighbour, and never for being large', () => {
    expect(odd('dng', 5e6, 20e6, 20e6)).toEqual([]);
    expect(odd('dng', 5e6 - 1, 20e6, 20e6)).toEqual([1]);
    expect(odd('dng', 20e6, 20e6, 5e6 - 1)).toEqual([3]);
    expect(odd('dng', 20e6, 20e6, 60e6)).toEqual([]);
  });

  it('alone is held against nothing', () => {
    expect(odd('dng', 1)).toEqual([]);
    expect(odd('dng')).toEqual([]);
  });
});

describe('a JPEG', () => {
  it('between two others is odd below a quarter of the smaller one', () => {
    expect(odd('jpg', 8e6, 2e6, 12e6)).toEqual([]);
    expect(odd('jpg', 8e6, 2e6 - 1, 12e6)).toEqual([2]);
    expect(odd('jpg', 12e6, 2e6 - 1, 8e6)).toEqual([2]);
  });

  it('may be large, and of any size at an end', () => {
    expect(odd('jpg', 8e6, 80e6, 8e6)).toEqual([]);
    expect(odd('jpg', 1e3, 8e6, 1e3)).toEqual([]);
  });
});

it('a file is held against those of its own kind alone, and says of which it is and what lies beside it', () => {
  const sized = (number: number, bytes: number, kind: string) => ({ number, bytes, kind });
  const second = { ...sized(2, 4e6, 'dng'), isPartner: true };
  const frames = [
    ...[sized(1, 20e6, 'dng'), sized(1, 9e6, 'jpg'), second, sized(2, 8e6, 'jpg')],
    ...[sized(3, 21e6, 'dng'), sized(3, 9e6, 'jpg')],
  ];
  const found = { number: 2, bytes: 4e6, neighbours: [20e6, 21e6] };
  expect(oddSizes(frames)).toEqual([{ ...found, isPartner: true, of: second }]);
  const own = sized(2, 4e6, 'dng');
  expect(oddSizes(frames.map((frame) => (frame === second ? own : frame)))).toEqual([
    { ...found, isPartner: false, of: own },
  ]);
});

it.each([
  [
    { bytes: 99_999, neighbours: [8e6] },
    'Its file has 0.100 MB, and that of its neighbour has 8.0 MB: check that it is complete.',
  ],
  [
    { bytes: 100_000, neighbours: [8e6, 9e6], isPartner: true },
    'Its second file has 0.1 MB, and those of its neighbours have 8.0 and 9.0 MB: check that it is complete.',
  ],
  [
    { bytes: 1234, neighbours: [8e6] },
    'Its file has 0.001 MB, and that of its neighbour has 8.0 MB: check that it is complete.',
  ],
])('%j: in words', (found, sentence) => {
  expect(oddSizeSentence({ number: 1, ...found })).toBe(sentence);
});
