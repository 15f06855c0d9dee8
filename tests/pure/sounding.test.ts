// Which test frame is fired next, and which set follows: against scenes whose ends are known, without a picture.
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { asEvenrungError, type EvenrungError } from '../../shared/errors.js';
import { parseSoundRequest } from '../../shared/sounding.js';
import {
  type BodyLimits,
  SHUTTER_SCALES,
  type ShutterSetting,
  type Sixths,
  sixths,
  toEv,
} from '../../src/exposure/index.js';
import {
  type LostAtEnds,
  limitsFromStated,
  MOST_TEST_FRAMES,
  type Next,
  nextTest,
  type Proposed,
  type SoundingAt,
  STATED_DEFAULTS,
  type TestPurpose,
  whyInWords,
} from '../../src/plan/index.js';

function refusal(work: () => unknown): EvenrungError {
  try {
    work();
  } catch (cause) {
    return asEvenrungError(cause);
  }
  throw new Error('It was not refused.');
}

const limitsOf = (shutterRange: string): BodyLimits => limitsFromStated({ ...STATED_DEFAULTS, shutterRange });
const settingAt = (label: string): ShutterSetting =>
  SHUTTER_SCALES.third.find((setting) => setting.label === label) as ShutterSetting;

const at = (more: Partial<SoundingAt> = {}): SoundingAt => ({
  ...{ mode: 'manual', step: sixths(6), limits: limitsOf('30..1/8000'), start: settingAt('1/60') },
  ...{ whiteFromEv100: null, despiteSun: false },
  ...more,
});

/** EV from the first frame of the frame that just holds the highlights, and of the one that just opens the shadows. */
interface Scene {
  readonly highlights: number;
  readonly shadows: number;
  /** EV below which a spot in it is not white any more; left out, there is none. */
  readonly spot?: number;
}

interface Taken {
  readonly fired: readonly Sixths[];
  readonly to: readonly TestPurpose[];
  readonly end: Exclude<Next, { is: 'fire' }>;
}

/** @param seconds that all of it may take, as if frames took their exposures and half a second */
function take(asked: SoundingAt, scene: Scene, seconds = 120): Taken {
  const fired: Sixths[] = [sixths(0)];
  const to: TestPurpose[] = ['start'];
  let secondsLeft = seconds;
  const takes = ({ shutter }: { readonly shutter: ShutterSetting }) => shutter.seconds + 0.5;
  for (;;) {
    const [darkest, brightest] = [Math.min(...fired) / 6, Math.max(...fired) / 6];
    const lostBy = (ev: number) => ({
      share: Math.min(1, Math.max(0, ev / 10)),
      small: { count: 0, share: 0 },
    });
    const shown = fired.map((offset) => ({
      offset,
      highlights: lostBy(offset / 6 - scene.highlights).share,
      shadows: lostBy(scene.shadows - offset / 6).share,
    }));
    const next = nextTest(asked, {
      ...{ shown, secondsLeft, takes },
      seen: {
        highlights: {
          heldAt: darkest <= scene.highlights ? scene.highlights : null,
          lost: lostBy(darkest - scene.highlights),
        },
        shadows: {
          heldAt: brightest >= scene.shadows ? scene.shadows : null,
          lost: lostBy(scene.shadows - brightest),
        },
        whiteParts: scene.spot !== undefined && darkest > scene.spot ? 1 : 0,
      },
    });
    if (next.is !== 'fire') return { fired, to, end: next };
    expect(fired).not.toContain(next.exposure.offset);
    fired.push(next.exposure.offset);
    to.push(next.to);
    secondsLeft -= takes(next.exposure);
    expect(fired.length).toBeLessThanOrEqual(MOST_TEST_FRAMES);
  }
}

function proposedBy(taken: Taken): Proposed {
  if (taken.end.is !== 'done') throw new Error('Nothing was proposed.');
  return taken.end.proposed;
}

describe('the search', () => {
  it('goes darker first, then brighter, then proves both ends', () => {
    const taken = take(at(), { highlights: -4.45, shadows: 3.9 });
    expect(taken.to).toEqual(['start', 'darker', 'darker', 'brighter', 'darkest']);
    // The frame 4 EV brighter was fired on the way.
    expect(taken.fired.map(toEv)).toEqual([0, -4, -7, 4, -14 / 3].map((ev) => expect.closeTo(ev)));
    const { offsets, base } = proposedBy(taken);
    // From -4 1/2 to 3 5/6 it is 8 1/3, so 10 frames of whole EV reach 2/3 farther: a third at each end.
    expect(offsets).toHaveLength(10);
    expect(toEv(offsets[0] as Sixths)).toBeCloseTo(-5);
    expect(base?.settable).toBe(true);
  });

  it('a scene that one frame holds takes one frame, and that one is fired', () => {
    const taken = take(at(), { highlights: 0.9, shadows: -1.2 });
    const { offsets } = proposedBy(taken);
    expect(offsets).toHaveLength(1);
    expect(taken.fired).toContain(offsets[0]);
  });

  it('finds both ends of any scene within the range of the camera, with eight frames at most, and the fewest frames hold it', () => {
    fc.assert(
      fc.property(
        fc.double({ min: -6.9, max: 6, noNaN: true }),
        fc.double({ min: 0, max: 9, noNaN: true }),
        fc.constantFrom(2, 4, 6, 12, 18),
        (highlights, range, step) => {
          const shadows = Math.min(10.5, highlights + range);
          const {
            offsets,
            highlights: bright,
            shadows: dark,
          } = proposedBy(take(at({ step: sixths(step) }), { highlights, shadows }, 500));
          expect(bright.isReached && dark.isReached).toBe(true);
          const [first, last] = [toEv(offsets[0] as Sixths), toEv(offsets.at(-1) as Sixths)];
          expect(first).toBeLessThanOrEqual(highlights + 1 / 12 + 1e-9);
          expect(last).toBeGreaterThanOrEqual(shadows - 1 / 12 - 1e-9);
          // A frame fewer would not reach: settings lie a third apart at either end.
          const wanted = Math.max(0, shadows - highlights - 1 / 6);
          expect(offsets.length - 1).toBeLessThanOrEqual(Math.ceil((wanted + 2 / 3) / (step / 6)));
        },
      ),
    );
  });
});

describe('an end that is not reached', () => {
  const lost: LostAtEnds = (() => {
    const some = { share: 0.04, small: { count: 0, share: 0 } };
    return { darkest: some, insideDarkest: some, brightest: some, insideBrightest: some };
  })();
  const saysOf = (asked: SoundingAt, scene: Scene, end: 'darkest' | 'brightest', seconds?: number): string =>
    whyInWords(end, proposedBy(take(asked, scene, seconds)), '1/8000', lost, asked);

  it('because the shutter has no faster time', () => {
    const asked = at({ limits: limitsOf('30..1/500') });
    const taken = take(asked, { highlights: -5, shadows: 2 });
    expect(proposedBy(taken).highlights).toEqual({ isReached: false, why: 'range' });
    expect(Math.min(...proposedBy(taken).offsets)).toBe(-18);
    expect(saysOf(asked, { highlights: -5, shadows: 2 }, 'darkest')).toMatch(
      /^Even in frame 1, the darkest \(1\/8000 s\), 4% of the picture is too bright, and the camera has no faster shutter: stop down, lower the ISO/,
    );
  });

  it('because the shutter has no longer time', () => {
    const asked = at({ limits: limitsOf('1..1/8000') });
    expect(saysOf(asked, { highlights: -1, shadows: 9 }, 'brightest')).toMatch(
      /no slower shutter: open up, or raise the ISO/,
    );
  });

  it('because it would take too long', () => {
    const taken = take(at(), { highlights: -1, shadows: 10.5 }, 20);
    expect(proposedBy(taken).shadows).toEqual({ isReached: false, why: 'time' });
    expect(saysOf(at(), { highlights: -1, shadows: 10.5 }, 'brightest', 20)).toMatch(
      /longer test frames would have taken more than the 120 s/,
    );
  });

  it('a step that no two settings of the camera have between them is refused', () => {
    const whole = { ...limitsOf('30..1/8000'), shutters: SHUTTER_SCALES.full };
    const refused = refusal(() =>
      take(at({ limits: whole, step: sixths(2) }), { highlights: -2, shadows: 2 }),
    );
    expect(refused).toMatchObject({ code: 'step-not-offered', details: { field: 'step' } });
  });
});

describe('the sun', () => {
  // f/8, ISO 100: 1/60 is white from EV 6 + 6 + 2.46 on.
  const known = { whiteFromEv100: 14.46 };

  it('a spot that is still white beyond what lamps give ends it, before anything is exposed for long', () => {
    const taken = take(at(known), { highlights: -3.5, shadows: 5, spot: -9 });
    expect(taken.end).toEqual({ is: 'sun' });
    expect(taken.to).toEqual(['start', 'darker', 'spot']);
    // The longest of the times at which only the sun is white: 14.46 + 6.67 is above EV 21.
    expect(toEv(taken.fired.at(-1) as Sixths)).toBeCloseTo(-20 / 3);
  });

  it('a lamp does not, and does not drive the span', () => {
    const taken = take(at(known), { highlights: -3.5, shadows: 5, spot: -6.5 });
    expect(taken.end.is).toBe('done');
    expect(taken.to).toContain('spot');
    expect(taken.end).toMatchObject({ mayBeSun: false });
    const without = take(at(known), { highlights: -3.5, shadows: 5 });
    expect(proposedBy(taken).offsets).toEqual(proposedBy(without).offsets);
  });

  it('whoever says that it may gets the frames', () => {
    const taken = take(at({ ...known, despiteSun: true }), { highlights: -3.5, shadows: 5, spot: -9 });
    expect(taken.end.is).toBe('done');
  });

  it('without an aperture or an ISO nothing tells it from a lamp', () => {
    const taken = take(at(), { highlights: -3.5, shadows: 5, spot: -9 });
    expect(taken.to).not.toContain('spot');
    // So the set comes with the caution.
    expect(taken.end).toMatchObject({ is: 'done', mayBeSun: true });
  });
});

describe('aperture priority', () => {
  it('goes by compensation, and proposes no base', () => {
    const asked = at({ mode: 'aperture' });
    const { base, offsets } = proposedBy(take(asked, { highlights: -1.5, shadows: 2.2 }));
    expect(base).toBeNull();
    expect([toEv(offsets[0] as Sixths), toEv(offsets.at(-1) as Sixths)]).toEqual([
      expect.closeTo(-5 / 3),
      expect.closeTo(7 / 3),
    ]);
  });

  it('says where compensation ends', () => {
    const taken = take(at({ mode: 'aperture' }), { highlights: -5, shadows: 1 });
    expect(proposedBy(taken).highlights).toEqual({ isReached: false, why: 'range' });
    expect(toEv(proposedBy(taken).offsets[0] as Sixths)).toBe(-3);
  });
});

describe('what is asked for', () => {
  it.each([
    [{}, 'malformed-request'],
    [{ step: 9 }, 'step-out-of-range'],
    [{ step: 'x' }, 'unreadable-ev'],
    [{ step: 1, from: 'bulb' }, 'unreadable-shutter'],
    [{ step: 1, from: '1/60', mode: 'aperture' }, 'malformed-request'],
    [{ step: 1, frames: 3 }, 'malformed-request'],
    [null, 'malformed-request'],
  ])('%j is refused: %s', (written, code) => {
    expect(refusal(() => parseSoundRequest(written))).toMatchObject({ code });
  });

  it('is read', () => {
    expect(parseSoundRequest({ step: '2/3', from: '1/60' })).toEqual({
      ...{ step: 4, mode: 'manual', from: '1/60', despiteSun: false },
    });
  });
});
