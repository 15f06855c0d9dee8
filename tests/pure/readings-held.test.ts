// For invented scenes, rooms, steps and bodies: the frames hold both readings within the room, one frame fewer would not, and what is
// refused nobody could have made. The other side is code of its own: it tries every placement of every number of frames.
import { describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { isMetered, parseSetRequest, type SetRequest } from '../../shared/request.js';
import { type BodyLimits, formatEv, parseShutter, sixths } from '../../src/exposure/index.js';
import { limitsFromStated, placeReadings, planWritten, STATED_DEFAULTS } from '../../src/plan/index.js';
import fc from '../seeded.js';

const STEPS = [2, 3, 4, 6, 8, 9, 12, 18] as const;
const RANGES = ['30..1/8000', '30..1/32000', '8..1/2000', '1..1/1000', '1/30..1/250'];
const GRIDS = ['1/3,1', '1/2,1', '1/3,1/2'];

/** In sixths of an EV. */
interface Scene {
  readonly darkest: number;
  readonly range: number;
  readonly above: number;
  readonly below: number;
  readonly step: (typeof STEPS)[number];
  readonly limits: BodyLimits;
}

const scenes = fc.record({
  darkest: fc.integer({ min: -36, max: 60 }),
  range: fc.integer({ min: 1, max: 110 }),
  above: fc.integer({ min: 6, max: 24 }),
  below: fc.integer({ min: 12, max: 30 }),
  step: fc.constantFrom(...STEPS),
  limits: fc
    .tuple(fc.constantFrom(...RANGES), fc.constantFrom(...GRIDS))
    .map(([shutterRange, bodySteps]) => limitsFromStated({ ...STATED_DEFAULTS, shutterRange, bodySteps })),
});

/** At f/1 and ISO 100 EV and Tv are one (APEX). */
function placed({ darkest, range, above, below, step, limits }: Scene): SetRequest {
  const asked = parseSetRequest({
    readings: {
      ...{ darkest: `EV ${(darkest / 6).toFixed(4)}`, brightest: `EV ${((darkest + range) / 6).toFixed(4)}` },
      ...{ roomAbove: above / 6, roomBelow: below / 6 },
    },
    step: formatEv(sixths(step), false),
  });
  if (!isMetered(asked)) throw new Error('It was not asked by readings.');
  return placeReadings(asked, limits, { fNumber: 1, iso: 100, files: null });
}

/** @returns whether so many frames, wherever they begin, hold both readings in settings that the body has */
function canHold({ darkest, range, above, below, step, limits }: Scene, frames: number): boolean {
  const tvs = new Set<number>(limits.shutters.map(({ tv }) => tv));
  return [...tvs].some((first) => {
    const all = Array.from({ length: frames }, (_, index) => first - index * step);
    const isMade = all.every((tv) => tvs.has(tv));
    const isBrightHeld = all.some((tv) => darkest + range - tv <= above);
    const isDarkHeld = all.some((tv) => tv - darkest <= below);
    // The darkest frame keeps the bright part, and the brightest lifts the dark one.
    return isMade && isBrightHeld && isDarkHeld;
  });
}

describe('a set that follows from two readings', () => {
  it('holds both, in the fewest frames; what is refused nobody could make', () => {
    const seen = { placed: 0, oneFrame: 0, refused: 0 };
    fc.assert(
      fc.property(scenes, (scene) => {
        const { darkest, range, above, below, step, limits } = scene;
        let request: SetRequest;
        try {
          request = placed(scene);
        } catch (cause) {
          expect(cause).toBeInstanceOf(EvenrungError);
          const { code, details } = cause as EvenrungError;
          seen.refused += 1;
          if (code === 'readings-unusable') {
            // By hand: more frames than 61, or a step past the room.
            const needed = Math.ceil((range - above - below) / step) + 1;
            expect(needed > 61 || step > above + below).toBe(true);
            return;
          }
          expect(['outside-shutter-range', 'step-not-offered']).toContain(code);
          expect(details.field).toMatch(/^(darkest|brightest|step)$/);
          for (let frames = 1; frames <= 61; frames += 1) expect(canHold(scene, frames)).toBe(false);
          return;
        }
        const { offsets, base, readings } = request;
        const written = parseShutter(base);
        const setting = limits.shutters.find(({ label }) => label === base);
        expect(written?.kind).toBe('time');
        expect(setting).toBeDefined();
        const tvs = offsets.map((offset) => (setting?.tv ?? 0) - offset);
        seen.placed += 1;
        if (tvs.length === 1) seen.oneFrame += 1;
        // Evenly spaced, on the base, in settings of the body.
        expect(tvs.slice(1).every((tv, index) => (tvs[index] ?? 0) - tv === step)).toBe(true);
        expect(offsets.every((offset) => offset % step === 0)).toBe(true);
        expect(tvs.every((tv) => limits.shutters.some((one) => one.tv === tv))).toBe(true);
        const [first = 0, last = 0] = [tvs[0], tvs.at(-1)];
        expect(darkest + range - first).toBeLessThanOrEqual(above);
        expect(last - darkest).toBeLessThanOrEqual(below);
        if (tvs.length > 1) expect(canHold(scene, tvs.length - 1)).toBe(false);
        // What is said is what was planned.
        expect(readings?.brightest.fromGrey).toBeCloseTo((darkest + range - first) / 6, 9);
        expect(readings?.darkest.fromGrey).toBeCloseTo((darkest - last) / 6, 9);
        expect(readings?.darkest.frame).toBe(tvs.length);
        // And it can be fired.
        const { conditions: _, ...asked } = request;
        expect(planWritten(asked, limits).offsets).toEqual(offsets);
      }),
      { numRuns: 300 },
    );
    expect(seen.placed).toBeGreaterThan(50);
    expect(seen.oneFrame).toBeGreaterThan(5);
    expect(seen.refused).toBeGreaterThan(20);
  });
});
