import { describe, expect, it } from 'vitest';
import {
  bracketLabel,
  bracketStep,
  compensation,
  shutterLabel,
  shutterSettings,
} from '../../src/camera/dialects/amount/labels.js';
import { recogniseDialect } from '../../src/camera/dialects/index.js';
import { standardShutterSettings } from '../../src/camera/dialects/none/labels.js';
import { endsOpen } from '../../src/camera/dialects/shutters.js';
import type { Setting } from '../../src/camera/index.js';
import { SHUTTER_SCALES, sixths } from '../../src/exposure/index.js';
import { judgeMetered, recordedTv } from '../../src/frames/index.js';

// Dialect A's shutter labels with the codes behind them, as libgphoto2 2.5.30 lists them: eighths of an EV, 0x38 is 1 s;
// a third is 3 eighths, a half 4, two thirds 5.
const THIRDS =
  '30:10 25:13 20:15 15:18 13:1b 10.3:1d 8:20 6.3:23 5:25 4:28 3.2:2b 2.5:2d 2:30 1.6:33 1.3:35 1:38 0.8:3b 0.6:3d 0.5:40 0.4:43 0.3:45 ' +
  '1/4:48 1/5:4b 1/6:4d 1/8:50 1/10:53 1/13:55 1/15:58 1/20:5b 1/25:5d 1/30:60 1/40:63 1/50:65 1/60:68 1/80:6b 1/100:6d 1/125:70 ' +
  '1/160:73 1/200:75 1/250:78 1/320:7b 1/400:7d 1/500:80 1/640:83 1/800:85 1/1000:88 1/1250:8b 1/1600:8d 1/2000:90 1/2500:93 1/3200:95 ' +
  '1/4000:98 1/5000:9b 1/6400:9d 1/8000:a0';
const HALVES =
  '30:10 20.3:14 15:18 10:1c 8:20 6:24 4:28 3:2c 2:30 1.5:34 1:38 0.7:3c 0.5:40 0.3:44 1/4:48 1/6:4c 1/8:50 1/10:54 1/15:58 1/20:5c ' +
  '1/30:60 1/45:64 1/60:68 1/90:6c 1/125:70 1/180:74 1/250:78 1/350:7c 1/500:80 1/750:84 1/1000:88 1/1500:8c 1/2000:90 1/3000:94 ' +
  '1/4000:98 1/6000:9c 1/8000:a0';

const listed = (text: string) =>
  text.split(' ').map((entry) => {
    const [label = '', code = ''] = entry.split(':');
    const eighths = Number.parseInt(code, 16) - 0x38;
    const whole = Math.floor(eighths / 8);
    const part = { 0: 0, 3: 2, 4: 3, 5: 4 }[eighths - whole * 8];
    if (part === undefined) throw new Error(`The code ${code} is no exposure.`);
    return { label, tv: whole * 6 + part };
  });

describe('shutter labels of dialect A', () => {
  it.each([
    ['thirds', THIRDS],
    ['halves', HALVES],
  ])('a body set to %s: each label is the setting of its code, and sets it', (_, table) => {
    const labels = listed(table);
    const settings = shutterSettings(['bulb', 'auto', ...labels.map((entry) => entry.label)]);
    expect(settings.map((setting) => setting.tv)).toEqual(labels.map((entry) => entry.tv));
    expect(settings.every((setting) => setting.settable)).toBe(true);
  });

  it('show a person the nominal label, and the body its own', () => {
    const settings = shutterSettings(['10.3', '1/60', '6.3']);
    expect(settings.map(({ label, wire }) => [label, wire])).toEqual([
      ['10', '10.3'],
      ['6', '6.3'],
      ['1/60', '1/60'],
    ]);
    for (const setting of SHUTTER_SCALES.third.filter(({ tv }) => tv <= 78)) {
      expect(
        shutterSettings([...listed(THIRDS).map((entry) => entry.label)]).find(({ tv }) => tv === setting.tv)
          ?.wire,
      ).toBe(shutterLabel(setting));
    }
  });

  it('with thirds and halves at once, a label for two settings is not trusted', () => {
    const settings = shutterSettings(['1/40', '1/45', '0.3', '1/60']);
    expect(settings.find((setting) => setting.wire === '0.3')?.settable).toBe(false);
    expect(settings.find((setting) => setting.wire === '1/60')?.settable).toBe(true);
  });

  it('nonsense among the choices is passed over', () => {
    expect(shutterSettings(['', 'unknown value 00ff', '1/60', 'Bulb', '1/60'])).toHaveLength(1);
    expect(shutterSettings([])).toEqual([]);
  });
});

describe('other labels of dialect A', () => {
  // Cut decimals, as the wire facts tell: 0.3 is 1/3, 0.6 is 2/3, 1.6 is 5/3, -4.6 is -14/3.
  it.each([
    ['0', 0],
    ['0.3', 2],
    ['0.6', 4],
    ['0.5', 3],
    ['1.6', 10],
    ['-0.3', -2],
    ['-4.6', -28],
    ['3', 18],
    ['1.0', 6],
    ['-1.3', -8],
  ])('compensation %s is %s sixths', (label, sixths) => {
    expect(compensation(label)).toBe(sixths);
  });

  it.each(['', '0.4', 'auto', '1.66', '--1'])('compensation %s is none', (label) => {
    expect(compensation(label)).toBeUndefined();
  });

  it('brackets: what is written is read back', () => {
    for (let count = 2; count <= 18; count += 1) {
      const step = sixths(count);
      if (step % 2 === 0 || step % 3 === 0) expect(bracketStep(bracketLabel(step))).toBe(step);
    }
    expect(bracketLabel(sixths(8))).toBe('+/- 1 1/3');
    expect(bracketStep('off')).toBeUndefined();
  });
});

describe('labels in PTP\u2019s own exposure time (ISO 15740: units of 0.1 ms)', () => {
  it('are told apart down to where the decimals end', () => {
    const labels = SHUTTER_SCALES.third
      .filter(({ tv }) => tv <= 78)
      .map(({ nominalSeconds }) => `${nominalSeconds.toFixed(4)}s`);
    const settings = standardShutterSettings(labels);
    const shortest = settings.at(-1);
    expect(settings[0]?.label).toBe('30');
    expect(shortest?.seconds).toBeGreaterThan(1 / 2000);
    for (const setting of settings) {
      const twins = labels.filter((label) => label === setting.wire);
      expect(twins).toHaveLength(1);
      expect(
        Math.abs(Math.log2(Number(setting.wire.replace('s', '')) / setting.nominalSeconds)),
      ).toBeLessThan(0.1);
    }
  });
});

describe('a list of shutter times whose short ones cannot be told apart', () => {
  const labels = (shortestTv: number) =>
    SHUTTER_SCALES.third
      .filter(({ tv }) => tv <= shortestTv)
      .map(({ nominalSeconds }) => `${nominalSeconds.toFixed(4)}s`);
  const ends = (all: string[]) => endsOpen(all, standardShutterSettings(all));

  it('does not end where the body does', () => {
    expect(ends(labels(78))).toEqual({ openEnds: ['shortest'] });
    expect(ends(labels(36))).toEqual({});
    expect(endsOpen(['1/8000', '1/4000'], [])).toEqual({});
  });

  it('so that a frame beyond it is judged by what its file records alone', () => {
    // Bias -3 EV and 1/800 s, the base that the others told being 1/100 s.
    const recorded = { exposureTime: 1 / 800, fNumber: 8, iso: 100, bias: -3 };
    const asked = {
      offset: sixths(-18),
      compensation: sixths(-18),
      step: sixths(6),
      baseTv: null,
      longestTv: -5,
      fNumber: 8,
      iso: 100,
    };
    const tvOf800 = recordedTv(1 / 800) ?? 0;
    expect(judgeMetered(recorded, { ...asked, shortestTv: tvOf800 }).right).toBe(false);
    expect(judgeMetered(recorded, { ...asked, shortestTv: null }).right).toBe(true);
  });
});

describe('recognition by what is offered', () => {
  const choice = (name: string, choices: string[]): Setting => ({
    name,
    kind: 'choice',
    value: choices[0] ?? '',
    choices,
  });
  const tree = (...settings: Setting[]) => new Map(settings.map((setting) => [setting.name, setting]));
  const shutter = choice('shutterspeed', ['1/60', '1/125']);

  it('amount where the bracket has amounts, none where there is only a shutter', () => {
    expect(recogniseDialect(tree(shutter, choice('aeb', ['off', '+/- 1']))).name).toBe('amount');
    expect(recogniseDialect(tree(shutter, choice('aeb', ['off']))).name).toBe('none');
    expect(recogniseDialect(tree(shutter)).name).toBe('none');
  });

  it('a body whose shutter cannot be set is explained', () => {
    expect(() => recogniseDialect(tree())).toThrow(/mode dial/);
    expect(() => recogniseDialect(tree(choice('shutterspeed', [])))).toThrow(/mode dial/);
  });
});
