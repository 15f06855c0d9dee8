// Frames beyond the longest label: which bodies offer them, what is planned with them, and what a file must record. Powers of two by hand.
import { describe, expect, it } from 'vitest';
import type { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import { recogniseDialect } from '../../src/camera/dialects/index.js';
import type { ApartLimits, LinkLimits, Setting, Settings } from '../../src/camera/index.js';
import { withApart } from '../../src/camera/profile.js';
import { Shutter } from '../../src/camera/shutter.js';
import {
  type BodyLimits,
  bulbSettings,
  labelledShutters,
  SHUTTER_SCALES,
  type ShutterSetting,
} from '../../src/exposure/index.js';
import { judge } from '../../src/frames/index.js';
import {
  fromWirePlan,
  limitsFromStated,
  planWritten,
  resolveBase,
  STATED_DEFAULTS,
  toWirePlan,
} from '../../src/plan/index.js';
import { slowestBaseThatFits } from '../../src/series/schedule/fits.js';
import { endsOf } from '../../src/set/judge/judgements.js';

const UP_TO_8000 = SHUTTER_SCALES.third.filter(({ tv }) => tv <= 78);
const HELD = bulbSettings(UP_TO_8000, 'bulb', 900);

describe('the times that are held', () => {
  it('go on in thirds from the longest label to a quarter of an hour, and say what they are', () => {
    expect(HELD.map(({ label }) => label)).toEqual(
      '813 645 512 406 323 256 203 161 128 102 81 64 51 40'.split(' '),
    );
    expect(HELD.map(({ tv }) => tv)).toEqual([
      -58, -56, -54, -52, -50, -48, -46, -44, -42, -40, -38, -36, -34, -32,
    ]);
    expect(HELD[2]?.seconds).toBe(512);
    const held = bulbSettings(UP_TO_8000, 'bulb', 900);
    expect(held.every(({ wire, bulb, settable }) => wire === 'bulb' && bulb === true && settable)).toBe(true);
  });

  it('are halves on a body that is set to halves', () => {
    expect(bulbSettings(SHUTTER_SCALES.half, 'Bulb', 130).map(({ tv }) => tv)).toEqual([-42, -39, -36, -33]);
  });

  it('are thirds and halves on a body that has both', () => {
    const both = [...SHUTTER_SCALES.third, ...SHUTTER_SCALES.half.filter(({ tv }) => tv % 2 !== 0)];
    expect(bulbSettings(both, 'bulb', 64).map(({ tv }) => tv)).toEqual([-36, -34, -33, -32]);
  });

  it('are thirds on a body of which only whole stops are known', () => {
    expect(bulbSettings(SHUTTER_SCALES.full, 'bulb', 64).map(({ tv }) => tv)).toEqual([-36, -34, -32]);
  });

  it('are none if the body has no labels', () => {
    expect(bulbSettings([], 'bulb', 900)).toEqual([]);
  });
});

const choice = (name: string, choices: readonly string[]): Setting => ({
  ...{ name, kind: 'choice', value: choices[0] ?? '', choices },
});
const toggle = (name: string): Setting => ({ name, kind: 'toggle', value: 'off' });
const APART: ApartLimits = { library: 'a library', pieceBytes: 1, headBytes: 1, bytesPerSecond: 1 };
const LINK: LinkLimits = {
  ...{ longestSeconds: 900, secondsPerChange: 0, secondsPerSetting: 0, secondsPerFrame: 0, apart: APART },
};
const TIMES = ['30', '15', '1', '1/2', '1/60'];
const A = [choice('aeb', ['off', '+/- 1']), choice('shutterspeed', ['bulb', ...TIMES]), toggle('bulb')];
const B = [
  choice('bracketing', ['On', 'Off']),
  choice('aebracketingstep', ['1 EV']),
  choice('aebracketingpattern', ['3 images (normal, under and over)']),
  choice('shutterspeed', ['Bulb', '30.0000s', '15.0000s', '1.0000s']),
  toggle('bulb'),
];
const C = [
  choice('capturemode', ['Single Shot', 'Bracketing S 1.0 Steps 3 Pictures']),
  choice('shutterspeed', [...TIMES, 'Bulb']),
  toggle('bulb'),
];

function offered(settings: readonly Setting[]): { wire: string; longest: number } | null {
  const tree: Settings = new Map(settings.map((setting) => [setting.name, setting]));
  const dialect = recogniseDialect(tree);
  const apart = withApart({
    ...{ limits: dialect.limits(tree, LINK), known: null, dialect, settings: tree, link: LINK.apart },
  });
  const [first] = apart?.limits.shutters ?? [];
  return first?.bulb === true ? { wire: first.wire, longest: Math.round(first.seconds) } : null;
}

describe('a body has them', () => {
  it.each([
    ['A', A, 'bulb'],
    ['B', B, 'Bulb'],
    ['B with exact times', [...B, choice('shutterspeed2', ['Bulb', ...TIMES])], 'Bulb'],
    ['C', C, 'Bulb'],
  ] as const)('%s, where it offers both the label and the switch', (_, settings, wire) => {
    expect(offered(settings)).toEqual({ wire, longest: 813 });
    const without = settings.filter(({ kind }) => kind !== 'toggle');
    expect(offered(without)).toBe(null);
    const noLabel = settings.map((setting) => ({
      ...setting,
      ...(setting.choices && { choices: setting.choices.filter((label) => !/bulb/i.test(label)) }),
    }));
    expect(offered(noLabel)).toBe(null);
  });

  it('not where the list of its times is the library’s', () => {
    const settings = C.map((setting) =>
      setting.name === 'shutterspeed' ? choice('shutterspeed', [...TIMES, '1/32000', 'Bulb']) : setting,
    );
    expect(offered(settings)).toBe(null);
  });

  it('not without a bracket that can be reached', () => {
    expect(offered([choice('shutterspeed', ['bulb', ...TIMES]), toggle('bulb')])).toBe(null);
  });
});

const STATED = limitsFromStated(STATED_DEFAULTS);
const LIMITS: BodyLimits = {
  ...STATED,
  shutters: [...HELD, ...UP_TO_8000],
  longestSeconds: 900,
  secondsPerChange: 0.25,
  apart: {
    secondsBeforeExposure: 0.125,
    secondsAfterExposure: 0.5,
    secondsPerTransfer: 2,
    secondsPerPiece: 0.5,
    mostInOneGo: null,
  },
};
const offsets = (from: number, to: number) =>
  Array.from({ length: to - from + 1 }, (_, index) => sixths((from + index) * 6));
const plan = (base: string, from: number, to: number, limits = LIMITS, conditions = {}) =>
  planWritten({ base, offsets: offsets(from, to), step: sixths(6), mode: 'manual' }, limits, conditions);

function refusal(work: () => unknown): EvenrungError {
  try {
    work();
  } catch (cause) {
    return cause as EvenrungError;
  }
  throw new Error('Nothing was refused.');
}

describe('a plan', () => {
  it('has them as passes of one frame, whatever bracket would reach them', () => {
    // From 1/2 s to 512 s.
    const { passes } = plan('15', -5, 5);
    const held = passes.filter(({ frames }) => frames.some(({ shutter }) => shutter.bulb));
    expect(held.map(({ centreShutter }) => centreShutter.label)).toEqual(['64', '128', '256', '512']);
    expect(held.every(({ shape, frames }) => shape === null && frames.length === 1)).toBe(true);
    expect(passes.some(({ shape }) => shape !== null)).toBe(true);
  });

  it('counts their exposures, one change for all of them, and a cable that is free before', () => {
    const { estimate, passes } = plan('30', 1, 3, LIMITS, { standingTv: sixths(-30) });
    expect(passes).toHaveLength(3);
    // The change to bulb, three times 1/8 and 1/2 s, two transfers before the next exposure and one at the end, and the way back.
    expect(estimate.seconds).toBe(0.25 + 64 + 128 + 256 + 3 * 0.625 + 3 * 2 + 0.25);
  });

  it('counts the dark frame of each', () => {
    const dark = plan('30', 1, 3, LIMITS, { noiseReduction: true, standingTv: sixths(-30) });
    const plain = plan('30', 1, 3, LIMITS, { standingTv: sixths(-30) });
    expect(dark.estimate.seconds - plain.estimate.seconds).toBe(64 + 128 + 256);
    const codes = dark.warnings.map(({ code }) => code);
    expect(codes).toContain('noise-reduction');
    // They are waited for.
    expect(codes).not.toContain('noise-reduction-outlasts-link');
  });

  it('says that they are held, and for how long', () => {
    expect(plan('30', 0, 0).warnings.map(({ code }) => code)).not.toContain('bulb');
    const { warnings } = plan('30', 1, 3);
    expect(warnings.find(({ code }) => code === 'bulb')?.message).toMatch(
      /^3 frames longer than the camera's own times: .* for up to 4 min 16 s\./,
    );
  });

  it('ends at a quarter of an hour', () => {
    expect(() => plan('25', 0, 5)).not.toThrow();
    const refused = refusal(() => plan('25', 0, 6));
    expect(refused.code).toBe('outside-shutter-range');
    expect(refused.message).toContain("outside this camera's 813 s to 1/8000 s");
    expect(refused.details.offsets).toEqual([6]);
  });

  it('comes back from what was stored with the settings of the body', () => {
    const made = plan('15', -5, 5);
    const again = fromWirePlan(toWirePlan(made), { step: sixths(6), mode: 'manual' }, LIMITS);
    expect(again.passes).toEqual(made.passes);
    // A link that cannot hold says so.
    const labelled = { ...LIMITS, shutters: labelledShutters(LIMITS) };
    expect(
      refusal(() => fromWirePlan(toWirePlan(made), { step: sixths(6), mode: 'manual' }, labelled)).code,
    ).toBe('base-not-offered');
  });
});

describe('a base', () => {
  it('has a label of the camera', () => {
    expect(resolveBase('30', LIMITS).bulb).toBeUndefined();
    const refused = refusal(() => plan('60', 0, 2));
    expect(refused.code).toBe('base-not-offered');
    expect(refused.message).toBe(
      'This camera has no 60 s for the base exposure: its shutter times are 30 s to 1/8000 s. Longer times, up to 813 s, are for frames brighter than the base exposure.',
    );
  });

  it('that follows the light has one, too', () => {
    const request = {
      base: resolveBase('1', LIMITS),
      offsets: offsets(0, 0),
      step: sixths(6),
      mode: 'manual',
    } as const;
    expect(slowestBaseThatFits({ request, limits: LIMITS, everySeconds: 3600 })?.label).toBe('30');
  });
});

it('what the body meters by itself ends at its labels', () => {
  expect(endsOf(LIMITS)).toEqual({ longestTv: -5, shortestTv: 13 });
});

describe('what a file records of a time that was held', () => {
  const right = (seconds: number | null, of: ShutterSetting | undefined) => {
    if (of === undefined) throw new Error('There is no such setting.');
    const verdict = judge(
      { exposureTime: seconds, fNumber: null, iso: null },
      { shutter: of, fNumber: null, iso: null },
    );
    return verdict.right;
  };
  const of = (label: string) => HELD.find((setting) => setting.label === label);

  it.each([
    // 2 %, and half a second more of a body that writes whole seconds.
    ['64', 64, true],
    ['64', 65.2, true],
    ['64', 62.8, true],
    ['64', 65.4, false],
    ['64', 62.6, false],
    ['64', 60, false],
    ['40', 40, true],
    ['40', 41, true],
    ['40', 41.2, false],
    // 50.8 s: 1.2 s off as a whole second, and no less with a part of one.
    ['51', 52, true],
    ['51', 52.05, false],
    ['813', 820, true],
    ['813', 840, false],
    ['813', null, false],
  ])('%s s: %s s is right: %s', (label, seconds, isRight) => {
    expect(right(seconds, of(label))).toBe(isRight);
  });

  it('is a fifth of a second off at least, and never what the label next to it stands for', () => {
    const second = bulbSettings(
      SHUTTER_SCALES.third.filter(({ tv }) => tv >= 0),
      'bulb',
      900,
    );
    const two = second.find(({ tv }) => tv === -6);
    expect([1.81, 2.19, 1.79, 2.21].map((seconds) => right(seconds, two))).toEqual([
      true,
      true,
      false,
      false,
    ]);
    for (const [index, setting] of second.entries()) {
      const longer = second[index - 1];
      if (longer !== undefined)
        expect([setting.label, right(longer.seconds, setting)]).toEqual([setting.label, false]);
    }
  });
});

it('a shutter that holds nothing has nothing to cut short', async () => {
  const never = () => Promise.reject(new Error('Nobody asks.'));
  const link = { press: never, unpress: never, listen: never, bring: never, list: never };
  expect(await new Shutter(link, APART).cutShort()).toBe(false);
});
