import { describe, expect, it } from 'vitest';
import { formatEv, parseEv, toEv } from '../../src/exposure/index.js';

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
    for (let sixths = -120; sixths <= 120; sixths += 1) {
      expect(parseEv(formatEv(sixths))).toBe(sixths);
      expect(parseEv(formatEv(sixths, false).replace(/^/, sixths < 0 ? '' : ''))).toBe(sixths);
      // JSON carries plain numbers: thirds and halves come back exactly.
      if (sixths % 2 === 0 || sixths % 3 === 0) expect(parseEv(toEv(sixths))).toBe(sixths);
    }
  });

  it('writes fractions, never decimals', () => {
    expect([-8, -2, 0, 3, 6, 10].map((sixths) => formatEv(sixths))).toEqual([
      '-1 1/3',
      '-1/3',
      '0',
      '+1/2',
      '+1',
      '+1 2/3',
    ]);
    expect(formatEv(8, false)).toBe('1 1/3');
  });
});
