// Plans that reach farther: the new frames are planned like any others, and the old ones stay what they are.

import { describe, expect, it } from 'vitest';
import { asEvenrungError, type EvenrungError } from '../../shared/errors.js';
import { sixths, toEv } from '../../shared/ev.js';
import { MOST_FRAMES } from '../../shared/request.js';
import {
  type Extension,
  extendedMost,
  extendPlan,
  fromWirePlan,
  limitsFromStated,
  type Plan,
  planWritten,
  STATED_DEFAULTS,
  toWirePlan,
  withoutFrames,
} from '../../src/plan/index.js';
import { parseFramed } from '../framed.js';
import fc from '../seeded.js';

const LIMITS = limitsFromStated(STATED_DEFAULTS);
const planOf = (written: object): Plan => {
  const { conditions: _, extend: __, ...wanted } = parseFramed({ step: 1, base: '1/60', ...written });
  return planWritten(wanted, LIMITS);
};
const evs = ({ offsets }: Plan): number[] => offsets.map(toEv);
const by = (darker: number, brighter: number): Extension => ({ darker, brighter });
const refused = (work: () => unknown): EvenrungError => {
  try {
    work();
  } catch (cause) {
    return asEvenrungError(cause);
  }
  throw new Error('It was not refused.');
};

describe('a plan that is extended', () => {
  it('has its own passes first, and the new ones behind them, from the set outwards', () => {
    const plan = planOf({ frames: 3 });
    const wider = extendPlan(plan, by(2, 1), LIMITS);
    expect(evs(wider)).toEqual([-3, -2, -1, 0, 1, 2]);
    expect(wider.passes.slice(0, plan.passes.length)).toEqual(plan.passes);
    const firsts = wider.passes
      .slice(plan.passes.length)
      .map(({ frames }) => toEv(frames.find(({ wanted }) => wanted)?.offset ?? sixths(0)));
    expect(firsts).toEqual([-2, -3, 2]);
    expect(wider.estimate.passSeconds).toHaveLength(wider.passes.length);
    expect(wider.estimate.actuations).toBe(6);
  });

  it('by nothing is what it was', () => {
    const plan = planOf({ frames: 5 });
    expect(extendPlan(plan, by(0, 0), LIMITS)).toBe(plan);
  });

  it('makes each of its offsets once, whatever it was, and comes back from the wire as it is', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 5 }),
        fc.constantFrom('1/3', '2/3', '1', '1 1/3'),
        fc.integer({ min: 0, max: 3 }),
        fc.integer({ min: 0, max: 3 }),
        (frames, step, darker, brighter) => {
          const plan = planOf({ frames, step });
          const wider = extendPlan(plan, by(darker, brighter), LIMITS);
          expect(wider.offsets).toHaveLength(frames + darker + brighter);
          const steps = wider.offsets.slice(1).map((offset, index) => offset - (wider.offsets[index] ?? 0));
          expect(new Set(steps).size).toBeLessThanOrEqual(1);
          const made = wider.passes.flatMap((pass) =>
            pass.frames.flatMap(({ offset, wanted }) => (wanted ? [offset] : [])),
          );
          expect([...made].sort((a, b) => a - b)).toEqual(wider.offsets);
          const { mode, settleSeconds, least, step: asked } = wider;
          const back = fromWirePlan(toWirePlan(wider), { step: asked, mode, settleSeconds, least }, LIMITS);
          expect(toWirePlan(back)).toEqual(toWirePlan(wider));
        },
      ),
      { numRuns: 60 },
    );
  });

  it.each([
    // 1/8000 s is Tv 13, 30 s is Tv -5 (Exif 2.32, annex C, from memory): from 1/4000 s one frame more, from 15 s one.
    ['darker', { base: '1/4000', from: 0, to: 0 }, by(3, 0), 1, 'lower ISO'],
    ['brighter', { base: '15', from: 0, to: 0 }, by(0, 2), 1, 'higher ISO'],
    ['darker', { base: '1/8000', from: 0, to: 0 }, by(1, 0), 0, 'neutral-density filter'],
  ] as const)(
    '%s than the shutter goes: says how many can be made, and what would help',
    (end, set, more, most, help) => {
      const error = refused(() => extendPlan(planOf(set), more, LIMITS));
      expect(error).toMatchObject({ code: 'outside-shutter-range', details: { field: end, most } });
      expect(error.message).toContain(
        most === 0 ? `No ${end} frame can be added to this set` : `At most ${most} ${end} can be added`,
      );
      expect(error.message).toContain(help);
    },
  );

  it('by more frames than a set may have is refused, with how many it may', () => {
    // So many in thirds go past the shutter: only their number is looked at here.
    const of = (frames: number): Plan => ({
      ...planOf({ frames: 3, step: '1/3' }),
      offsets: Array.from({ length: frames }, (_, index) => sixths(2 * index)),
    });
    const error = refused(() => extendPlan(of(59), by(2, 1), LIMITS));
    expect(error).toMatchObject({ code: 'frames-out-of-range', details: { most: 2 } });
    const full = refused(() => extendPlan(of(MOST_FRAMES), by(0, 1), LIMITS));
    expect(full.message).toContain('No more can be added');
  });

  it('as far as it may be and can be', () => {
    expect(evs(extendedMost(planOf({ frames: 3 }), 2, LIMITS))).toEqual([-3, -2, -1, 0, 1, 2, 3]);
    expect(evs(extendedMost(planOf({ base: '1/4000', from: 0, to: 0 }), 2, LIMITS))).toEqual([-1, 0, 1, 2]);
    expect(extendedMost(planOf({ frames: 3 }), 0, LIMITS).offsets).toHaveLength(3);
  });
});

describe('a plan without frames that were not made', () => {
  it('is what it was before they were added', () => {
    const plan = planOf({ frames: 3 });
    const wider = extendPlan(plan, by(1, 1), LIMITS);
    const back = withoutFrames(wider, new Set([sixths(-12), sixths(12)]));
    expect(back.offsets).toEqual(plan.offsets);
    expect(back.passes).toEqual(plan.passes);
    // As it crosses the wire, too.
    const { offsets, passes } = withoutFrames(toWirePlan(wider), new Set([-2, 2]));
    expect({ offsets, passes }).toEqual({ offsets: [-1, 0, 1], passes: toWirePlan(plan).passes });
  });

  it('keeps a pass in front of one that is wanted: numbers of passes stay', () => {
    const plan = planOf({ frames: 3 });
    const back = withoutFrames(extendPlan(plan, by(1, 1), LIMITS), new Set([sixths(-12)]));
    expect(back.passes).toHaveLength(plan.passes.length + 2);
    expect(back.passes[plan.passes.length]?.frames.some(({ wanted }) => wanted)).toBe(false);
    expect(evs(back)).toEqual([-1, 0, 1, 2]);
  });
});
