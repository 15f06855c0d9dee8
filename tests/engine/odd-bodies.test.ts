// Settings trees that no body should have: whatever a body says, it is explained or left aside, and nothing breaks.

import { describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { PROFILE_VERSION } from '../../shared/profile.js';
import { Body, type Link, type Setting } from '../../src/camera/index.js';
import { AT_ONCE, PRACTICE_SHAPES, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { planSet, resolveBase } from '../../src/plan/index.js';
import { ASKED } from '../asked.js';
import { PACED, pace } from '../pace.js';
import fc from '../seeded.js';

const choice = (name: string, choices: readonly string[], value = choices[0] ?? ''): Setting => ({
  name,
  kind: 'choice',
  value,
  choices,
});

const TIMES = ['30', '15', '8', '4', '2', '1', '1/2', '1/4', '1/8', '1/15', '1/30', '1/60', '1/125', '1/250'];

/** A link to a body that tells just these settings. */
function linkTo(settings: readonly Setting[]): Link {
  return {
    identify: async () => ({ link: 'usb', model: 'Odd body', serial: '1' }),
    readLimits: async () => ({
      longestSeconds: 30,
      secondsPerChange: 0.4,
      secondsPerSetting: 0,
      secondsPerFrame: 2,
      apart: null,
    }),
    readSettings: async () => new Map(settings.map((setting) => [setting.name, setting])),
    changeSetting: async (name) => choice(name, []),
    fire: async () => {
      throw new Error('Nothing is fired here.');
    },
    letGo: async () => undefined,
  };
}

describe('a tree from which no exposure can be set is explained', () => {
  it.each([
    ['nothing at all', []],
    ['no shutter', [choice('iso', ['100'])]],
    ['a shutter with an empty list', [choice('shutterspeed', [])]],
    ['a shutter that is no choice', [{ name: 'shutterspeed', kind: 'text', value: '1/60' } as const]],
    ['labels that are no times', [choice('shutterspeed', ['auto', 'bulb', '\ufffd\ufffd', ''])]],
    ['a shutter under another name', [choice('verschlusszeit', TIMES)]],
    ['a player of music', [choice('battery', ['full']), choice('volume', ['1', '2', '3'])]],
  ])('%s', async (_, settings) => {
    await expect(Body.meet(linkTo(settings))).rejects.toMatchObject({
      code: 'body-not-ready',
      message: expect.stringMatching(/shutter/),
    });
  });
});

describe('a bracket that is not understood is left aside: frame by frame', () => {
  it.each([
    ['renamed', [choice('autobracket', ['off', '+/- 1'])]],
    ['empty', [choice('aeb', [])]],
    ['other words', [choice('aeb', ['aus', '1 Blende'])]],
    ['not UTF-8', [choice('aeb', ['off', '+/\ufffd 1'])]],
    ['only switched', [choice('bracketing', ['On', 'Off'])]],
    ['on without off', [choice('bracketing', ['On']), choice('aebracketingstep', ['1 EV'])]],
    [
      'a drive that brackets at one press only',
      [choice('capturemode', ['Single Shot', 'Bracketing C 1.0 Steps 3 Pictures'])],
    ],
  ])('%s', async (_, settings) => {
    const body = await Body.meet(linkTo([choice('shutterspeed', TIMES, '1/60'), ...settings]));
    expect(body.limits.brackets).toEqual([]);
    expect(body.view(ASKED).dialect).toBe('none');
    const plan = planSet(
      {
        offsets: [-6, 0, 6].map(sixths),
        step: sixths(6),
        mode: 'manual',
        base: resolveBase('1/60', body.limits),
      },
      body.limits,
    );
    expect(plan.passes).toHaveLength(3);
  });
});

describe('enormous lists', () => {
  it.each([
    [
      'shutter times',
      [
        choice(
          'shutterspeed',
          Array.from({ length: 100_000 }, (_, k) => TIMES[k % 14] ?? '1'),
        ),
      ],
    ],
    [
      'bracket amounts',
      [
        choice('shutterspeed', TIMES),
        choice(
          'aeb',
          Array.from({ length: 50_000 }, (_, k) => `+/- ${(k % 9) + 1}`),
        ),
      ],
    ],
    [
      'patterns and steps',
      [
        choice('shutterspeed', TIMES),
        choice('bracketing', ['On', 'Off']),
        choice(
          'aebracketingstep',
          Array.from({ length: 3000 }, () => '1 EV'),
        ),
        choice(
          'aebracketingpattern',
          Array.from({ length: 3000 }, () => '3 images (normal, under and over)'),
        ),
      ],
    ],
    [
      'drive entries',
      [
        choice('shutterspeed', TIMES),
        choice('capturemode', [
          'Single Shot',
          ...Array.from({ length: 50_000 }, () => 'Bracketing S 1.0 Steps 3 Pictures'),
        ]),
      ],
    ],
    [
      'anything else',
      [
        choice('shutterspeed', TIMES),
        choice(
          'iso',
          Array.from({ length: 100_000 }, (_, k) => `${k}`),
        ),
      ],
    ],
  ])('%s: met within two seconds, planned, and told in few words', PACED, async (name, settings) => {
    const started = performance.now();
    const body = await Body.meet(linkTo(settings));
    const view = body.view(ASKED);
    pace(`met: ${name}`, performance.now() - started, 'ms', 2000);
    expect(JSON.stringify(view).length).toBeLessThan(20_000);
    expect(
      planSet(
        {
          offsets: [-6, 0, 6].map(sixths),
          step: sixths(6),
          mode: 'manual',
          base: resolveBase('1/30', body.limits),
        },
        body.limits,
      ).passes.length,
    ).toBeGreaterThan(0);
  });
});

describe('a profile that contradicts the wire', () => {
  const profile = { version: PROFILE_VERSION, model: 'Practice body', serial: null } as const;

  it('a bracket of frames that are not offered: said, and not planned', async () => {
    const body = await Body.meet(new PracticeLink(new PracticeBody({ shape: 'drive-entry', ...AT_ONCE })), {
      profile: async () => ({ ...profile, patterns: [[0, -1, 1, -2, 2, -3, 3]] }),
    });
    expect(body.contradictions).toEqual([expect.stringMatching(/bracket of 7 frames .* does not offer/)]);
    expect(body.limits.brackets.some(({ pattern }) => pattern.length === 7)).toBe(false);
  });

  it('a bracket on a body that has none: said', async () => {
    const body = await Body.meet(new PracticeLink(new PracticeBody({ shape: 'none', ...AT_ONCE })), {
      profile: async () => ({ ...profile, patterns: [[0, -1, 1]] }),
    });
    expect(body.limits.brackets).toEqual([]);
    expect(body.contradictions).toHaveLength(1);
  });

  it('on dialect A the profile has the word, and timings count everywhere', async () => {
    const timing = { secondsPerChange: 0.5, secondsPerSetting: 0.25, secondsPerFrame: 3 };
    const body = await Body.meet(new PracticeLink(new PracticeBody(AT_ONCE)), {
      profile: async () => ({
        ...profile,
        timing,
        patterns: [
          [0, -1],
          [0, -1, 1, -2, 2],
        ],
      }),
    });
    // Nothing over the wire chooses between the two.
    expect(new Set(body.limits.brackets.map(({ pattern }) => pattern.length))).toEqual(new Set([2]));
    expect(body.limits).toMatchObject(timing);
    expect(body.contradictions).toEqual([expect.stringMatching(/several brackets/)]);
  });
});

it('whatever the labels are, a body is met or refused with a sentence', async () => {
  const names = [
    'shutterspeed',
    'shutterspeed2',
    'aeb',
    'bracketing',
    'aebracketingstep',
    'aebracketingpattern',
  ];
  const more = [
    'bracketorder',
    'capturemode',
    'drivemode',
    'iso',
    'f-number',
    'exposurecompensation',
    'datetime',
  ];
  const real = await Promise.all(
    PRACTICE_SHAPES.map((shape) => new PracticeLink(new PracticeBody({ shape, ...AT_ONCE })).readSettings()),
  );
  const labels = real.flatMap((settings) =>
    [...settings.values()].flatMap(({ choices = [] }) => [...choices]),
  );
  const label = fc.oneof(fc.constantFrom(...labels), fc.string({ unit: 'binary', maxLength: 12 }));
  const setting = fc.record({
    name: fc.constantFrom(...names, ...more),
    kind: fc.constantFrom('choice', 'text', 'range', 'toggle', 'date'),
    value: label,
    choices: fc.array(label, { maxLength: 20 }),
  });
  await fc.assert(
    fc.asyncProperty(fc.array(setting, { maxLength: 12 }), async (settings) => {
      try {
        const body = await Body.meet(linkTo(settings as Setting[]));
        body.view(ASKED);
      } catch (cause) {
        expect(cause).toMatchObject({ code: 'body-not-ready', message: expect.stringMatching(/\.$/) });
      }
    }),
    { seed: 20_261_125, numRuns: 2000 },
  );
});
