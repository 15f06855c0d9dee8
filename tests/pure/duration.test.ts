import { describe, expect, it } from 'vitest';
import { formatDuration, roughDuration } from '../../shared/duration.js';
import fc from '../seeded.js';

const UNITS: Readonly<Record<string, number>> = { s: 1, min: 60, h: 3600, days: 86_400 };

describe('a length of time', () => {
  it.each([
    [0, '0 s'],
    [45, '45 s'],
    [59.6, '1 min'],
    [270, '4 min 30 s'],
    [3599.6, '1 h'],
    [5430, '1 h 31 min'],
    [86_400, '24 h'],
  ])('%s s in full', (seconds, words) => {
    expect(formatDuration(seconds)).toBe(words);
  });

  it.each([
    [0, '1 s'],
    [0.3, '1 s'],
    [2.4, '2 s'],
    [100, '100 s'],
    [119.4, '119 s'],
    [119.5, '2 min'],
    [149, '2 min'],
    [5400, '90 min'],
    [7199, '120 min'],
    [7200, '2 h'],
    [40 * 3600, '40 h'],
    [48 * 3600, '2 days'],
    [10 * 86_400, '10 days'],
  ])('%s s as exactly as anybody asks', (seconds, words) => {
    expect(roughDuration(seconds)).toBe(words);
  });

  it('roughly is never more than a fifth off, and of no unit is there only one, but of seconds', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 5_000_000 }), (seconds) => {
        const [, count = '', unit = ''] = /^(\d+) (\w+)$/.exec(roughDuration(seconds)) ?? [];
        expect(Math.abs((Number(count) * (UNITS[unit] ?? Number.NaN)) / seconds - 1)).toBeLessThanOrEqual(
          0.25,
        );
        if (unit !== 's') expect(Number(count)).toBeGreaterThan(1);
      }),
    );
  });
});
