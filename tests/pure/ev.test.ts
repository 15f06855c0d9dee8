import { describe, expect, it } from 'vitest';
import {
  formatEv,
  fromEv,
  leastOf,
  magnitude,
  minusSixths,
  mostOf,
  NO_EV,
  negated,
  ONE_EV,
  parseEv,
  plusSixths,
  sixths,
  timesSixths,
  toEv,
} from '../../src/exposure/index.js';

describe('EV values as people write them', () => {
  it.each([
    ['0', 0],
    ['1', 6],
    ['-4', -24],
    ['+2', 12],
    ['\u22123', -18],
    ['0.5', 3],
    ['.5', 3],
    ['1.5', 9],
    ['2/3', 4],
    ['-1 1/3', -8],
    ['4/3', 8],
    ['1/6', 1],
    ['0.3', 2],
    ['0.33', 2],
    ['-0.333', -2],
    ['0.7', 4],
    ['0.67', 4],
    ['0.66', 4],
    ['1.67', 10],
    ['2.0', 12],
    [1 / 3, 2],
    [2 / 3, 4],
    [-8 / 6, -8],
    [2.5, 15],
  ])('%s is %s sixths', (text, sixths) => {
    expect(parseEv(text)).toBe(sixths);
  });

  it.each([
    '',
    ' ',
    'one',
    '0.4',
    '0.2',
    '0.35',
    '1/7',
    '1/0',
    '1e1',
    '--1',
    '1 2',
    'NaN',
    'Infinity',
    '41',
    '1//3',
    '0.3.3',
    NaN,
    Infinity,
    1e9,
  ])('%s is none', (text) => {
    expect(parseEv(text)).toBeUndefined();
  });

  it('reads back all that it writes, from -20 to +20 EV', () => {
    for (let count = -120; count <= 120; count += 1) {
      const value = sixths(count);
      expect(parseEv(formatEv(value))).toBe(count);
      expect(parseEv(formatEv(value, false))).toBe(count);
      // JSON carries plain numbers: thirds and halves come back exactly.
      if (count % 2 === 0 || count % 3 === 0) expect(parseEv(toEv(value))).toBe(count);
      expect(fromEv(toEv(value))).toBe(count);
    }
  });

  it('writes fractions, never decimals', () => {
    expect([-8, -2, 0, 3, 6, 10].map((count) => formatEv(sixths(count)))).toEqual([
      '-1 1/3',
      '-1/3',
      '0',
      '+1/2',
      '+1',
      '+1 2/3',
    ]);
    expect(formatEv(sixths(8), false)).toBe('1 1/3');
  });
});

describe('sixths', () => {
  it('are whole, and no other number is taken for them', () => {
    expect(() => sixths(0.5)).toThrow(RangeError);
    expect(() => sixths(Number.NaN)).toThrow(RangeError);
    // @ts-expect-error EV are no sixths
    expect(toEv(1.5)).toBe(0.25);
    // @ts-expect-error nor is what plain arithmetic makes of them
    expect(formatEv(ONE_EV + ONE_EV)).toBe('+2');
  });

  it('add up, and nothing has no sign', () => {
    const [one, third] = [ONE_EV, sixths(2)];
    expect([plusSixths(one, third), minusSixths(third, one), timesSixths(third, -3)]).toEqual([8, -4, -6]);
    expect([leastOf(one, third), mostOf(one, third), magnitude(sixths(-3))]).toEqual([2, 6, 3]);
    for (const nothing of [sixths(-0), negated(NO_EV), timesSixths(one, -0), fromEv(-0.01)])
      expect(Object.is(nothing, 0)).toBe(true);
  });
});
