import { describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import { planSchema, type Suggestion, suggestionSchema } from '../../shared/plan.js';

import { type BodyLimits, isSameShape, SHUTTER_SCALES, timeAt } from '../../src/exposure/index.js';
import {
  type Conditions,
  fromWirePlan,
  limitsFromStated,
  meteredFirst,
  type Plan,
  type PlanRequest,
  planSet,
  planWritten,
  resolveBase,
  STATED_DEFAULTS,
  type StatedLimits,
  toWirePlan,
} from '../../src/plan/index.js';
import { parseFramed } from '../framed.js';
import { PACED, pace } from '../pace.js';
import fc from '../seeded.js';

const limits = (stated: Partial<StatedLimits> = {}): BodyLimits =>
  limitsFromStated({ ...STATED_DEFAULTS, ...stated });

function plan(written: Record<string, unknown>, body: BodyLimits = limits()): Plan {
  const { offsets, step, base, mode, conditions } = parseFramed(written);
  return planSet({ offsets, step, mode, base: resolveBase(base, body) }, body, conditions);
}

const centres = (made: Plan) => toWirePlan(made).passes.map((pass) => pass.centre);
const sizes = (made: Plan) => made.passes.map((pass) => pass.frames.length);

const suggestions = (refused: { details: Record<string, unknown> }): Suggestion[] =>
  suggestionSchema.array().parse(refused.details.suggestions);

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
    // Bracket on, three centres, bracket off, shutter back: six changes of 0.3 s; nine frames of 0.5 s beside their exposure.
    const exposures = [10, 9, 8, 7, 6, 5, 4, 3, 2].reduce((sum, tv) => sum + 2 ** -tv, 0);
    expect(made.estimate.seconds).toBeCloseTo(exposures + 9 * 0.5 + 6 * 0.3, 3);
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
    ['3,5', 8, [3, 5]],
    ['3,5,7', 9, [3, 3, 3]],
    ['5', 9, [5, 5]],
    ['2,3', 5, [2, 3]],
    ['9', 9, [9]],
    ['3,5,7', 12, [5, 7]],
  ])('with brackets of %s, %s frames are passes of %s', (maxFrames, frames, expected) => {
    expect(sizes(plan({ frames, step: 1 }, limits({ maxFrames })))).toEqual(expected);
  });

  it('single frames where the body has no auto-bracket', () => {
    const made = plan({ frames: 5, step: 1 }, limits({ maxFrames: '1' }));
    expect(sizes(made)).toEqual([1, 1, 1, 1, 1]);
    expect(toWirePlan(made).passes.every((pass) => pass.step === 0)).toBe(true);
    expect(made.warnings.map((warning) => warning.code)).toEqual(['single-frames']);
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

  it('names the frames, and what would help', () => {
    const refused = refusal(() => plan({ frames: 9, step: 1, base: '1/4000' }));
    expect(refused.details.offsets).toEqual([-4, -3, -2]);
    expect(refused.message).toBe(
      "The frames at −4, −3 and −2 EV would need shutter times outside this camera's 30 s to 1/8000 s.",
    );
    expect(suggestions(refused).map(({ code, change }) => [code, change.base ?? change.from])).toEqual([
      ['base', '1/500'],
      ['filter', '1/500'],
      ['aperture', '1/500'],
      ['iso', '1/500'],
      ['fewer-frames', '-1'],
    ]);
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
    const aperture = { step: 1, mode: 'aperture' };
    expect(centres(plan({ ...aperture, frames: 9 }))).toEqual([-3, 0, 3]);
    expect(refusal(() => plan({ ...aperture, frames: 11 }, limits({ bodySteps: '1' })))).toMatchObject({
      code: 'outside-compensation-range',
      details: { offsets: [-5, 5] },
    });
    // Centres within +-2, yet the brackets reach -4 and +4 at wider steps.
    expect(
      centres(plan({ ...aperture, frames: 9 }, limits({ compRange: '2' }))).every(
        (centre) => Math.abs(centre) <= 2,
      ),
    ).toBe(true);
    expect(
      refusal(() => plan({ ...aperture, frames: 9 }, limits({ compRange: '2', bodySteps: '1' }))).details
        .offsets,
    ).toEqual([-4, 4]);
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

/** Bodies of every kind that the planner meets. */
const BODIES: Readonly<Record<string, BodyLimits>> = {
  'no bracket': limits({ maxFrames: '1' }),
  'three frames': limits(),
  'three and five, whole stops': limits({ maxFrames: '3,5', bodySteps: '1,2,3' }),
  'pairs, nine only up to 1 EV': {
    ...limits(),
    brackets: [2, 4, 6, 12, 18]
      .map(sixths)
      .flatMap((step) =>
        [3, 5, 7, 9]
          .filter((count) => count < 9 || step <= 6)
          .map((count) => ({ step, pattern: meteredFirst(count) })),
      ),
  },
  'two and one-sided': {
    ...limits(),
    brackets: [6, 12].map(sixths).flatMap((step) =>
      [
        [0, 1],
        [0, -1],
        [0, 1, 2],
        [0, -1, -2],
      ].map((pattern) => ({ step, pattern })),
    ),
  },
  'walks step by step': { ...limits(), secondsPerChange: 0.1, secondsPerSetting: 0.05 },
  'slow to change': { ...limits({ maxFrames: '3,5' }), secondsPerChange: 3, secondsPerFrame: 0.2 },
  'short link': { ...limits(), longestSeconds: 2 },
};

const requests = fc.record({
  body: fc.constantFrom(...Object.keys(BODIES)),
  step: fc.constantFrom(2, 4, 6, 8, 12),
  frames: fc.integer({ min: 1, max: 24 }),
  darkest: fc.integer({ min: -30, max: 10 }).map((half) => half * 2),
  baseTv: fc.integer({ min: -10, max: 38 }).map((third) => third * 2),
  mode: fc.constantFrom('manual' as const, 'aperture' as const),
});

/** What a plan costs under the stated model, from its passes. */
function costOf(
  passes: readonly (readonly { readonly seconds: number }[])[],
  body: BodyLimits,
  change: number,
): number {
  const ms = (seconds: number) => Math.round(seconds * 1000);
  return passes.reduce(
    (sum, frames) =>
      sum +
      change +
      frames.reduce((all, { seconds }) => all + ms(body.secondsPerFrame) + Math.max(1, ms(seconds)), 0),
    0,
  );
}

describe('any request within the limits', () => {
  it('is made exactly, within the limits, by the least cost of all: not more than contiguous passes, not more than single frames', () => {
    let planned = 0;
    fc.assert(
      fc.property(requests, ({ body: name, step, frames, darkest, baseTv, mode }) => {
        const body = BODIES[name] ?? limits();
        const base = body.shutters.find((setting) => setting.tv === baseTv);
        if (base === undefined) return;
        const offsets = Array.from({ length: frames }, (_, index) => sixths(darkest + index * step));
        const request = { offsets, step: sixths(step), base, mode };
        let made: Plan;
        try {
          made = planSet(request, body);
        } catch (cause) {
          checkRefusal(cause, request, body);
          return;
        }
        planned += 1;
        const all = made.passes.flatMap((pass) => pass.frames);
        const wanted = all.filter((frame) => frame.wanted).map((frame) => frame.offset);
        expect([...wanted].sort((a, b) => a - b)).toEqual(offsets);
        expect(made.provenLeast).toBe(true);
        for (const pass of made.passes) {
          expect(pass.centreShutter.tv).toBe(baseTv - pass.centre);
          if (mode === 'aperture') expect(Math.abs(pass.centre)).toBeLessThanOrEqual(body.compensation.range);
          for (const frame of pass.frames) {
            expect(frame.shutter.tv).toBe(baseTv - frame.offset);
            // In aperture priority the camera chooses the time.
            if (mode === 'aperture') continue;
            expect(body.shutters).toContain(frame.shutter);
            expect(frame.shutter.seconds).toBeLessThanOrEqual(body.longestSeconds);
          }
          const shape = pass.shape;
          if (shape !== null) expect(body.brackets).toContain(shape);
          expect(pass.frames.map((frame) => frame.offset)).toEqual(
            (shape?.pattern ?? [0]).map((position) => pass.centre + position * (shape?.step ?? 0)),
          );
        }
        // Against what anyone would do by hand. All share the same mean cost of a change, so any will do that is its bound.
        const settings = body.shutters.filter(
          ({ tv }) => tv >= baseTv - (offsets.at(-1) ?? 0) && tv <= baseTv - (offsets[0] ?? 0),
        );
        const change = Math.round(
          (body.secondsPerChange + (body.secondsPerSetting * settings.length) / 3) * 1000,
        );
        const cost = costOf(
          made.passes.map((pass) => pass.frames.map((frame) => frame.shutter)),
          body,
          change,
        );
        const shutterAt = (offset: number) =>
          mode === 'aperture'
            ? timeAt(sixths(baseTv - offset))
            : body.shutters.find((setting) => setting.tv === baseTv - offset);
        const settable = (offset: number) => mode === 'manual' || Math.abs(offset) <= body.compensation.range;
        if (offsets.every(settable)) {
          const singles = offsets.map((offset) => [shutterAt(offset) ?? base]);
          expect(cost).toBeLessThanOrEqual(costOf(singles, body, change));
        }
        for (const { pattern, step: bracketStep } of body.brackets) {
          if (bracketStep !== step || frames % pattern.length !== 0) continue;
          const blocks = Array.from({ length: frames / pattern.length }, (_, index) =>
            offsets.slice(index * pattern.length, (index + 1) * pattern.length),
          );
          if (!blocks.every((block) => settable((block[0] ?? 0) - Math.min(...pattern) * step))) continue;
          expect(cost).toBeLessThanOrEqual(
            costOf(
              blocks.map((block) => block.map((offset) => shutterAt(offset) ?? base)),
              body,
              change,
            ),
          );
        }
        expect(planSet(request, body)).toEqual(made);
        // The offsets of a plan, asked for again, are the same plan.
        const again = [...new Set(wanted)].sort((a, b) => a - b);
        expect(planSet({ ...request, offsets: again }, body).passes).toEqual(made.passes);
      }),
      { seed: 20261125, numRuns: 400 },
    );
    // Most of the requests can be met; without this the property could pass on refusals alone.
    expect(planned).toBeGreaterThan(100);
  });
});

function checkRefusal(cause: unknown, request: PlanRequest, body: BodyLimits): void {
  if (!(cause instanceof EvenrungError)) throw cause;
  const failing = (cause.details.offsets as number[]).map((ev) => Math.round(ev * 6));
  expect(failing.length).toBeGreaterThan(0);
  for (const offset of failing) expect(request.offsets).toContain(offset);
  const kept = request.offsets.filter((offset) => !failing.includes(offset));
  // What is not named could be made.
  if (kept.length > 0) expect(planSet({ ...request, offsets: kept }, body).passes.length).toBeGreaterThan(0);
}

describe('suggestions', () => {
  it.each([
    [{ frames: 9, step: 1, base: '1/4000' }, {}],
    [{ frames: 9, step: 1, base: '8' }, {}],
    [{ frames: 9, step: 2, base: '1/60' }, { shutterRange: '1..1/500' }],
    [{ frames: 9, step: 0.5 }, {}],
    [{ frames: 7, step: 2, mode: 'aperture' }, { bodySteps: '1' }],
    [{ from: 0, to: 12, step: 1, base: '1/60' }, {}],
    [{ frames: 1, step: 1, base: '30' }, { shutterRange: '30..1/8000' }],
  ])('%j with %j: each of them was planned again, and can be planned', (written, stated) => {
    const body = limits(stated);
    const long = { ...body, longestSeconds: 10 };
    for (const candidate of [body, long]) {
      let refused: ReturnType<typeof refusal>;
      try {
        refused = refusal(() => plan(written, candidate));
      } catch {
        continue;
      }
      const offered = suggestions(refused);
      expect(offered.length).toBeGreaterThan(0);
      for (const { change } of offered) {
        const { frames: _f, from: _a, to: _b, ...rest } = written as Record<string, unknown>;
        const redrawn = change.frames !== undefined || change.from !== undefined;
        expect(plan({ ...(redrawn ? rest : written), ...change }, candidate).passes.length).toBeGreaterThan(
          0,
        );
      }
    }
  });

  it('a shorter base asks for more light, a longer one for less', () => {
    const codes = (base: string) =>
      suggestions(refusal(() => plan({ frames: 9, step: 1, base }))).map(({ code }) => code);
    expect(codes('8')).toEqual(['base', 'aperture', 'iso', 'step', 'fewer-frames']);
    expect(codes('1/4000')).toEqual(['base', 'filter', 'aperture', 'iso', 'fewer-frames']);
  });
});

describe('interleaved passes', () => {
  it('nine frames a stop apart where the body brackets only at 3 EV: centres -1, 0 and +1', () => {
    const made = toWirePlan(plan({ frames: 9, step: 1 }, limits({ bodySteps: '3' })));
    expect(made.passes.map((pass) => [pass.centre, pass.offsets])).toEqual([
      [-1, [-4, -1, 2]],
      [0, [-3, 0, 3]],
      [1, [-2, 1, 4]],
    ]);
    expect(made.warnings).toEqual([]);
  });

  it('eleven at 2/3 EV on a body that brackets 3 or 5 in whole stops, compensation to 3 EV', () => {
    for (const mode of ['manual', 'aperture']) {
      const made = plan({ frames: 11, step: '2/3', mode }, limits({ maxFrames: '3,5', bodySteps: '1,2,3' }));
      expect(made.passes.length).toBeLessThan(7);
      expect(made.estimate.actuations).toBe(11);
    }
  });

  it('a body that takes long to change fires a frame twice rather than one pass more', () => {
    const slow = { ...limits(), secondsPerChange: 5, secondsPerFrame: 0.2 };
    const made = plan({ frames: 8, step: 1 }, slow);
    expect(sizes(made)).toEqual([3, 3, 3]);
    expect(made.estimate.actuations).toBe(9);
    expect(made.passes.flatMap((pass) => pass.frames).filter((frame) => frame.wanted)).toHaveLength(8);
  });

  it('no frame falls outside the shutter range: there the bracket moves inwards or single frames do it', () => {
    const body = limits({ shutterRange: '30..1/1000' });
    const made = plan(
      { frames: 8, step: 1, base: '1/60', ...{} },
      { ...body, secondsPerChange: 5, secondsPerFrame: 0.2 },
    );
    for (const frame of made.passes.flatMap((pass) => pass.frames))
      expect(frame.shutter.tv).toBeLessThanOrEqual(60);
  });
});

describe('estimates', () => {
  it('add up: passes, actuations, storage, the longest gap between neighbours', () => {
    const { estimate } = plan({ frames: 9, step: 1, conditions: { fileBytes: 25_000_000 } });
    expect(estimate.actuations).toBe(9);
    expect(estimate.bytes).toBe(225_000_000);
    expect(estimate.passSeconds).toHaveLength(3);
    // After the last pass: bracket off, shutter back.
    expect(estimate.passSeconds.reduce((sum, seconds) => sum + seconds, 0) + 0.6).toBeCloseTo(
      estimate.seconds,
      2,
    );
    // Contiguous: -2 EV comes last in its pass, -1 EV second in the next: a frame, a change and a frame lie between.
    expect(estimate.longestGapSeconds).toBeLessThan(2);
    const interleaved = plan({ frames: 9, step: 1 }, limits({ bodySteps: '3' })).estimate;
    expect(interleaved.longestGapSeconds).toBeGreaterThan(estimate.longestGapSeconds);
  });

  it('a body that walks pays for the way', () => {
    const jumps = plan({ frames: 9, step: 1 }).estimate.seconds;
    const walks = plan({ frames: 9, step: 1 }, { ...limits(), secondsPerSetting: 0.1 }).estimate.seconds;
    // From 1/500 s to 1/60 s and on to 1/8 s: nine third-stop settings each.
    expect(walks - jumps).toBeCloseTo(18 * 0.1, 3);
  });
});

describe('warnings', () => {
  const codes = (written: Record<string, unknown>, body?: BodyLimits) =>
    plan(written, body).warnings.map(({ code }) => code);

  it('none without a reason', () => {
    expect(codes({ frames: 9, step: 1 })).toEqual([]);
  });

  it('a base that is no setting: the nearest is taken, and said', () => {
    const at = (baseWritten: string) => {
      const body = limits();
      const request = {
        offsets: [sixths(0)],
        step: sixths(6),
        mode: 'manual' as const,
        base: resolveBase(baseWritten, body),
      };
      return planSet(request, body, { baseWritten }).warnings.map(({ code }) => code);
    };
    expect(at('1/55')).toEqual(['other-base']);
    for (const same of ['1/60', '1/64', '0.0167', '1/50', '0"5']) expect(at(same)).toEqual([]);
  });

  it('hand-held: slower than 1/focal length; 400 mm asks for 1/400 s (common practice, no source)', () => {
    const at = (handHeldMm: number, base: string) =>
      codes({ frames: 1, step: 1, base, conditions: { handHeldMm } });
    expect(at(400, '1/400')).toEqual([]);
    expect(at(400, '1/320')).toEqual(['hand-held']);
    expect(codes({ frames: 9, step: 1, conditions: {} })).toEqual([]);
  });

  it('noise reduction: frames over 1 s, and those that outlast the link', () => {
    const conditions = { noiseReduction: true };
    expect(codes({ frames: 1, step: 1, base: '1', conditions })).toEqual([]);
    expect(codes({ frames: 1, step: 1, base: '2', conditions })).toEqual(['noise-reduction']);
    const link = { ...limits(), longestSeconds: 30 };
    expect(codes({ frames: 1, step: 1, base: '15', conditions }, link)).toContain(
      'noise-reduction-outlasts-link',
    );
    expect(codes({ frames: 1, step: 1, base: '8', conditions }, link)).not.toContain(
      'noise-reduction-outlasts-link',
    );
  });

  // Mains light flickers at 100 or 120 Hz (common practice, no source).
  it.each([
    [50, '1/250', true],
    [50, '1/100', false],
    [50, '1/60', true],
    [50, '1/50', false],
    [50, '1/30', true],
    [50, '1/25', false],
    [50, '1/8', false],
    [60, '1/125', false],
    [60, '1/60', false],
    [60, '1/100', true],
    [60, '1/250', true],
    [60, '1/30', false],
  ] as const)('mains at %s Hz, %s s: flicker %s', (mainsHz, base, flickers) => {
    expect(codes({ frames: 1, step: 1, base, conditions: { mainsHz } })).toEqual(
      flickers ? ['mains-flicker'] : [],
    );
  });

  it('a moved base in aperture priority; changing light; the sun; a set that takes long', () => {
    expect(codes({ frames: 3, step: 1, mode: 'aperture' })).toEqual(['moved-base']);
    expect(codes({ frames: 9, step: 1, conditions: { lightEvPerMinute: 2 } })).toEqual(['changing-light']);
    expect(codes({ frames: 9, step: 1, conditions: { lightEvPerMinute: 0.5 } })).toEqual([]);
    const long = codes({ frames: 15, step: '1/3', base: '4', conditions: {} });
    expect(long).toContain('changing-light');
    const { offsets, step, mode } = parseFramed({ frames: 9, step: 1, base: '1/500' });
    const sunny = { offsets, step, mode, base: resolveBase('1/500', limits()) };
    expect(planSet(sunny, limits(), { fNumber: 16, iso: 100 }).warnings.map(({ code }) => code)).toEqual([
      'sun',
    ]);
    expect(planSet(sunny, limits(), { fNumber: 4, iso: 100 }).warnings).toEqual([]);
    const hours = { ...limits(), secondsPerFrame: 60 };
    expect(codes({ frames: 11, step: 1 }, hours)).toContain('unattended');
  });
});

describe('bad input', () => {
  it('is refused at once', PACED, () => {
    const began = performance.now();
    const bad = [
      { frames: 10_000, step: 1 },
      { from: 4, to: -4, step: 1 },
      { frames: 9, step: 0.4 },
      { span: -8, step: 1 },
      { span: 7, step: 2 },
    ];
    for (const written of bad) refusal(() => plan(written));
    for (const stated of [{ maxFrames: '4' }, { shutterRange: '1/8000..30' }]) refusal(() => limits(stated));
    pace('a bad request is refused', (performance.now() - began) / (bad.length + 2), 'ms', 10);
  });

  it('span and step', () => {
    expect(toWirePlan(plan({ span: 8, step: 1 })).offsets).toEqual([-4, -3, -2, -1, 0, 1, 2, 3, 4]);
    expect(toWirePlan(plan({ span: 3, step: 1 })).offsets).toEqual([-1, 0, 1, 2]);
  });
});

describe('where the body stands', () => {
  const body = limits();
  const base = resolveBase('1/60', body);
  const nine = {
    offsets: [-24, -18, -12, -6, 0, 6, 12, 18, 24].map(sixths),
    step: sixths(6),
    mode: 'manual' as const,
    base,
  };
  const centresAt = (conditions: Conditions) =>
    planSet(nine, body, conditions).passes.map((pass) => pass.centre / 6);

  it('a pass that is centred there is fired first, and saves a change', () => {
    expect(centresAt({})).toEqual([-3, 0, 3]);
    expect(centresAt({ standingTv: base.tv })).toEqual([0, -3, 3]);
    expect(centresAt({ standingTv: sixths(base.tv + 18) })).toEqual([-3, 0, 3]);
    // Last is as good as first: the shutter need not go back.
    expect(centresAt({ standingTv: sixths(base.tv - 18) })).toEqual([-3, 0, 3]);
    expect(centresAt({ standingTv: sixths(base.tv + 2) })).toEqual([-3, 0, 3]);
    const seconds = (conditions: Conditions) => planSet(nine, body, conditions).estimate.seconds;
    const { secondsPerChange } = body;
    expect(seconds({ standingTv: sixths(base.tv + 2) }) - seconds({ standingTv: base.tv })).toBeCloseTo(
      secondsPerChange,
      9,
    );
  });

  it('but not where the light moves, nor where every frame is single', () => {
    expect(centresAt({ standingTv: base.tv, lightEvPerMinute: 0.2 })).toEqual([-3, 0, 3]);
    const bare = { ...body, brackets: [] };
    expect(planSet(nine, bare, { standingTv: base.tv }).passes.map((pass) => pass.centre / 6)).toEqual([
      -4, -3, -2, -1, 0, 1, 2, 3, 4,
    ]);
  });

  it('a time to settle is counted before each pass', () => {
    const still = planSet(nine, body).estimate;
    const settling = planSet({ ...nine, settleSeconds: 2 }, body).estimate;
    expect(settling.seconds - still.seconds).toBeCloseTo(6, 9);
    // Dear passes are few: with a long wait, frames that nobody asked for are worth one pass less.
    const eight = { ...nine, offsets: nine.offsets.slice(1) };
    expect(planSet({ ...eight, settleSeconds: 30 }, body).passes.length).toBeLessThanOrEqual(
      planSet(eight, body).passes.length,
    );
  });
});

describe('settings changes of a set of brackets', () => {
  /** On, off, each change of shape, each centre that is not where the shutter stands, and the way back. */
  function changes(made: Plan, standingTv: number): number {
    let count = 0;
    let shape: Plan['passes'][number]['shape'] = null;
    let tv = standingTv;
    for (const pass of made.passes) {
      if (!isSameShape(pass.shape, shape)) count += 1;
      if (pass.centreShutter.tv !== tv) count += 1;
      shape = pass.shape;
      tv = pass.centreShutter.tv;
    }
    return count + (shape === null ? 0 : 1) + (tv === standingTv ? 0 : 1);
  }

  it.each([
    ['3', 9, '1'],
    ['3', 11, '2/3'],
    ['3,5,7,9', 9, '1'],
    ['3,5,7,9', 11, '2/3'],
    ['5', 13, '1'],
  ])('brackets of %s, %s frames %s EV apart: at most two more than passes', (maxFrames, frames, step) => {
    const body = limits({ maxFrames });
    const { offsets, step: sixths, base, mode } = parseFramed({ frames, step });
    const setting = resolveBase(base, body);
    const made = planSet({ offsets, step: sixths, mode, base: setting }, body, { standingTv: setting.tv });
    expect(changes(made, setting.tv)).toBeLessThanOrEqual(made.passes.length + 2);
  });
});

describe('in aperture priority', () => {
  /** Whole stops only, and none is 1/60. */
  const coarse = (): BodyLimits => ({
    ...limits(),
    shutters: SHUTTER_SCALES.third.filter(({ tv }) => tv % 6 === 2),
    brackets: [],
  });

  it('no shutter time of the body has to be the base, or a step from it: compensation moves, and nothing else', () => {
    const request = {
      ...{ offsets: [-18, -12, -6, 0, 6, 12, 18].map(sixths), step: sixths(6), mode: 'aperture' as const },
      base: '1/60',
    };
    const made = planWritten(request, coarse());
    expect(made.passes.map(({ centre }) => centre)).toEqual(request.offsets);
    expect(made.base.label).toBe('1/60');
    expect(made.warnings.map(({ code }) => code)).not.toContain('other-base');
    // As it is stored, and gone on with.
    const { offsets: _, base: __, ...asked } = request;
    expect(fromWirePlan(toWirePlan(made), asked, coarse()).passes).toEqual(made.passes);
  });

  it('frames that may take longer than the link waits are planned, and said', () => {
    const request = {
      offsets: [-6, 0, 6, 12, 18].map(sixths),
      step: sixths(6),
      mode: 'aperture' as const,
      base: '8',
    };
    const warned = (longestSeconds: number) =>
      planWritten(request, { ...coarse(), longestSeconds }).warnings.find(
        ({ code }) => code === 'outlasts-link',
      )?.message;
    expect(warned(32)).toMatch(/^If the camera meters 8 s, 1 frame would take longer than 32 s/);
    expect(warned(64)).toBeUndefined();
  });

  it('it says how far compensation goes, and in which steps, and names the frames that it does not reach', () => {
    const request = (offsets: number[], step: number) => ({
      offsets: offsets.map(sixths),
      step: sixths(step),
      mode: 'aperture' as const,
      base: '1/60',
    });
    const nine = refusal(() => planWritten(request([-24, -18, -12, -6, 0, 6, 12, 18, 24], 6), coarse()));
    expect(nine.code).toBe('outside-compensation-range');
    expect(nine.details.offsets).toEqual([-4, 4]);
    const half = refusal(() => planWritten(request([-3, 0, 3], 3), coarse()));
    expect(half.code).toBe('step-not-offered');
    expect(half.message).toContain('exposure compensation moves in steps of 1/3 EV');
  });
});

describe('a base that the body does not have', () => {
  const fifty = (): BodyLimits => ({
    ...limits(),
    shutters: SHUTTER_SCALES.third.filter(({ label }) => label !== '1/60'),
  });
  const request = { offsets: [-6, 0, 6].map(sixths), step: sixths(6), mode: 'manual' as const };

  it('is refused with how far off the nearest one is, the bound, and the two that would do', () => {
    const refused = refusal(() => planWritten({ ...request, base: '1/60' }, fifty()));
    expect(refused.code).toBe('base-not-offered');
    expect(refused.message).toContain(
      'The nearest time is 1/50 s, 0.24 EV away, and only one within 0.18 EV',
    );
    expect(suggestions(refused).map(({ change }) => change.base)).toEqual(['1/50', '1/80']);
    for (const { change } of suggestions(refused))
      expect(planWritten({ ...request, base: change.base ?? '' }, fifty()).passes.length).toBeGreaterThan(0);
  });

  it('a step that only some frames lack says which, and which times they would need', () => {
    const refused = refusal(() => planWritten({ ...request, base: '1/30' }, fifty()));
    expect(refused.code).toBe('step-not-offered');
    expect(refused.message).toBe(
      'The frame at −1 EV cannot be shot: in steps of 1 EV from 1/30 s, this camera has no shutter setting of 1/60 s.',
    );
  });
});

describe('another base with what makes up for it at the camera', () => {
  const request = {
    ...{ offsets: [0, 6, 12, 18].map(sixths), step: sixths(6), mode: 'manual' as const },
    base: '8',
  };
  const offered = (conditions: Conditions) =>
    suggestions(refusal(() => planWritten(request, limits(), conditions))).filter(({ byHand }) => byHand);

  it('says the f-number and the ISO to set, if the camera tells where it stands', () => {
    const [aperture, iso] = offered({ fNumber: 8, iso: 100 });
    // 8 s to 4 s is one stop: f/8 to f/5.6, ISO 100 to 200.
    expect(aperture?.message).toBe(
      'Base exposure 4 s with the aperture at f/5.6 instead of f/8: the exposures stay the same.',
    );
    expect(aperture?.byHand).toEqual({
      what: 'aperture',
      value: 5.6,
      sentence: 'Set the aperture to f/5.6.',
    });
    expect(iso?.byHand).toEqual({ what: 'iso', value: 200, sentence: 'Set the ISO to 200.' });
  });

  it('says how far to turn, if it does not', () => {
    const [aperture, iso] = offered({});
    expect(aperture?.byHand).toEqual({
      what: 'aperture',
      value: null,
      sentence: 'Set the aperture 1 stop wider.',
    });
    expect(iso?.byHand?.sentence).toBe('Set the ISO 1 stop higher.');
  });

  it('offers no aperture that no lens has', () => {
    expect(offered({ fNumber: 1, iso: 100 }).map(({ code }) => code)).toEqual(['iso']);
  });

  it('a filter is among them if the times have to get longer', () => {
    const bright = { ...request, offsets: [-18, -12, -6, 0].map(sixths), base: '1/4000' };
    const hands = suggestions(refusal(() => planWritten(bright, limits(), { fNumber: 8, iso: 400 }))).flatMap(
      ({ byHand }) => byHand ?? [],
    );
    expect(hands.map(({ sentence }) => sentence)).toEqual([
      'Put a 2-stop neutral-density filter on the lens.',
      'Set the aperture to f/16.',
      'Set the ISO to 100.',
    ]);
  });
});
