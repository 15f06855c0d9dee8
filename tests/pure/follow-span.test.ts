// A span that follows what the last set held: on scenes that are computed here and judged as pictures are, and on judgements that are made up.
import { describe, expect, it } from 'vitest';
import { lackingAtEnds, NOT_MISSED } from '../../shared/clipping.js';
import { EvenrungError } from '../../shared/errors.js';
import type { LightView } from '../../shared/light.js';
import { levelOf } from '../../shared/srgb.js';
import {
  type BodyLimits,
  labelledShutters,
  type ShutterSetting,
  type Sixths,
  sixths,
  toEv,
} from '../../src/exposure/index.js';
import { coverageOf } from '../../src/light/coverage/coverage.js';
import { limitsFromStated, type PlanRequest, planSet, STATED_DEFAULTS } from '../../src/plan/index.js';
import { type NextSpan, type SpanFollowed, SpanFollower } from '../../src/series/follow-span.js';
import {
  afterChange,
  changeBetween,
  type FinishedSet,
  followSpan,
  NOTHING_REMEMBERED,
  remembered,
  type SpanLimits,
  type SpanTold,
  spanLimits,
  toldBy,
} from '../../src/series/span.js';
import { mostOfSpan, widestSpan } from '../../src/series/span-room.js';
import fc from '../seeded.js';

const STEP = sixths(6);
const LIMITS: SpanLimits = { fewestFrames: 3, mostFrames: 13, mostPerSet: 2 };
const BASE = sixths(0);

const span = (from: number, to: number, step: Sixths = STEP): Sixths[] =>
  Array.from({ length: Math.round((to - from) / toEv(step)) + 1 }, (_, index) =>
    sixths(Math.round(from * 6) + index * step),
  );

// --- Scenes whose light is known, judged by the sums that judge pictures.

const SIZE = { width: 160, height: 1 };
const COUNT = SIZE.width * SIZE.height;

/** Light of a cell, 1 being white at the base. */
type Scene = (cell: number) => number;

/**
 * The light rises by so many EV from left to right, about a middle in EV from white. By itself it lies in the middle of what the base holds: from
 * level 20, -7.2 EV, to level 240, -0.2 EV (IEC 61966-2-1).
 */
const ramp =
  (ev: number, middle = -3.7): Scene =>
  (cell) =>
    2 ** (middle + ev * ((cell % SIZE.width) / (SIZE.width - 1) - 0.5));

/** A set of it, as it is finished and judged. */
function made(scene: Scene, offsets: readonly Sixths[], asked = offsets): FinishedSet {
  const frames = offsets.map((offset, index) => {
    const pixels = new Uint8Array(COUNT * 3);
    for (let cell = 0; cell < COUNT; cell += 1)
      pixels.fill(levelOf(scene(cell) * 2 ** toEv(offset)), cell * 3, cell * 3 + 3);
    return { number: index + 1, offsetEv: toEv(offset), copy: { ...SIZE, pixels } };
  });
  const { sentence, ...coverage } = coverageOf(frames).coverage;
  const light: LightView = {
    ...{ sentence, coverage, again: [], map: 0, proof: null },
    frames: coverage.frames.map((frame) => ({ ...frame, steadiness: null, unread: null })),
  };
  return { isComplete: true, asked, frames: viewsOf(offsets), light };
}

const viewsOf = (offsets: readonly Sixths[]): FinishedSet['frames'] =>
  offsets.map((offset, index) => ({
    ...{ number: index + 1, offset: toEv(offset), state: 'verified' as const, clipped: null },
  }));

/** The closed loop: a set is made and judged, and the next span follows. @returns the spans, the first one too */
function loop(scene: (set: number) => Scene, first: readonly Sixths[], sets: number, limits = LIMITS) {
  const spans = [first];
  let memory = NOTHING_REMEMBERED;
  let offsets = first;
  for (let set = 0; set < sets; set += 1) {
    const told = toldBy(made(scene(set), offsets));
    if (typeof told === 'string') throw new Error(told);
    memory = remembered(memory, told);
    const next = followSpan({ offsets, step: STEP, told, memory, limits, keeps: BASE });
    memory = afterChange(memory, next.change);
    offsets = next.offsets;
    spans.push(offsets);
  }
  return spans;
}

const endsOf = (offsets: readonly Sixths[]): string =>
  `${toEv(offsets[0] ?? BASE)}..${toEv(offsets.at(-1) ?? BASE)}`;

describe('on a scene that is known', () => {
  it('both ends that lost something go on, by a frame each, until the set holds everything, and then it stays', () => {
    const spans = loop(() => ramp(14), span(-1, 1), 12);
    expect(made(ramp(14), spans[0] ?? []).light?.coverage?.holds).toBe(false);
    // Two frames from one set to the next.
    expect(spans.slice(0, 3).map(endsOf)).toEqual(['-1..1', '-2..2', '-3..3']);
    const last = spans.at(-1) ?? [];
    expect(made(ramp(14), last).light?.coverage?.holds).toBe(true);
    expect(spans.slice(-6).map(endsOf)).toEqual(Array(6).fill(endsOf(last)));
  });

  it('end frames of no use go, one at an end per set, after two sets in which they were', () => {
    const spans = loop(() => ramp(8), span(-6, 6), 20);
    expect(spans.slice(0, 4).map(endsOf)).toEqual(['-6..6', '-6..6', '-5..5', '-5..5']);
    const last = spans.at(-1) ?? [];
    expect(made(ramp(8), last).light?.coverage?.holds).toBe(true);
    expect(last.length).toBeLessThan(7);
    // One frame less at either end would not hold it, or would only just.
    for (const fewer of [last.slice(1), last.slice(0, -1)]) {
      const told = toldBy(made(ramp(8), fewer));
      expect(typeof told === 'string' || told.darker.isSpare || told.brighter.isSpare).toBe(false);
    }
  });

  it('a span at the wrong place moves to where the scene is', () => {
    // Its middle lies four stops higher than the base has it.
    const spans = loop(() => ramp(10, 1), span(-2, 4), 30);
    const last = spans.at(-1) ?? [];
    expect(made(ramp(10, 1), last).light?.coverage?.holds).toBe(true);
    expect(toEv(last[0] ?? BASE)).toBeLessThan(-3);
    expect(toEv(last.at(-1) ?? BASE)).toBeLessThan(4);
  });

  it('a set that is full takes its frames from the end where they are of no use', () => {
    const limits = { ...LIMITS, mostFrames: 8 };
    const spans = loop(() => ramp(10, 1), span(-3, 4), 30, limits);
    expect(spans.every(({ length }) => length <= 8)).toBe(true);
    expect(made(ramp(10, 1), spans.at(-1) ?? []).light?.coverage?.holds).toBe(true);
  });

  it('stands still where the scene does, wherever it begins, and loses nothing on the way that it held', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 2, max: 16, noNaN: true }),
        fc.double({ min: -6, max: 1, noNaN: true }),
        fc.integer({ min: -6, max: 0 }),
        fc.integer({ min: 0, max: 6 }),
        (ev, middle, from, to) => {
          const scene = ramp(ev, middle);
          const limits = { fewestFrames: 1, mostFrames: 25, mostPerSet: 2 };
          const spans = loop(() => scene, span(from, to), 40, limits);
          const last = spans.at(-1) ?? [];
          expect(new Set(spans.slice(-12).map(endsOf))).toEqual(new Set([endsOf(last)]));
          const held = spans.map((offsets) => made(scene, offsets).light?.coverage?.holds);
          // Once it holds the scene it does so for good.
          expect(held.slice(held.indexOf(true)).every(Boolean)).toBe(true);
          expect(held.at(-1)).toBe(true);
        },
      ),
      { numRuns: 20 },
    );
  });

  it('follows a scene that opens and closes by eight stops in sixty sets, and hardly ever lacks more than a stop', () => {
    const ev = (set: number) => 8 + 4 * (1 - Math.cos((2 * Math.PI * set) / 60));
    const spans = loop((set) => ramp(ev(set)), span(-2, 2), 60);
    const sizes = spans.map(({ length }) => length);
    expect(Math.max(...sizes)).toBeGreaterThan((sizes[0] ?? 0) + 3);
    expect(sizes.at(-1)).toBeLessThan(Math.max(...sizes) - 3);
    const lacking = spans.slice(0, 60).map((offsets, set) => {
      const { frames, light } = made(ramp(ev(set)), offsets);
      const { darker, brighter } = lackingAtEnds(frames, light?.coverage ?? null);
      return Math.max(darker, brighter);
    });
    expect(Math.max(...lacking.slice(1))).toBeLessThanOrEqual(1);
  });
});

describe('what a finished set tells', () => {
  const whole = made(ramp(10), span(-3, 3));
  const light = whole.light as LightView;

  it.each<[string, Partial<FinishedSet>, string]>([
    ['is not complete', { isComplete: false }, 'incomplete'],
    ['was not judged', { light: null }, 'unjudged'],
    ['had no picture that could be read', { light: { ...light, coverage: null } }, 'unjudged'],
    [
      'had a frame that could not be read',
      {
        light: {
          ...light,
          frames: light.frames.map((one) =>
            one.number === 1 ? { ...one, alone: null, exposed: null, unread: 'Broken.' } : one,
          ),
        },
      },
      'unjudged',
    ],
    ['has a frame that nobody looked at', { light: { ...light, frames: light.frames.slice(1) } }, 'unjudged'],
    [
      'does not get brighter as its exposures do',
      { light: { ...light, coverage: light.coverage && { ...light.coverage, isInStep: false } } },
      'out-of-step',
    ],
  ])('is nothing if it %s', (_, change, untold) => {
    expect(toldBy({ ...whole, ...change })).toBe(untold);
  });

  it('is by how many frames each end lacks, those among them that were added while it was made', () => {
    const asked = span(-1, 3);
    // Begun at -1 EV, and reached on to -3 EV by itself.
    const told = toldBy(made(ramp(10), span(-3, 3), asked)) as SpanTold;
    expect([told.darker.lacking, told.brighter.lacking]).toEqual([2, 0]);
    expect(told.darker.share).toBe(0);
  });

  it('no end is of no use that has lost nearly as much as is not missed', () => {
    const spare = toldBy(made(ramp(6), span(-5, 5))) as SpanTold;
    expect([spare.darker.isSpare, spare.brighter.isSpare]).toEqual([true, true]);
    const judged = made(ramp(6), span(-5, 5));
    const coverage = judged.light?.coverage;
    const lost = {
      ...judged,
      light: {
        ...(judged.light as LightView),
        frames: (judged.light?.frames ?? []).map((one) => ({ ...one, alone: 0.6 * NOT_MISSED })),
        coverage: coverage && {
          ...coverage,
          highlights: { share: 0.6 * NOT_MISSED, stops: 0, small: coverage.highlights.small },
        },
      },
    } as FinishedSet;
    const told = toldBy(lost) as SpanTold;
    expect([told.darker.isSpare, told.brighter.isSpare]).toEqual([false, true]);
    expect(told.darker.lacking).toBe(0);
  });
});

// --- Judgements that are made up.

const end = fc.record({
  lacking: fc.integer({ min: 0, max: 5 }),
  share: fc.double({ min: 0, max: 1, noNaN: true }),
  isSpare: fc.boolean(),
});
const told: fc.Arbitrary<SpanTold | null> = fc.option(fc.record({ darker: end, brighter: end }));

describe('whatever is told', () => {
  it('the span keeps to its limits, lies on the grid without a gap, and has the frame that the light is followed by', () => {
    fc.assert(
      fc.property(
        fc.array(told, { maxLength: 40 }),
        fc.constantFrom(2, 3, 4, 6, 8, 18),
        fc.integer({ min: 0, max: 6 }),
        fc.integer({ min: 0, max: 6 }),
        fc.record({
          fewer: fc.integer({ min: 0, max: 6 }),
          more: fc.integer({ min: 0, max: 9 }),
          mostPerSet: fc.integer({ min: 1, max: 6 }),
        }),
        (sets, step, below, above, { fewer, more, mostPerSet }) => {
          const first = Array.from({ length: below + above + 1 }, (_, index) =>
            sixths((index - below) * step),
          );
          const limits = {
            fewestFrames: Math.max(1, first.length - fewer),
            mostFrames: first.length + more,
            mostPerSet,
          };
          let offsets: readonly Sixths[] = first;
          let memory = NOTHING_REMEMBERED;
          for (const one of sets) {
            memory = remembered(memory, one);
            const next = followSpan({
              ...{ offsets, step: sixths(step), told: one, memory, limits, keeps: BASE },
            });
            const { darker, brighter } = next.change;
            expect(next.offsets.length).toBeGreaterThanOrEqual(limits.fewestFrames);
            expect(next.offsets.length).toBeLessThanOrEqual(limits.mostFrames);
            expect(Math.abs(darker) + Math.abs(brighter)).toBeLessThanOrEqual(mostPerSet);
            expect([Math.min(darker, brighter) >= -1]).toEqual([true]);
            expect(
              next.offsets.every((at, index) => index === 0 || at - (next.offsets[index - 1] ?? 0) === step),
            ).toBe(true);
            expect(next.offsets.every((at) => at % step === 0)).toBe(true);
            expect(next.offsets).toContain(BASE);
            expect(changeBetween(offsets, next.offsets, sixths(step))).toEqual({
              darker: darker + 0,
              brighter: brighter + 0,
            });
            if (one === null) expect(next.offsets).toBe(offsets);
            memory = afterChange(memory, next.change);
            offsets = next.offsets;
          }
        },
      ),
      { numRuns: 200 },
    );
  });

  const quiet = { lacking: 0, share: 0, isSpare: false };
  const spare = { ...quiet, isSpare: true };
  const lacks = { lacking: 1, share: 0.02, isSpare: false };

  /** @param tells what the pictures tell of the darker end @returns after how many sets a frame was left out there, each time */
  function drops(tells: (size: number, set: number) => SpanTold['darker'] | null, sets: number): number[] {
    let offsets: readonly Sixths[] = span(-3, 3);
    let memory = NOTHING_REMEMBERED;
    const at: number[] = [];
    for (let set = 0; set < sets; set += 1) {
      const darker = tells(offsets.length, set);
      const one = darker === null ? null : { darker, brighter: quiet };
      memory = remembered(memory, one);
      const next = followSpan({ offsets, step: STEP, told: one, memory, limits: LIMITS, keeps: BASE });
      memory = afterChange(memory, next.change);
      offsets = next.offsets;
      if (next.change.darker < 0) at.push(set + 1);
    }
    return at;
  }

  it('a frame is of no use in two sets one after the other before it goes; a set in between that tells nothing begins anew', () => {
    expect(drops(() => spare, 6)).toEqual([2, 4, 6]);
    expect(drops((_, set) => (set % 2 === 0 ? spare : quiet), 9)).toEqual([]);
    expect(drops((_, set) => (set % 2 === 0 ? spare : null), 9)).toEqual([]);
  });

  it('a frame that has to come back at once is left out ever more seldom', () => {
    // With it the end is said to be of no use; without it, to lack a frame.
    const at = drops((size) => (size < 7 ? lacks : spare), 400);
    // 2 sets, then each time twice as many, and the one in which it came back between them.
    expect(at).toEqual([2, 7, 16, 33, 66, 131, 260]);
  });

  it('one that comes back after a long time is missed because the scene has changed', () => {
    const at = drops((size, set) => (size < 7 && set % 8 === 7 ? lacks : size < 7 ? quiet : spare), 30);
    expect(at).toEqual([2, 10, 18, 26]);
  });

  it('where both ends lack, the one that lacks more comes first, and of a full set nothing is asked beyond its limit', () => {
    const next = followSpan({
      ...{ offsets: span(-3, 3), step: STEP, memory: NOTHING_REMEMBERED, keeps: BASE },
      limits: { ...LIMITS, mostFrames: 9, mostPerSet: 3 },
      told: { darker: { ...lacks, lacking: 2 }, brighter: { ...lacks, lacking: 4 } },
    });
    expect([endsOf(next.offsets), next.beyondMost]).toEqual(['-3..5', { darker: 2, brighter: 2 }]);
  });
});

describe('limits', () => {
  const usual = { fewestFrames: null, mostFrames: null, mostPerSet: 2 };

  it('that are left out follow from the first set', () => {
    expect(spanLimits(usual, 9)).toEqual({ fewestFrames: 3, mostFrames: 13, mostPerSet: 2 });
    expect(spanLimits(usual, 1)).toEqual({ fewestFrames: 1, mostFrames: 5, mostPerSet: 2 });
    expect(spanLimits(usual, 60)).toEqual({ fewestFrames: 3, mostFrames: 61, mostPerSet: 2 });
  });

  it.each([
    ['mostFrames', { ...usual, mostFrames: 7 }],
    ['fewestFrames', { ...usual, fewestFrames: 11 }],
  ])('that the first set lies outside of are refused: %s', (field, limits) => {
    try {
      spanLimits(limits, 9);
      expect.unreachable();
    } catch (cause) {
      expect(cause).toBeInstanceOf(EvenrungError);
      expect(cause).toMatchObject({ code: 'malformed-request', details: { field } });
    }
  });
});

// --- With a body and a slot.

const STATED = limitsFromStated(STATED_DEFAULTS);
const shutter = (label: string, limits: BodyLimits = STATED): ShutterSetting => {
  const found = labelledShutters(limits).find((setting) => setting.label === label);
  if (found === undefined) throw new Error(`No shutter ${label}.`);
  return found;
};

const FOLLOWED: SpanFollowed = {
  ...{ offsets: span(-3, 3), step: STEP, limits: LIMITS, everySeconds: 600, extend: 0 },
};
const toBeMade = (base: string, limits: BodyLimits = STATED) => ({
  request: { offsets: [], step: STEP, base: shutter(base, limits), mode: 'manual' } satisfies PlanRequest,
  ...{ limits, conditions: {} },
});

describe('what the body cannot make, or what does not fit the slot', () => {
  /** @param scene of every set @returns what was decided for each of them but the first */
  function follow(follower: SpanFollower, base: string, scene: Scene, sets: number): NextSpan[] {
    let offsets: readonly Sixths[] = FOLLOWED.offsets;
    return Array.from({ length: sets }, () => {
      const { frames, light } = made(scene, offsets);
      follower.setMade({ isComplete: true, frames, light });
      const next = follower.next(toBeMade(base));
      follower.begun(next);
      offsets = next.offsets;
      return next;
    });
  }

  it('is not asked for, and said once: shutters end', () => {
    // 1/1000 three stops down is 1/8000, where the shutters end. The other end is not kept waiting by that.
    const nexts = follow(new SpanFollower(FOLLOWED), '1/1000', ramp(14), 4);
    expect(nexts.map(({ offsets }) => endsOf(offsets))).toEqual(Array(4).fill('-3..4'));
    const [first, ...others] = nexts;
    expect(first?.news).toHaveLength(1);
    expect(first?.news[0]).toMatch(/^The span cannot reach as far as the scene\. .*−4.*1\/8000/);
    expect(others.flatMap(({ news }) => news)).toEqual([]);
    expect(nexts.map(({ reason }) => reason)).toEqual([
      expect.stringMatching(/^A brighter frame is added: /),
      ...[null, null, null],
    ]);
  });

  it('is not asked for, and said once: the slot ends', () => {
    // From 1/8 to 8 s the exposures take 16 s, with another one of 16 s more than there is between two sets.
    const nexts = follow(new SpanFollower({ ...FOLLOWED, everySeconds: 25 }), '1', ramp(14), 4);
    expect(nexts.map(({ offsets }) => endsOf(offsets))).toEqual(Array(4).fill('-4..3'));
    expect(nexts[0]?.news.join()).toMatch(
      /With a base exposure of 1 s the set takes [^,]+, longer than the interval of 25 s\./,
    );
    expect(nexts.slice(1).flatMap(({ news }) => news)).toEqual([]);
  });

  it('goes again when the base gets slower', () => {
    const follower = new SpanFollower({ ...FOLLOWED, everySeconds: 100 });
    const wide = follow(follower, '1/4', ramp(14), 3).at(-1);
    expect(endsOf(wide?.offsets ?? [])).toBe('-4..4');
    const { frames, light } = made(ramp(14), wide?.offsets ?? []);
    follower.setMade({ isComplete: true, frames, light });
    // 16 times 4 s is no shutter any more.
    const next = follower.next(toBeMade('4'));
    expect(endsOf(next.offsets)).toBe('-4..3');
    expect(next.reason).toBe(
      'The brightest frame is left out: with this base exposure there is no room for it. The span is now −4 to +3 EV, 8 frames.',
    );
    expect(next.news.join()).toMatch(/^The span cannot reach as far as the scene\./);
  });
});

describe('from set to set', () => {
  const tell = (follower: SpanFollower, scene: Scene, offsets: readonly Sixths[], isComplete = true) => {
    const { frames, light } = made(scene, offsets);
    follower.setMade({ isComplete, frames, light });
  };

  it('says why it changed, and what it is now', () => {
    const follower = new SpanFollower(FOLLOWED);
    tell(follower, ramp(13, -4.2), FOLLOWED.offsets);
    const next = follower.next(toBeMade('1/60'));
    expect(next.reason).toMatch(
      /^A brighter frame is added: \d+% of the picture was too dark even in the brightest frame of the last set\. The span is now −3 to \+4 EV, 8 frames\.$/,
    );
    follower.begun(next);
    tell(follower, ramp(4), next.offsets);
    expect(follower.next(toBeMade('1/60')).reason).toBeNull();
    follower.begun(follower.next(toBeMade('1/60')));
    tell(follower, ramp(4), next.offsets);
    expect(follower.next(toBeMade('1/60')).reason).toBe(
      'The darkest frame is left out: in the last 2 sets it held nothing that other frames did not. The brightest frame is left out: in the last 2 sets it held nothing that other frames did not. The span is now −2 to +3 EV, 6 frames.',
    );
  });

  it('stays, and says once why, as long as nothing can be told', () => {
    const follower = new SpanFollower(FOLLOWED);
    const said = [false, false, true].map((isComplete) => {
      tell(follower, ramp(14), FOLLOWED.offsets, isComplete);
      const next = follower.next(toBeMade('1/60'));
      follower.begun(next);
      return [endsOf(next.offsets), ...next.news];
    });
    expect(said).toEqual([
      ['-3..3', 'The span stays as it is: the last set is not complete.'],
      ['-3..3'],
      [expect.stringMatching(/^-[34]\.\.[34]$/)],
    ]);
  });

  it('a set that was not begun changes nothing, and the next one says why', () => {
    const follower = new SpanFollower(FOLLOWED);
    tell(follower, ramp(14), FOLLOWED.offsets);
    expect(follower.next(toBeMade('1/60'))).toEqual(follower.next(toBeMade('1/60')));
    expect(follower.next(toBeMade('1/60')).reason).not.toBeNull();
  });

  it('goes on after a restart as it would have, whenever that comes', () => {
    const scenes = [ramp(14), ramp(14), ramp(5), ramp(5), ramp(5), ramp(5), ramp(14), ramp(3), ramp(3)];
    const decided = (restarts: boolean): string[] => {
      let follower = new SpanFollower(FOLLOWED);
      const again = () => {
        if (restarts) follower = new SpanFollower(FOLLOWED, JSON.parse(JSON.stringify(follower.memo)));
      };
      let offsets: readonly Sixths[] = FOLLOWED.offsets;
      return scenes.map((scene) => {
        again();
        tell(follower, scene, offsets);
        again();
        const next = follower.next(toBeMade('1/60'));
        follower.begun(next);
        offsets = next.offsets;
        return `${endsOf(offsets)} ${next.reason} ${next.news.join()}`;
      });
    };
    expect(new Set(decided(false).map((one) => one.split(' ')[0])).size).toBe(3);
    expect(decided(true)).toEqual(decided(false));
  });

  it('says once that a full set lacks something', () => {
    const follower = new SpanFollower({ ...FOLLOWED, limits: { ...LIMITS, mostFrames: 7 } });
    const news = [1, 2].map(() => {
      tell(follower, ramp(14), FOLLOWED.offsets);
      const next = follower.next(toBeMade('1/60'));
      follower.begun(next);
      return next.news;
    });
    expect(news).toEqual([
      [
        'The span has 7 frames, the most allowed, and needs about 1 more at the darker end and about 1 more at the brighter end: allow more frames, or use a wider step.',
      ],
      [],
    ]);
  });
});

describe('what the sets of a schedule may come to', () => {
  const request: PlanRequest = { offsets: span(-1, 1), step: STEP, base: shutter('1/60'), mode: 'manual' };
  const asked = { limits: STATED, conditions: {}, everySeconds: 600 };

  it('is the most frames, at both ends in equal parts', () => {
    expect(endsOf(widestSpan({ request, ...asked }, 7))).toBe('-3..3');
    expect(endsOf(widestSpan({ request, ...asked }, 6))).toBe('-2..3');
  });

  it('is at the other end where one cannot go on', () => {
    const fast = { ...request, base: shutter('1/4000') };
    expect(endsOf(widestSpan({ request: fast, ...asked }, 9))).toBe('-1..7');
    const slow = { ...request, base: shutter('15') };
    expect(endsOf(widestSpan({ request: slow, ...asked }, 9))).toBe('-7..1');
  });

  it('is no more than the slot has room for, also with the frames that may be added while a set is made', () => {
    const slow = { ...request, base: shutter('1') };
    const fitting = (extend: number) => widestSpan({ request: slow, ...asked, everySeconds: 60, extend }, 13);
    const { estimate } = planSet({ ...slow, offsets: fitting(0) }, STATED);
    expect(estimate.seconds).toBeLessThanOrEqual(60);
    expect(fitting(0).at(-1)).toBeGreaterThan(fitting(1).at(-1) ?? 0);
  });

  it('says what was counted; nothing where the span stays', () => {
    const plan = planSet(request, STATED);
    const span = { fewestFrames: 3, mostFrames: 7, mostPerSet: 2 };
    const most = mostOfSpan(plan, { extend: 0 }, { ...asked, span });
    expect(most.plan.offsets).toHaveLength(7);
    expect(most.counted).toBe('The span follows the scene, so this counts 7 frames a set, the most allowed.');
    expect(mostOfSpan(plan, { extend: 0 }, { ...asked, span: null })).toEqual({ plan, counted: null });
  });
});
