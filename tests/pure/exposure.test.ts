import { describe, expect, it } from 'vitest';
import {
  APERTURE_SCALES,
  apertureValue,
  brightnessValue,
  exposureValue,
  exposureValueOfLuminance,
  luminanceOfExposureValue,
  nearestSetting,
  parseAperture,
  parseShutter,
  SHUTTER_SCALES,
  type ShutterSetting,
  type StopScale,
  settingForSeconds,
  speedValue,
  timeValue,
} from '../../src/exposure/index.js';

// Exif 2.32 (CIPA DC-008-2019), annex C, nominal tables, from memory.
const EXIF_TV: readonly (readonly [number, string])[] = [
  [-5, '30'],
  [-4, '15'],
  [-3, '8'],
  [-2, '4'],
  [-1, '2'],
  [0, '1'],
  [1, '0.5'],
  [2, '1/4'],
  [3, '1/8'],
  [4, '1/15'],
  [5, '1/30'],
  [6, '1/60'],
  [7, '1/125'],
  [8, '1/250'],
  [9, '1/500'],
  [10, '1/1000'],
  [11, '1/2000'],
];
const EXIF_AV = ['1', '1.4', '2', '2.8', '4', '5.6', '8', '11', '16', '22', '32'];

function at(stops: StopScale, label: string): ShutterSetting {
  const setting = SHUTTER_SCALES[stops].find((candidate) => candidate.label === label);
  if (setting === undefined) throw new Error(`The ${stops} scale has no ${label}.`);
  return setting;
}

describe('shutter scales', () => {
  it.each(['full', 'third', 'half'] as const)(
    'hold the nominal times of Exif annex C (%s stops)',
    (stops) => {
      for (const [tv, label] of EXIF_TV) {
        const setting = SHUTTER_SCALES[stops].find((candidate) => candidate.tv === tv * 6);
        expect(setting?.label).toBe(label);
      }
    },
  );

  it('stand for powers of two: 1/125 is 1/128 s, 30 is 32 s (trade fact: nominal and exact)', () => {
    const exact = (label: string) => SHUTTER_SCALES.third.find((setting) => setting.label === label)?.seconds;
    expect(exact('1/125')).toBe(1 / 128);
    expect(exact('30')).toBe(32);
    expect(exact('1/8000')).toBe(1 / 8192);
    expect(exact('0.8')).toBeCloseTo(2 ** (-1 / 3), 12);
  });

  const distance = (setting: { nominalSeconds: number; seconds: number }) =>
    Math.abs(Math.log2(setting.nominalSeconds / setting.seconds));

  // The trade facts: nominal times lie up to 0.093 EV from exact in whole and third stops (1/60, 30 s).
  it.each(['full', 'third'] as const)('%s stops: nominal times lie within 0.093 EV of exact', (stops) => {
    const upTo8000 = SHUTTER_SCALES[stops].filter((setting) => setting.tv <= 78);
    expect(Math.max(...upTo8000.map(distance))).toBeCloseTo(0.093, 3);
    expect(distance(at(stops, '1/60'))).toBeCloseTo(0.093, 3);
    expect(distance(at(stops, '30'))).toBeCloseTo(0.093, 3);
  });

  it('half stops lie farther: 0.178 EV at 10 s (the trade facts), and farther still at 0.3 s', () => {
    expect(distance(at('half', '10'))).toBeCloseTo(0.178, 3);
    expect(distance(at('half', '0.3'))).toBeCloseTo(Math.log2(2 ** -1.5 / 0.3), 12);
  });

  it('climb evenly, longest first', () => {
    for (const [stops, sixths] of [
      ['full', 6],
      ['half', 3],
      ['third', 2],
    ] as const) {
      const tvs = SHUTTER_SCALES[stops].map((setting) => setting.tv);
      expect(tvs[0]).toBe(-30);
      expect(tvs.slice(1).every((tv, index) => tv - (tvs[index] ?? 0) === sixths)).toBe(true);
    }
  });

  it('find a setting by its nominal and by its exact time, and nothing far from any', () => {
    for (const stops of ['full', 'half', 'third'] as const) {
      for (const setting of SHUTTER_SCALES[stops]) {
        expect(settingForSeconds(setting.nominalSeconds, stops)?.tv).toBe(setting.tv);
        expect(settingForSeconds(setting.seconds, stops)?.tv).toBe(setting.tv);
      }
    }
    expect(settingForSeconds(100, 'third')).toBeUndefined();
    expect(nearestSetting(1 / 60, [])).toBeUndefined();
  });
});

describe('shutter times as people and bodies write them', () => {
  it.each([
    ['1/125', 1 / 125],
    ['0.3', 0.3],
    ['0"3', 0.3],
    ['30', 30],
    ['30"', 30],
    ['1"6', 1.6],
    ['1.6', 1.6],
    ['13/10', 1.3],
    ['2s', 2],
    ['2 s', 2],
    ['0.0100s', 0.01],
    ['1/1.3', 1 / 1.3],
    [' 1/60 ', 1 / 60],
    ['.5', 0.5],
    ['1/60 sec', 1 / 60],
    ['10 seconds', 10],
  ])('%s', (text, seconds) => {
    expect(parseShutter(text)).toEqual({ kind: 'time', seconds });
  });

  it.each(['bulb', 'Bulb', ' BULB '])('%s is bulb', (text) => {
    expect(parseShutter(text)).toEqual({ kind: 'bulb' });
  });

  it.each(['', 'auto', '0', '1/0', '-1', '1/-60', '60/', '1/2/3', 'NaN', '0"0', '1e3', 'fast'])(
    '%s is no time',
    (text) => {
      expect(parseShutter(text)).toBeUndefined();
    },
  );
});

describe('aperture scales', () => {
  it('hold the nominal f-numbers of Exif annex C at Av 0 to 10 (from memory)', () => {
    expect(APERTURE_SCALES.full.map((setting) => setting.label)).toEqual(EXIF_AV);
    for (const stops of ['half', 'third'] as const) {
      for (const [av, label] of EXIF_AV.entries()) {
        expect(APERTURE_SCALES[stops].find((setting) => setting.av === av * 6)?.label).toBe(label);
      }
    }
  });

  it('stand for powers of the square root of two, within 0.1 EV of their labels in thirds', () => {
    for (const { av, fNumber, nominalFNumber } of APERTURE_SCALES.third) {
      expect(apertureValue(fNumber)).toBeCloseTo(av / 6, 10);
      expect(Math.abs(apertureValue(nominalFNumber) - av / 6)).toBeLessThan(0.15);
    }
  });

  it.each([
    ['8', 8],
    ['f/8', 8],
    ['F5.6', 5.6],
    ['f 11', 11],
  ] as const)('%s reads as f/%s', (text, fNumber) => {
    expect(parseAperture(text)).toBe(fNumber);
  });

  it.each(['', 'auto', 'f/', '0', '-8', '1/8'])('%s is none', (text) => {
    expect(parseAperture(text)).toBeUndefined();
  });
});

describe('APEX', () => {
  it('EV 0 is f/1 at 1 s (ISO 2720:1974)', () => {
    expect(exposureValue(1, 1)).toBe(0);
  });

  it('f/8 at 1/125 s is EV 13, nominally (trade fact)', () => {
    expect(exposureValue(8, 1 / 128)).toBe(13);
    expect(Math.round(exposureValue(8, 1 / 125))).toBe(13);
  });

  it('Av + Tv = Bv + Sv, with ISO 100 at Sv 5 (Exif 2.32, annex C)', () => {
    expect(speedValue(100)).toBe(5);
    for (const [n, t, s] of [
      [5.6, 1 / 60, 200],
      [2, 4, 6400],
      [16, 1 / 4000, 50],
    ] as const) {
      expect(apertureValue(n) + timeValue(t)).toBeCloseTo(brightnessValue(n, t, s) + speedValue(s), 12);
    }
  });

  it('EV100 = log2(L * 100 / K), K = 12.5: EV 0 is 0.125 cd/m2 (ISO 2720)', () => {
    expect(luminanceOfExposureValue(0)).toBe(0.125);
    expect(exposureValueOfLuminance(4096)).toBeCloseTo(15, 12);
    expect(exposureValueOfLuminance(luminanceOfExposureValue(7.25))).toBeCloseTo(7.25, 12);
  });
});
