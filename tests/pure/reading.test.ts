// How a spot reading is written, and said back: a shutter time, EV at ISO 100, luminance; and what is none of them.
import { describe, expect, it } from 'vitest';
import { parseReading, readingInWords } from '../../shared/reading.js';
import { parseSetRequest } from '../../shared/request.js';
import { parseRunRequest } from '../../shared/run-request.js';
import fc from '../seeded.js';

const time = (seconds: number) => ({ kind: 'time', seconds });
const ev = (ev100: number) => ({ kind: 'ev', ev100 });
const luminance = (cd: number) => ({ kind: 'luminance', luminance: cd });

describe('a reading', () => {
  it.each([
    ['1/60', time(1 / 60)],
    [' 1/60 s ', time(1 / 60)],
    ['2 s', time(2)],
    ['2s', time(2)],
    ['0.5', time(0.5)],
    ['0,5', time(0.5)],
    ['30"', time(30)],
    ['0"3', time(0.3)],
    ['1/1.3', time(1 / 1.3)],
    ['EV 9.3', ev(9.3)],
    ['ev9.3', ev(9.3)],
    ['9.3 EV', ev(9.3)],
    ['9.3EV', ev(9.3)],
    ['EV 9,3', ev(9.3)],
    ['EV -2', ev(-2)],
    ['EV \u22122', ev(-2)],
    ['EV 9 1/3', ev(9 + 1 / 3)],
    ['EV +3', ev(3)],
    ['EV 0', ev(0)],
    ['120 cd/m2', luminance(120)],
    ['120cd/m²', luminance(120)],
    ['120 CD / M^2', luminance(120)],
    ['0.05 cd/m2', luminance(0.05)],
    ['0,05 cd/m2', luminance(0.05)],
    ['1.6e9 cd/m2', luminance(1.6e9)],
    ['12,3456 cd/m2', luminance(12.3456)],
  ])('%s', (text, reading) => {
    expect(parseReading(text)).toEqual(reading);
  });

  it.each([
    ...[
      '',
      ' ',
      'bulb',
      'auto',
      '0',
      '1/0',
      '-1',
      '-1/60',
      'EV',
      'EV EV',
      'EV 9.3.1',
      'EV nine',
      'EV 1/0',
      'EV 1000',
    ],
    ...[
      'cd/m2',
      '0 cd/m2',
      '-5 cd/m2',
      '120 cd',
      '120 lux',
      '120 cd/m3',
      '1/60 cd/m2',
      'NaN cd/m2',
      '1e400 cd/m2',
    ],
    // It may be one thousand, or one.
    ...['1,000 cd/m2', '1,000', 'EV 1,250', '1,2,3 cd/m2'],
    ...['1/60 f/8', '60x', '\u0000', '<b>', 'EV \u221e', '9'.repeat(33), `EV ${' '.repeat(40)}3`],
  ])('%j is none', (text) => {
    expect(parseReading(text)).toBeUndefined();
  });

  it.each([
    ['1/60', '1/60 s'],
    ['0.25', '1/4 s'],
    ['0.3', '0.3 s'],
    ['1/1.3', '0.769 s'],
    ['30"', '30 s'],
    ['1/8000', '1/8000 s'],
    ['9.3 ev', 'EV 9.3'],
    ['EV 9 1/3', 'EV 9.33'],
    ['EV -2', 'EV -2'],
    ['0120 cd/m2', '120 cd/m²'],
    ['1.6e9 cd/m2', '1600000000 cd/m²'],
  ])('%s is said back as %s', (text, words) => {
    const reading = parseReading(text);
    expect(reading === undefined ? undefined : readingInWords(reading)).toBe(words);
  });

  it('is read or not, whatever is written, and never half', () => {
    fc.assert(
      fc.property(fc.string({ maxLength: 40, unit: 'binary' }), (text) => {
        const reading = parseReading(text);
        if (reading === undefined) return;
        const value =
          reading.kind === 'time'
            ? reading.seconds
            : reading.kind === 'ev'
              ? reading.ev100
              : reading.luminance;
        expect(Number.isFinite(value)).toBe(true);
        expect(readingInWords(reading)).not.toMatch(/NaN|Infinity/);
      }),
    );
  });
});

describe('a request by readings', () => {
  const readings = { darkest: '1/4', brightest: 'EV 12' };

  it('keeps what was metered for whoever knows the body', () => {
    expect(parseSetRequest({ readings, step: 1 })).toEqual({
      ...{
        step: 6,
        mode: 'manual',
        settleSeconds: 0,
        release: null,
        least: 'time',
        extend: 0,
        conditions: {},
      },
      metered: { darkest: time(0.25), brightest: ev(12), written: readings },
    });
    expect(parseRunRequest({ readings, step: '2/3', name: 'Boathouse' })).toMatchObject({
      writtenSet: { readings, step: '2/3' },
      set: { step: 4 },
      labels: { name: 'Boathouse' },
    });
  });

  it.each([
    [
      { readings: { ...readings, darkest: 'dark' } },
      'unreadable-reading',
      /^The reading of the darkest part, 'dark', is not understood: write a shutter time such as 1\/60, EV 9\.3, or 120 cd\/m2\.$/,
      'darkest',
    ],
    [
      { readings: { ...readings, brightest: ' ' } },
      'unreadable-reading',
      /^The reading of the brightest part is missing: write/,
      'brightest',
    ],
    [{ readings: { darkest: '1/4' } }, 'malformed-request', /readings\.brightest/, undefined],
    [
      { readings: { ...readings, darkest: 0.25 } },
      'malformed-request',
      /readings\.darkest: it must be text: write/,
      undefined,
    ],
    [
      { readings: { ...readings, darkest: '1'.repeat(33) } },
      'malformed-request',
      /it is not a reading: write/,
      undefined,
    ],
    [
      { readings: { ...readings, middle: '1/60' } },
      'malformed-request',
      /there is no field 'middle'/,
      undefined,
    ],
    [
      { readings: { ...readings, aperture: 0 } },
      'malformed-request',
      /give 0\.5 to 500 as the f-number/,
      undefined,
    ],
    [
      { readings: { ...readings, roomBelow: 13 } },
      'malformed-request',
      /give 0 to 12 EV below middle grey/,
      undefined,
    ],
    [{ readings, frames: 9 }, 'malformed-request', /^Give only one of these: .*, or readings\.$/, undefined],
    [
      { readings, base: '1/60' },
      'malformed-request',
      /^The readings give the base exposure: leave base out\.$/,
      'base',
    ],
    [
      { readings, mode: 'aperture' },
      'malformed-request',
      /^In aperture priority the camera meters the base exposure itself/,
      'mode',
    ],
    [{ readings, step: 0.1 }, 'unreadable-ev', /step/, 'step'],
  ])('%j: %s', (change, code, message, field) => {
    expect(() => parseSetRequest({ step: 1, ...change })).toThrow(
      expect.objectContaining({
        code,
        message: expect.stringMatching(message),
        ...(field === undefined ? {} : { details: expect.objectContaining({ field }) }),
      }),
    );
  });
});
