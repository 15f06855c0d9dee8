import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { planSchema } from '../../shared/plan.js';
import { parseSetRequest } from '../../shared/request.js';
import type { BodyLimits } from '../../src/exposure/index.js';
import {
  limitsFromStated,
  meteredFirst,
  type Plan,
  planSet,
  resolveBase,
  STATED_DEFAULTS,
  type StatedLimits,
  toWirePlan,
} from '../../src/plan/index.js';

const limits = (stated: Partial<StatedLimits> = {}): BodyLimits =>
  limitsFromStated({ ...STATED_DEFAULTS, ...stated });

function plan(written: Record<string, unknown>, body: BodyLimits = limits()): Plan {
  const { offsets, step, base, mode } = parseSetRequest(written);
  return planSet({ offsets, step, mode, base: resolveBase(base, body) }, body);
}

const centres = (made: Plan) => toWirePlan(made).passes.map((pass) => pass.centre);
const sizes = (made: Plan) => made.passes.map((pass) => pass.frames.length);

/** @returns the error's code, and its sentence behind it */
function refusal(work: () => unknown): { code: string; message: string; details: Record<string, unknown> } {
  try {
    work();
  } catch (cause) {
    if (cause instanceof EvenrungError)
      return { code: cause.code, message: cause.message, details: cause.details };
    throw cause;
  }
  throw new Error('Nothing was refused.');
}

describe('nine frames from a three-frame body (common practice)', () => {
  const made = toWirePlan(plan({ frames: 9, step: 1 }));

  it('are three passes centred on -3, 0 and +3 EV', () => {
    expect(made.passes.map((pass) => [pass.centre, pass.step])).toEqual([
      [-3, 1],
      [0, 1],
      [3, 1],
    ]);
    expect(made.passes.map((pass) => pass.offsets)).toEqual([
      [-4, -3, -2],
      [-1, 0, 1],
      [2, 3, 4],
    ]);
    expect(made.offsets).toEqual([-4, -3, -2, -1, 0, 1, 2, 3, 4]);
  });

  it('have exact times and nominal labels', () => {
    const frames = made.passes.flatMap((pass) => pass.frames).sort((a, b) => a.offset - b.offset);
    expect(frames.map((frame) => frame.shutter)).toEqual([
      '1/1000',
      '1/500',
      '1/250',
      '1/125',
      '1/60',
      '1/30',
      '1/15',
      '1/8',
      '1/4',
    ]);
    expect(frames.map((frame) => frame.exposureTime)).toEqual(
      [10, 9, 8, 7, 6, 5, 4, 3, 2].map((tv) => 2 ** -tv),
    );
  });

  it('fit the schema of the wire', () => {
    expect(planSchema.parse(made)).toEqual(made);
  });

  it('are estimated as exposures, overhead and changes', () => {
    // Three centres, bracket on, bracket off: five changes of 0.3 s; nine frames of 0.5 s beside their exposure.
    const exposures = [10, 9, 8, 7, 6, 5, 4, 3, 2].reduce((sum, tv) => sum + 2 ** -tv, 0);
    expect(made.estimate.seconds).toBeCloseTo(exposures + 9 * 0.5 + 5 * 0.3, 3);
  });
});

describe('counts that do not divide', () => {
  it.each([
    [1, [1]],
    [2, [1, 1]],
    [3, [3]],
    [4, [3, 1]],
    [5, [3, 1, 1]],
    [7, [3, 3, 1]],
    [8, [3, 3, 1, 1]],
  ])('%s frames from three: passes of %s, nothing fired twice', (frames, expected) => {
    expect(sizes(plan({ frames, step: 1 }))).toEqual(expected);
  });

  it('an even count has its extra frame on the lighter side', () => {
    expect(toWirePlan(plan({ frames: 4, step: 1 })).offsets).toEqual([-1, 0, 1, 2]);
  });

  it.each([
    ['3,5', 8, [5, 3]],
    ['3,5,7', 9, [3, 3, 3]],
    ['5', 9, [5, 1, 1, 1, 1]],
    ['2,3', 5, [3, 2]],
    ['9', 9, [9]],
    ['3,5,7', 12, [7, 5]],
  ])('with brackets of %s, %s frames are passes of %s', (maxFrames, frames, expected) => {
    expect(sizes(plan({ frames, step: 1 }, limits({ maxFrames })))).toEqual(expected);
  });

  it('single frames where the body has no auto-bracket, or none at this step', () => {
    for (const body of [limits({ maxFrames: '1' }), limits({ bodySteps: '2' })]) {
      const made = plan({ frames: 5, step: 1 }, body);
      expect(sizes(made)).toEqual([1, 1, 1, 1, 1]);
      expect(toWirePlan(made).passes.every((pass) => pass.step === 0)).toBe(true);
      expect(made.warnings.map((warning) => warning.code)).toEqual(['single-frames']);
    }
  });
});

describe('spellings and defaults', () => {
  it('from, to and step; fractions and decimals', () => {
    expect(centres(plan({ from: '-4', to: '4', step: '1' }))).toEqual([-3, 0, 3]);
    for (const step of ['2/3', '0.67', '0.7', 2 / 3]) {
      expect(toWirePlan(plan({ from: '-1 1/3', to: '4/3', step })).offsets).toEqual([
        -4 / 3,
        -2 / 3,
        0,
        2 / 3,
        4 / 3,
      ]);
    }
  });

  it('half steps on a body that is set to halves', () => {
    const made = toWirePlan(plan({ frames: 3, step: 0.5, base: '1/60' }, limits({ bodySteps: '1/2' })));
    expect(made.passes[0]?.frames.map((frame) => frame.shutter)).toEqual(['1/60', '1/90', '1/45']);
  });

  it.each(['1/60', '0.0156', '1/64', '0.0167s'])('a base of %s is 1/60', (base) => {
    expect(toWirePlan(plan({ frames: 3, step: 1, base })).base).toEqual({
      shutter: '1/60',
      exposureTime: 1 / 64,
    });
  });

  it('the metered frame comes first, then darker and lighter in turn', () => {
    expect([2, 3, 5, 7].map(meteredFirst)).toEqual([
      [0, 1],
      [0, -1, 1],
      [0, -1, 1, -2, 2],
      [0, -1, 1, -2, 2, -3, 3],
    ]);
  });
});

describe('what cannot be made is refused with a code and a sentence', () => {
  it.each([
    [{ frames: 0, step: 1 }, 'frames-out-of-range'],
    [{ frames: -9, step: 1 }, 'frames-out-of-range'],
    [{ frames: 2.5, step: 1 }, 'frames-out-of-range'],
    [{ frames: 10_000, step: 1 }, 'frames-out-of-range'],
    [{ frames: Number.NaN, step: 1 }, 'malformed-request'],
    [{ frames: '9', step: 1 }, 'malformed-request'],
    [{ frames: 9 }, 'malformed-request'],
    [{ step: 1 }, 'malformed-request'],
    [{ frames: 9, from: -4, to: 4, step: 1 }, 'malformed-request'],
    [{ from: -4, step: 1 }, 'malformed-request'],
    [{ frames: 9, step: 1, into: '/somewhere' }, 'malformed-request'],
    [null, 'malformed-request'],
    ['nine', 'malformed-request'],
    [{ frames: 9, step: 0 }, 'step-out-of-range'],
    [{ frames: 9, step: -1 }, 'step-out-of-range'],
    [{ frames: 9, step: 4 }, 'step-out-of-range'],
    [{ frames: 9, step: 'one' }, 'unreadable-ev'],
    [{ frames: 9, step: 0.4 }, 'unreadable-ev'],
    [{ frames: 9, step: Number.POSITIVE_INFINITY }, 'malformed-request'],
    [{ frames: 3, step: 0.5 }, 'step-not-offered'],
    [{ from: 4, to: -4, step: 1 }, 'range-reversed'],
    [{ from: -4, to: 4, step: 3 }, 'span-not-whole-steps'],
    [{ from: -20, to: 20, step: '1/3' }, 'frames-out-of-range'],
    [{ frames: 9, step: 1, base: 'soon' }, 'unreadable-shutter'],
    [{ frames: 9, step: 1, base: '0' }, 'unreadable-shutter'],
    [{ frames: 9, step: 1, base: 'bulb' }, 'base-not-offered'],
    [{ frames: 9, step: 1, base: '1/90000' }, 'base-not-offered'],
    [{ frames: 9, step: 1, base: '15' }, 'outside-shutter-range'],
    [{ frames: 9, step: 1, mode: 'magic' }, 'malformed-request'],
  ])('%j: %s', (written, code) => {
    const refused = refusal(() => plan(written as Record<string, unknown>));
    expect(refused.code).toBe(code);
    expect(refused.message).toMatch(/^[^\n]{10,240}[.]$/);
  });

  it.each([
    [{ maxFrames: '4' }, 'limits-contradict'],
    [{ maxFrames: 'three' }, 'limits-contradict'],
    [{ bodySteps: '0' }, 'limits-contradict'],
    [{ bodySteps: 'x' }, 'unreadable-ev'],
    [{ compRange: '-3' }, 'limits-contradict'],
    [{ shutterRange: '1/8000..30' }, 'limits-contradict'],
    [{ shutterRange: '30' }, 'unreadable-shutter'],
    [{ shutterRange: 'long..short' }, 'unreadable-shutter'],
  ])('limits %j: %s', (stated, code) => {
    expect(refusal(() => limits(stated)).code).toBe(code);
  });

  it('names the frames, and the bases that would fit', () => {
    const refused = refusal(() => plan({ frames: 9, step: 1, base: '1/4000' }));
    expect(refused.details.offsets).toEqual([-4, -3, -2]);
    expect(refused.message).toContain('-4, -3 and -2 EV');
    expect(refused.message).toContain('A base from 2 to 1/500 would fit.');
    for (const base of ['2', '1/500']) expect(plan({ frames: 9, step: 1, base }).passes).toHaveLength(3);
    expect(refusal(() => plan({ frames: 9, step: 1, base: '2.5' })).code).toBe('outside-shutter-range');
    expect(refusal(() => plan({ frames: 9, step: 1, base: '1/640' })).code).toBe('outside-shutter-range');
  });

  it('the longest exposure of the link', () => {
    const body = { ...limits(), longestSeconds: 10 };
    expect(refusal(() => plan({ frames: 9, step: 1, base: '1' }, body))).toMatchObject({
      code: 'longer-than-link',
      details: { offsets: [4] },
    });
  });

  it('in aperture priority, centres beyond the compensation', () => {
    expect(centres(plan({ frames: 9, step: 1, mode: 'aperture' }))).toEqual([-3, 0, 3]);
    expect(refusal(() => plan({ frames: 11, step: 1, mode: 'aperture' })).code).toBe(
      'outside-compensation-range',
    );
    expect(
      refusal(() => plan({ frames: 9, step: 1, mode: 'aperture' }, limits({ compRange: '2' }))).code,
    ).toBe('outside-compensation-range');
  });

  it('a setting that cannot be set by its label is no centre, but may come up within a pass', () => {
    const all = limits();
    const body = {
      ...all,
      shutters: all.shutters.map((setting) => ({ ...setting, settable: setting.label !== '1/60' })),
    };
    expect(sizes(plan({ from: -2, to: 0, step: 1, base: '1/60' }, body))).toEqual([3]);
    expect(
      plan({ from: -2, to: 1, step: 1, base: '1/60' }, body).passes.map((pass) => pass.centreShutter.label),
    ).not.toContain('1/60');
  });
});

describe('any request within the limits', () => {
  const requests = fc.record({
    step: fc.constantFrom(2, 4, 6, 8, 12),
    frames: fc.integer({ min: 1, max: 30 }),
    darkest: fc.integer({ min: -30, max: 10 }).map((half) => half * 2),
    maxFrames: fc.constantFrom('1', '2', '3', '5', '3,5', '3,5,7,9', '2,3'),
    baseTv: fc.integer({ min: -10, max: 38 }).map((third) => third * 2),
  });

  it('is covered once each, within the limits, never by more passes than single frames', () => {
    fc.assert(
      fc.property(requests, ({ step, frames, darkest, maxFrames, baseTv }) => {
        const body = limits({ maxFrames });
        const base = body.shutters.find((setting) => setting.tv === baseTv);
        const offsets = Array.from({ length: frames }, (_, index) => darkest + index * step);
        fc.pre(base !== undefined);
        if (base === undefined) return;
        const possible = offsets.every((offset) =>
          body.shutters.some((setting) => setting.tv === baseTv - offset),
        );
        const request = { offsets, step, base, mode: 'manual' as const };
        if (!possible) {
          expect(refusal(() => planSet(request, body)).code).toBe('outside-shutter-range');
          return;
        }
        const made = planSet(request, body);
        const fired = made.passes.flatMap((pass) => pass.frames.map((frame) => frame.offset));
        expect([...fired].sort((a, b) => a - b)).toEqual(offsets);
        expect(made.passes.length).toBeLessThanOrEqual(frames);
        for (const pass of made.passes) {
          expect(pass.centreShutter.tv).toBe(baseTv - pass.centre);
          for (const frame of pass.frames) expect(frame.shutter.tv).toBe(baseTv - frame.offset);
        }
        expect(planSet(request, body)).toEqual(made);
      }),
      { seed: 20261125, numRuns: 300 },
    );
  });
});
