// The edges of the scales, and of what is read: the last text that counts and the first that does not. Codes that libraries print as
// numbers are PTP's (ISO 15740); how bodies write their automatics is from memory.

import { describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import {
  type BodyLimits,
  type BracketShape,
  bodySetting,
  evBetween,
  firedBy,
  hasOneRelease,
  isoSettings,
  isSameShape,
  labelledShutters,
  nearestOf,
  nearestSetting,
  parseAperture,
  parseIso,
  parseShutter,
  SHUTTER_SCALES,
  secondsOf,
  settingForSeconds,
  timeAt,
} from '../../src/exposure/index.js';

describe('a shutter time as it is written', () => {
  it.each([
    ['1/60s', 1 / 60],
    ['1/60 S', 1 / 60],
    ['2 sec', 2],
    ['2second', 2],
    ['2   seconds', 2],
    ['13"', 13],
    ['10\u2033', 10],
    ['10\u20335', 10.5],
    ['12"34', 12.34],
    ['12.5/10', 1.25],
    ['10/12.5', 0.8],
    ['105/10', 10.5],
    ['0.04', 0.04],
    ['12.25', 12.25],
    ['.25', 0.25],
    ['32767/32768', 32_767 / 32_768],
    ['40000', 40_000],
  ])('%s', (text, seconds) => {
    expect(parseShutter(text)).toEqual({ kind: 'time', seconds });
  });

  it.each([
    's',
    '1/60x',
    'x1/60',
    '2 minutes',
    '10"x',
    'x10"',
    '1.5"',
    '"5',
    '1.',
    '.',
    '1./2',
    '1/2.',
    '1,5',
    // A code: 0xFFFFFFFD printed as a fraction, and the first of them.
    '65535/65533',
    '32768/1',
    '0/0',
    '0"',
    '1/0.0',
    '.5/2',
    'bulbx',
    'a bulb',
    '2s s x',
  ])('%s is none', (text) => {
    expect(parseShutter(text)).toBeUndefined();
  });

  it('of 64 letters is the longest that is read', () => {
    expect(parseShutter('2'.padStart(64))).toEqual({ kind: 'time', seconds: 2 });
    expect(parseShutter('2'.padStart(65))).toBeUndefined();
    expect(parseAperture('8'.padStart(64))).toBe(8);
    expect(parseAperture('8'.padStart(65))).toBeUndefined();
  });
});

describe('an f-number as it is written', () => {
  it.each([
    ['F/8', 8],
    ['f / 8', 8],
    ['f8.0', 8],
    ['f5.66', 5.66],
    [' f/16 ', 16],
    ['500', 500],
    ['0.95', 0.95],
  ] as const)('%s reads as f/%s', (text, fNumber) => {
    expect(parseAperture(text)).toBe(fNumber);
  });

  it.each(['f/0.0', '500.1', 'f/655.35', 'ff/8', 'f//8', 'x8', '8x', '8.', '.8', 'f/8 f/8', '/8'])(
    '%s is none',
    (text) => {
      expect(parseAperture(text)).toBeUndefined();
    },
  );
});

describe('a film speed as it is written', () => {
  it.each([
    ['100', 100],
    [' 6400 ', 6400],
    ['1', 1],
    ['10000000', 10_000_000],
    ['Auto', 'automatic'],
    ['auto iso', 'automatic'],
    ['ISO Auto 3200', 'automatic'],
    ['iso auto', 'automatic'],
    ['A800 (160-800)', 'automatic'],
    ['A1234567 (', 'automatic'],
    ['-1', 'automatic'],
    ['-9', 'automatic'],
    ['65535', 'automatic'],
    ['4294967295', 'automatic'],
  ] as const)('%s: %s', (text, iso) => {
    expect(parseIso(text)).toBe(iso);
  });

  it.each([
    '',
    '0',
    '-0',
    '-10',
    '1-1',
    '10000001',
    '12345678901',
    'Autos',
    'an auto',
    'ISOauto',
    'A (160-800)',
    'A12345678 (',
    'BA800 (',
    'A800',
    '100x',
    'x100',
    'Lo 1',
    'Hi 0.3',
    '100 Multi Frame Noise Reduction',
  ])('%s names none', (text) => {
    expect(parseIso(text)).toBeUndefined();
  });
});

describe('the film speeds that a body offers', () => {
  it('are those that are numbers, ascending, by what they stand for (APEX: ISO 100 is Sv 5)', () => {
    expect(isoSettings(['Auto', '200', 'Lo 1', '100', '3200', '-1'])).toEqual([
      { label: '100', iso: 100, sv: 30 },
      { label: '200', iso: 200, sv: 36 },
      { label: '3200', iso: 3200, sv: 60 },
    ]);
    expect(isoSettings([])).toEqual([]);
  });

  it('stand for thirds and halves, as nominal numbers are rounded (common practice, no source)', () => {
    const stands = (label: string) => isoSettings([label])[0]?.sv;
    expect(['50', '64', '80', '125', '160', '250', '320', '640', '1250'].map(stands)).toEqual([
      24, 26, 28, 32, 34, 38, 40, 46, 52,
    ]);
    expect(['140', '70', '280', '560'].map(stands)).toEqual([33, 27, 39, 45]);
  });
});

describe('the setting of a body at a Tv', () => {
  it('has the nominal label of thirds, else of halves, and what the body calls it', () => {
    expect(bodySetting(sixths(42), 'the wire')).toMatchObject({
      label: '1/125',
      wire: 'the wire',
      tv: 42,
      settable: true,
    });
    expect(bodySetting(sixths(33), '1/45')).toMatchObject({ label: '1/45', nominalSeconds: 1 / 45 });
    // 15 s stands on both scales, as 0.3 s does.
    expect(bodySetting(sixths(-24), '')?.label).toBe('15');
    expect(bodySetting(sixths(42), '', false)?.settable).toBe(false);
    expect(bodySetting(sixths(41), '1/120')).toBeUndefined();
    expect(bodySetting(sixths(96), '')).toBeUndefined();
  });

  it('that need not be one of its own is called as it is on the scales, else as the next', () => {
    expect(timeAt(sixths(42))).toMatchObject({
      label: '1/125',
      wire: '1/125',
      tv: 42,
      seconds: 1 / 128,
      settable: false,
    });
    // A sixth off the scales: under the longer one beside it, else under the shorter one.
    expect(timeAt(sixths(41))).toMatchObject({ label: '1/100', wire: '1/100', settable: false });
    expect(timeAt(sixths(41)).nominalSeconds).toBeCloseTo(2 ** (-41 / 6), 12);
    expect(timeAt(sixths(-31)).label).toBe('30');
    expect(timeAt(sixths(91)).label).toBe('1/32000');
  });

  it('beyond the scales is written out, in seconds or as a fraction', () => {
    expect(timeAt(sixths(-36))).toMatchObject({ label: '64', wire: '64', seconds: 64 });
    expect(timeAt(sixths(-33)).label).toBe('45');
    expect(timeAt(sixths(96))).toMatchObject({ label: '1/65536', seconds: 1 / 65_536 });
    expect(timeAt(sixths(99)).label).toBe('1/92682');
  });
});

describe('the setting that is meant', () => {
  const third = SHUTTER_SCALES.third;

  it('is that with the nominal time, also where another one is nearer', () => {
    // Half stops: 10 s is 11.3 s.
    expect(settingForSeconds(10, 'half')?.tv).toBe(-21);
    expect(settingForSeconds(10.02, 'half')?.tv).toBe(-21);
    expect(settingForSeconds(1 / 60, 'full')?.label).toBe('1/60');
  });

  it('else the nearest by its exact time, within 0.18 EV and no farther', () => {
    const off = (ev: number) =>
      nearestSetting(2 ** (-7 + ev), [third.find(({ tv }) => tv === 42) as (typeof third)[number]]);
    expect(off(0.17)?.label).toBe('1/125');
    expect(off(-0.17)?.label).toBe('1/125');
    expect(off(0.19)).toBeUndefined();
    expect(off(-0.19)).toBeUndefined();
  });

  it('however far it is, where that is asked for; the first of two that are as near', () => {
    expect(nearestOf(1000, third)?.label).toBe('30');
    expect(nearestOf(1e-9, third)?.label).toBe('1/32000');
    expect(nearestOf(2 ** (-41 / 6), third)?.label).toBe('1/100');
    expect(nearestOf(2 ** (-41.2 / 6), third)?.label).toBe('1/125');
    expect(nearestOf(1, [])).toBeUndefined();
  });

  it('lies so many EV from a time, either way', () => {
    const [setting] = third;
    if (setting === undefined) throw new Error('There is none.');
    expect([evBetween(64, setting), evBetween(16, setting)]).toEqual([1, 1]);
    expect(secondsOf(sixths(-36))).toBe(64);
    expect(secondsOf(sixths(3))).toBeCloseTo(2 ** -0.5, 12);
  });
});

describe('two shapes of a bracket', () => {
  const shape = { step: sixths(6), pattern: [0, -1, 1] };

  it('are the same where nothing has to be changed between them; none at all is the bracket off', () => {
    expect(isSameShape(shape, { step: sixths(6), pattern: [0, -1, 1] })).toBe(true);
    expect(isSameShape(null, null)).toBe(true);
    expect(isSameShape(shape, null)).toBe(false);
    expect(isSameShape(null, shape)).toBe(false);
    expect(isSameShape(shape, { step: sixths(4), pattern: [0, -1, 1] })).toBe(false);
    expect(isSameShape(shape, { step: sixths(6), pattern: [-1, 0, 1] })).toBe(false);
    expect(isSameShape({ step: sixths(6), pattern: [1, 1] }, { step: sixths(6), pattern: [11] })).toBe(false);
  });

  it('differ if one release fires all of one, and each frame of the other takes its own', () => {
    const whole = { ...shape, isOneRelease: true };
    expect(isSameShape(whole, shape)).toBe(false);
    expect(isSameShape(shape, whole)).toBe(false);
    expect(isSameShape(whole, { ...whole })).toBe(true);
    expect(isSameShape(shape, { ...shape, isOneRelease: false })).toBe(true);
  });
});

describe('what one release fires of a body', () => {
  const bracket = (frames: number, isOneRelease?: boolean): BracketShape => ({
    step: sixths(6),
    pattern: Array.from({ length: frames }, (_, index) => index),
    ...(isOneRelease === undefined ? {} : { isOneRelease }),
  });
  const [singly, whole3, whole5, whole7, alone] = [
    bracket(3),
    bracket(3, true),
    bracket(5, true),
    bracket(7, true),
    bracket(1, true),
  ];
  const timing = {
    ...{ secondsBeforeExposure: 0.1, secondsAfterExposure: 0.1, secondsPerTransfer: 1, secondsPerPiece: 0.1 },
    mostInOneGo: null,
  };
  const limitsOf = (
    brackets: BracketShape[],
    apart: { readonly mostInOneGo?: number } | undefined,
  ): BodyLimits => ({
    ...{ shutters: SHUTTER_SCALES.third, brackets, compensation: { range: sixths(18), grid: sixths(2) } },
    ...{ longestSeconds: 30, secondsPerChange: 0.1, secondsPerSetting: 0, secondsPerFrame: 0.5 },
    ...(apart === undefined ? {} : { apart: { ...timing, ...apart } }),
  });
  const ALL = [singly, whole3, whole5, whole7];

  it('is one frame of a bracket that takes a release for each, over any link', () => {
    for (const apart of [undefined, {}])
      expect(firedBy(limitsOf(ALL, apart), 'frame').brackets).toEqual([singly]);
  });

  it('is a whole pass only over a link that releases and fetches apart, as long as the buffer holds', () => {
    const pass = (apart: object | undefined) => firedBy(limitsOf(ALL, apart), 'pass').brackets;
    expect(pass(undefined)).toEqual([]);
    expect(pass({})).toEqual([whole3, whole5, whole7]);
    expect(pass({ mostInOneGo: 5 })).toEqual([whole3, whole5]);
    expect(pass({ mostInOneGo: 4 })).toEqual([whole3]);
  });

  it('is nothing else that changes', () => {
    const limits = limitsOf(ALL, {});
    expect(firedBy(limits, 'pass')).toEqual({ ...limits, brackets: [whole3, whole5, whole7] });
  });

  it('is a bracket if more than one frame comes of it', () => {
    expect(hasOneRelease(limitsOf([whole3, alone], {}))).toBe(true);
    expect(hasOneRelease(limitsOf([alone], {}))).toBe(false);
    expect(hasOneRelease(limitsOf([singly], {}))).toBe(false);
    expect(hasOneRelease(limitsOf([whole3], undefined))).toBe(false);
  });
});

it('times that are held have no label of the body', () => {
  const held = { ...timeAt(sixths(-36)), wire: 'bulb', settable: true, bulb: true } as const;
  expect(labelledShutters({ shutters: [held, ...SHUTTER_SCALES.third] })).toEqual(SHUTTER_SCALES.third);
});
