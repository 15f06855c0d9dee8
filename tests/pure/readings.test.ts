// From two spot readings to base and frames: the arithmetic, worked by hand, and what a body cannot do.
import { converter } from 'culori';
import { describe, expect, it } from 'vitest';
import type { EvenrungError } from '../../shared/errors.js';
import { isMetered, parseSetRequest, type WrittenReadings } from '../../shared/request.js';
import {
  type BodyLimits,
  bulbSettings,
  EV_ABOVE,
  evToNoise,
  fewestFrames,
  GREY_LEVEL,
  greyTv,
  SHUTTER_SCALES,
  SUN_METERED_EV100,
  sixths,
  timeAt,
  toEv,
  usualRoom,
} from '../../src/exposure/index.js';
import {
  limitsFromStated,
  type MeteredAt,
  placeReadings,
  planWritten,
  STATED_DEFAULTS,
  toWirePlan,
} from '../../src/plan/index.js';

const LIMITS = limitsFromStated(STATED_DEFAULTS);
const F8: MeteredAt = { fNumber: 8, iso: 100, files: 'raw' };
const JPEG: MeteredAt = { ...F8, files: 'jpeg' };
const UNTOLD: MeteredAt = { fNumber: null, iso: null, files: null };

function placed(
  readings: WrittenReadings,
  step: number | string,
  { at = F8, limits = LIMITS }: { at?: MeteredAt; limits?: BodyLimits } = {},
) {
  const asked = parseSetRequest({ readings, step });
  if (!isMetered(asked)) throw new Error('It was not asked by readings.');
  return placeReadings(asked, limits, at);
}

/** The nominal times of the frames, the darkest first. */
function timesOf(...args: Parameters<typeof placed>): string[] {
  const { conditions: _, ...request } = placed(...args);
  const { passes } = planWritten(request, args[2]?.limits ?? LIMITS);
  return passes
    .flatMap(({ frames }) => frames)
    .sort((a, b) => a.offset - b.offset)
    .map(({ shutter }) => shutter.label);
}

function refusalOf(...args: Parameters<typeof placed>): EvenrungError {
  try {
    placed(...args);
  } catch (cause) {
    return cause as EvenrungError;
  }
  throw new Error('It was not refused.');
}

const readings = (darkest: string, brightest: string): WrittenReadings => ({ darkest, brightest });

describe('room', () => {
  it('above middle grey is up to clipping', () => {
    // ISO 12232 (constants from memory): clipping at 78 / S, mean at 10 / S.
    expect(EV_ABOVE.raw).toBeCloseTo(Math.log2(78 / 10), 6);
    expect(EV_ABOVE.raw).toBeCloseTo(2.963, 3);
    // Source of linear light: culori's curve of sRGB.
    const { r = 0 } = converter('lrgb')({ mode: 'rgb', r: GREY_LEVEL / 255, g: 0, b: 0 });
    expect(EV_ABOVE.jpeg).toBeCloseTo(Math.log2(1 / r), 6);
    expect(EV_ABOVE.jpeg).toBeCloseTo(2.465, 3);
  });

  it('below it is down to noise, a stop less for each doubling of ISO', () => {
    // By hand: e^2 = 100 (e + 9), so e = 50 + sqrt(3400) = 108.3; 30000 / 7.8 / 108.3 = 35.5; log2 of it 5.15.
    expect(evToNoise(100)).toBeCloseTo(5.15, 2);
    expect(evToNoise(100) - evToNoise(800)).toBeCloseTo(3, 9);
    // A signal of 10 times its noise: 108.3 / sqrt(108.3 + 9).
    expect(108.3 / Math.sqrt(108.3 + 9)).toBeCloseTo(10, 2);
  });

  it.each([
    // The sixths nearest to 2.963 and 2.465; 4 and 3 at most; 5.15 - 2 = 3.15, 5.15 - 3 = 2.15; 1 at least.
    ['raw', null, 3, 4],
    ['raw', 100, 3, 4],
    ['raw', 400, 3, 19 / 6],
    ['raw', 800, 3, 13 / 6],
    ['raw', 25_600, 3, 1],
    ['jpeg', 100, 2.5, 3],
    ['jpeg', 400, 2.5, 3],
    ['jpeg', 800, 2.5, 13 / 6],
  ] as const)('%s at ISO %s: %s above, %s below', (files, iso, above, below) => {
    const room = usualRoom(files, iso);
    expect([toEv(room.above), toEv(room.below)]).toEqual([above, below]);
  });
});

describe('the exposure of a reading', () => {
  it.each([
    // Nominal times stand for powers of two (Exif 2.32, annex C): 1/60 is 1/64, 30 is 32.
    [{ kind: 'time', seconds: 1 / 60 }, 6],
    [{ kind: 'time', seconds: 30 }, -5],
    [{ kind: 'time', seconds: 1 / 125 }, 7],
    // On no scale: log2(45) = 5.49.
    [{ kind: 'time', seconds: 45 }, -5.5],
    // EV 13 at ISO 100 is f/8 at 1/125 s (ISO 2720): Tv = 13 - 6.
    [{ kind: 'ev', ev100: 13 }, 7],
    // Nearest sixth of 9.3 - 6.
    [{ kind: 'ev', ev100: 9.3 }, 20 / 6],
    // 4096 * 0.125 cd/m2 is EV 12 with K = 12.5 (ISO 2720).
    [{ kind: 'luminance', luminance: 512 }, 6],
  ] as const)('%j at f/8, ISO 100: Tv %s', (reading, tv) => {
    expect(toEv(greyTv(reading, { fNumber: 8, iso: 100 }) ?? sixths(0))).toBeCloseTo(tv, 9);
  });

  it('moves with aperture and ISO, but for a time', () => {
    // f/5.6 lets in a stop more than f/8, ISO 400 needs two stops less.
    expect(greyTv({ kind: 'ev', ev100: 13 }, { fNumber: 5.6, iso: 400 })).toBe(60);
    expect(greyTv({ kind: 'time', seconds: 1 / 125 }, { fNumber: 5.6, iso: 400 })).toBe(42);
    expect(greyTv({ kind: 'time', seconds: 1 / 125 }, { fNumber: null, iso: null })).toBe(42);
    expect(greyTv({ kind: 'ev', ev100: 13 }, { fNumber: null, iso: 400 })).toBeUndefined();
    expect(greyTv({ kind: 'luminance', luminance: 512 }, { fNumber: 8, iso: null })).toBeUndefined();
  });
});

describe('the fewest frames', () => {
  it.each([
    // n = max(1, ceil((R - r) / s) + 1), by hand.
    [9, 2.5, 3, 1, 5],
    [9, 3, 4, 1, 3],
    [11, 3, 4, 1, 5],
    [11, 3, 4, 2, 3],
    [11, 3, 4, 3, 3],
    [7, 3, 4, 1, 1],
    [7 + 1 / 6, 3, 4, 1, 2],
    [0, 3, 4, 1, 1],
    [14, 3, 4, 1 / 3, 22],
  ])('R %s, r %s + %s, s %s: %s', (range, above, below, step, frames) => {
    const s = (ev: number) => sixths(Math.round(ev * 6));
    expect(fewestFrames(s(range), { above: s(above), below: s(below) }, s(step))).toBe(frames);
  });
});

describe('two readings', () => {
  it('of the boathouse at dusk, as hardware-notes/light.md works them out', () => {
    // Invented: Tv of the beams -1 - 6 = -7, of the lake 10 - 6 = 4; n = (11 - 7) / 1 + 1; from 4 - 3 to -7 + 4.
    const request = placed(readings('EV -1', 'EV 10'), 1);
    expect(request.base).toBe('2');
    expect(request.offsets).toEqual([-12, -6, 0, 6, 12]);
    expect(timesOf(readings('EV -1', 'EV 10'), 1)).toEqual(['0.5', '1', '2', '4', '8']);
    expect(request.readings).toEqual({
      darkest: {
        ...{ written: 'EV -1', ev100: -1, shutter: '1/0', frame: 5, fromGrey: -4 },
        shutter: '128',
        sentence:
          'The darkest part (EV -1) falls 4 stops below middle grey in frame 5 (8 s), just above where noise drowns detail.',
      },
      brightest: {
        ...{ written: 'EV 10', ev100: 10, shutter: '1/15', frame: 1, fromGrey: 3 },
        sentence:
          'The brightest part (EV 10) falls 3 stops above middle grey in frame 1 (0.5 s), just below clipping.',
      },
      room: {
        ...{ above: 3, below: 4 },
        sentence:
          'Each frame is taken to hold 3 EV above middle grey and 4 EV below it, as raw files usually do at ISO 100.',
      },
    });
  });

  it.each([
    // By hand, thirds. JPEG: slowest darkest frame 11 - 2 1/2 = 8 1/2; with 5 frames the brightest needs 2 + 3 = 5, so the darkest lies from
    // 8 1/2 to 9: of 8 2/3 (spares 1/6 and 1/3) and 9 (1/2 and 0) the first is the more even.
    [
      'JPEG, thirds',
      readings('1/4', '1/2000'),
      1,
      JPEG,
      undefined,
      ['1/400', '1/200', '1/100', '1/50', '1/25'],
    ],
    // Raw: from 11 - 3 = 8 to 2 + 4 + 2 = 8.
    ['raw, thirds', readings('1/4', '1/2000'), 1, F8, undefined, ['1/250', '1/125', '1/60']],
    // Halves: 8 1/2 (0 and 1/2) and 9 (1/2 and 0) are as even, and more is spared above.
    ['JPEG, halves', readings('1/4', '1/2000'), 1, JPEG, '1/2', ['1/500', '1/250', '1/125', '1/60', '1/30']],
    // R = 8 - 6 = 2: one frame holds it; it may lie from 8 - 3 to 6 + 4, and 7 1/2 is the middle: 7 2/3 spares more above.
    ['one frame', readings('1/60', '1/250'), 1, F8, undefined, ['1/200']],
    // An even number: R = 8, n = 2, from 10 - 3 = 7 to 2 + 4 + 1 = 7.
    ['two frames', readings('1/4', '1/1000'), 1, F8, undefined, ['1/125', '1/60']],
  ] as const)('%s', (_, metered, step, at, steps, times) => {
    const limits = steps === undefined ? LIMITS : limitsFromStated({ ...STATED_DEFAULTS, bodySteps: steps });
    expect(timesOf(metered, step, { at, limits })).toEqual(times);
  });

  it('count from the darker of two middle frames, as a number of frames does', () => {
    expect(placed(readings('1/4', '1/1000'), 1)).toMatchObject({ base: '1/125', offsets: [0, 6] });
  });

  it('take one frame more where the settings of the body carry no fewer', () => {
    // Tv 1 5/6 and 10 2/3, whole stops only. JPEG: R = 8 5/6, n = ceil(3 1/3) + 1 = 5, the darkest frame from 8 1/6 to 8 5/6: no whole stop.
    const whole = { ...LIMITS, shutters: SHUTTER_SCALES.full };
    const metered = { darkest: 'EV 7.8333', brightest: 'EV 16.6667' };
    const request = placed(metered, 1, { at: JPEG, limits: whole });
    expect(request.offsets).toHaveLength(6);
    // From 8 1/6 to 9 5/6 now: 9 spares 5/6 at either end.
    expect(request.readings?.brightest.fromGrey).toBeCloseTo(1 + 2 / 3, 9);
    expect(request.readings?.darkest.fromGrey).toBeCloseTo(-(2 + 1 / 6), 9);
    expect(placed(metered, 1, { at: JPEG }).offsets).toHaveLength(5);
  });

  it('stand on a labelled setting where the frames are held by bulb', () => {
    const shutters = [...bulbSettings(LIMITS.shutters, 'Bulb', 900), ...LIMITS.shutters];
    const limits = { ...LIMITS, shutters };
    // Tv -12 and -5: R = 7, raw holds it in one frame of -5 - 3 = -8 (256 s).
    const request = placed(readings('4096', '30'), 1, { limits });
    expect(request).toMatchObject({ base: '30', offsets: [18] });
    expect(request.readings?.darkest).toMatchObject({ frame: 1, fromGrey: -4 });
  });

  it('leave out what the link cannot bring back', () => {
    // Raw, Tv -6 and 1: one frame of 4 s (-2). The link brings 2 s back at most.
    expect(timesOf(readings('64', '1/2'), 1)).toEqual(['4']);
    const short = { ...LIMITS, longestSeconds: 2 };
    expect(refusalOf(readings('64', '1/2'), 1, { limits: short })).toMatchObject({
      code: 'outside-shutter-range',
      details: { field: 'darkest' },
    });
  });

  it('go by what was measured on the body, and first by what somebody says', () => {
    const measured = { ...F8, measured: { above: 3.4 } };
    expect(placed(readings('1/4', '1/2000'), 1, { at: measured }).readings?.room).toEqual({
      ...{ above: 20 / 6, below: 4 },
      sentence:
        "Each frame is taken to hold 3 1/3 EV above middle grey, as this camera's profile says, and 4 EV below it, as raw files usually do at ISO 100.",
    });
    const said = { ...readings('1/4', '1/2000'), roomAbove: 2, roomBelow: 2 };
    expect(placed(said, 1, { at: measured }).readings?.room).toEqual({
      ...{ above: 2, below: 2 },
      sentence: 'Each frame is taken to hold 2 EV above middle grey and 2 EV below it, as you gave it.',
    });
    expect(placed(readings('1/4', '1/2000'), 1, { at: UNTOLD }).readings?.room.sentence).toBe(
      'Each frame is taken to hold 2 1/2 EV above middle grey and 3 EV below it, as JPEG files usually do: the camera does not tell whether these are raw.',
    );
    const files = { ...readings('1/4', '1/2000'), files: 'raw' as const };
    expect(placed(files, 1, { at: UNTOLD }).readings?.room).toMatchObject({ above: 3, below: 4 });
    // The camera knows better.
    expect(placed(files, 1, { at: JPEG }).readings?.room).toMatchObject({ above: 2.5, below: 3 });
  });

  it('cross the wire with the plan', () => {
    const { conditions: _, ...request } = placed(readings('1/4', '1/2000'), 1);
    const wire = toWirePlan(planWritten(request, LIMITS));
    expect(wire.base.shutter).toBe('1/125');
    expect(wire.readings).toEqual(request.readings);
  });
});

describe('readings that cannot be met', () => {
  it.each([
    [
      '1/2000',
      '1/4',
      'darkest',
      'The darkest part (1/2000 s) reads brighter than the brightest part (1/4 s): swap the two.',
    ],
    [
      '1/4',
      'EV 5',
      'darkest',
      'The darkest part (1/4 s) reads brighter than the brightest part (EV 5): swap the two.',
    ],
    [
      '1/4',
      '1/4',
      'brightest',
      'Both parts read the same (1/4 s). Meter the darkest and the brightest part that must keep detail, or shoot one frame at 1/4 s.',
    ],
    [
      '1/4',
      'EV 8.01',
      'brightest',
      'Both parts read the same (1/4 s, EV 8.01). Meter the darkest and the brightest part that must keep detail, or shoot one frame at 1/4 s.',
    ],
    [
      '1/4',
      'EV 60',
      'brightest',
      "EV 60 is brighter than the sun's disc at noon: check the reading of the brightest part.",
    ],
    [
      '1/4',
      '1e15 cd/m2',
      'brightest',
      "1000000000000000 cd/m² is brighter than the sun's disc at noon: check the reading of the brightest part.",
    ],
    ['EV -13', '1/4', 'darkest', 'EV -13 is darker than any night: check the reading of the darkest part.'],
    ['100000', '1/4', 'darkest', 'No meter reads 100000 s: check the reading of the darkest part.'],
    ['1/4', '1/9000000', 'brightest', 'No meter reads 1/9000000 s: check the reading of the brightest part.'],
  ])('%s and %s', (darkest, brightest, field, message) => {
    expect(refusalOf(readings(darkest, brightest), 1)).toMatchObject({
      code: 'readings-unusable',
      message,
      details: { field },
    });
  });

  it('are offered the other way round, as they were written', () => {
    const { details } = refusalOf({ ...readings('1/2000', 'EV 7'), aperture: 8 }, 1);
    expect(details.suggestions).toEqual([
      {
        code: 'readings',
        message: 'Darkest part EV 7, brightest part 1/2000 s.',
        change: { readings: { darkest: 'EV 7', brightest: '1/2000' } },
      },
    ]);
    expect(placed(readings('EV 7', '1/2000'), 1).offsets.length).toBeGreaterThan(1);
  });

  it.each([
    [UNTOLD, 'the aperture and the ISO. Give both'],
    [{ ...F8, fNumber: null }, 'the aperture. Give it'],
    [{ ...F8, iso: null }, 'the ISO. Give it'],
  ])('%j, and EV', (at, what) => {
    expect(refusalOf(readings('1/4', 'EV 12'), 1, { at })).toMatchObject({
      code: 'readings-unusable',
      message: `Such a reading needs the aperture and ISO, and the camera does not tell ${what}, or write the reading as a shutter time at the camera's aperture and ISO.`,
      details: { field: 'brightest' },
    });
    const said = { ...readings('1/4', 'EV 12'), aperture: 8, iso: 100 };
    expect(placed(said, 1, { at }).readings?.brightest.ev100).toBe(12);
    expect(placed(readings('1/4', '1/60'), 1, { at }).readings?.brightest.ev100 ?? null).toBeNull();
  });

  it('for another aperture than the camera stands at', () => {
    expect(refusalOf({ ...readings('1/4', '1/2000'), aperture: 11 }, 1)).toMatchObject({
      code: 'limits-contradict',
      message: 'The camera is at f/8, but the readings are for f/11: change the camera, or leave that out.',
    });
    // 3.5 and 3.6 are the same lens, written otherwise.
    const at = { ...F8, fNumber: 3.6 };
    expect(placed({ ...readings('1/4', '1/2000'), aperture: 3.5 }, 1, { at }).base).toBe('1/125');
  });

  it.each([
    // EV 22 at f/8: Tv 16, raw 13 or shorter; 1/8000 is 13: it just fits. EV 23 lacks one stop.
    [
      readings('EV 12', 'EV 23'),
      F8,
      'brightest',
      /^The brightest part needs a frame of 1\/16000 s or shorter, and this camera's shutter times are 30 s to 1\/8000 s: use the aperture at f\/11 instead of f\/8, or ISO 50 instead of 100\. /,
    ],
    // 1/32000 is Tv 15: in a JPEG 12 1/2 or shorter, and the camera's fastest is 1/1000 (10); 2 1/2 in thirds of a dial are 2 2/3.
    [
      readings('1/60', '1/32000'),
      UNTOLD,
      'brightest',
      /1\/6000 s or shorter.*: use the aperture 2 2\/3 stops smaller, or the ISO 2 2\/3 stops lower, and meter both parts again\.$/,
    ],
    // Tv -10 and -3, raw: -6 or longer, and 30 s is -5.
    [
      readings('EV -4', 'EV 3'),
      F8,
      'darkest',
      /^The darkest part needs a frame of 64 s or longer, and .*: use the aperture at f\/5\.6 instead of f\/8, or ISO 200 instead of 100\.$/,
    ],
    [
      readings('EV -8', 'EV 24'),
      F8,
      'brightest',
      /^These two parts are farther apart than this camera's shutter times, 30 s to 1\/8000 s, can hold. Give up detail at one end/,
    ],
  ] as const)('%j', (metered, at, field, message) => {
    const shutterRange = at === UNTOLD ? '30..1/1000' : '30..1/8000';
    const limits = limitsFromStated({ ...STATED_DEFAULTS, shutterRange });
    const step = field === 'darkest' ? 1 : 2;
    const refusal = refusalOf(metered, step, { at, limits });
    expect(refusal).toMatchObject({ code: 'outside-shutter-range', details: { field } });
    expect(refusal.message).toMatch(message);
  });

  it('in a step that the settings do not carry, with one that was tried', () => {
    const whole = { ...LIMITS, shutters: SHUTTER_SCALES.full };
    const refusal = refusalOf(readings('1/4', '1/2000'), '2/3', { at: JPEG, limits: whole });
    expect(refusal).toMatchObject({
      code: 'step-not-offered',
      message: 'In steps of 2/3 EV, no frames from 30 s to 1/32000 s hold both parts. Use another step.',
      details: { field: 'step', suggestions: [{ code: 'step', change: { step: '1' } }] },
    });
    expect(placed(readings('1/4', '1/2000'), 1, { at: JPEG, limits: whole }).offsets).toHaveLength(5);
  });

  it('in a step wider than a frame, or too small for the scene', () => {
    const narrow = { ...readings('1/4', '1/2000'), roomAbove: 1, roomBelow: 0.5 };
    expect(refusalOf(narrow, 2)).toMatchObject({
      code: 'readings-unusable',
      message:
        'Each frame holds 1 1/2 EV, so a step of 2 EV would leave gaps: some tones would be in no frame. Use a step of 1 1/2 EV or less.',
      details: { field: 'step', suggestions: [{ change: { step: '1 1/2' } }] },
    });
    expect(refusalOf({ ...narrow, roomAbove: 0, roomBelow: 0 }, 1).message).toMatch(/Check the room/);
    // R = 33, r = 7: 79 frames in thirds; halves take 53.
    expect(refusalOf(readings('EV -5', 'EV 28'), '1/3')).toMatchObject({
      code: 'readings-unusable',
      message: 'That would take 79 frames, and 61 are the most: use a wider step, or meter again.',
      details: { field: 'step', suggestions: [{ change: { step: '1/2' } }] },
    });
  });
});

describe('the sun in a reading', () => {
  const fast = limitsFromStated({ ...STATED_DEFAULTS, shutterRange: '30..1/32000' });
  const codesAt = (brightest: string) => {
    const { conditions: _, ...request } = placed(readings('EV 8', brightest), 1, { limits: fast });
    return planWritten(request, fast, { fNumber: 8, iso: 100 }).warnings.map(({ code }) => code);
  };

  it('is a caution of the plan, and takes the place of the weaker one', () => {
    // From memory: a frosted lamp 120000 cd/m2, EV 19.9; the sun on the horizon 600000 cd/m2, EV 22.2.
    expect(codesAt('600000 cd/m2')).toContain('sun-metered');
    expect(codesAt('600000 cd/m2')).not.toContain('sun');
    expect(codesAt('120000 cd/m2')).not.toContain('sun-metered');
    expect(codesAt(`EV ${SUN_METERED_EV100}`)).toContain('sun-metered');
    expect(codesAt('EV 20.9')).not.toContain('sun-metered');
  });

  it('is looked for behind a time as well, where aperture and ISO are known', () => {
    // Tv 15 at f/8 and ISO 100: EV 21.
    expect(codesAt('1/32000')).toContain('sun-metered');
    const { conditions: _, ...request } = placed(readings('1/4', '1/32000'), 1, { at: UNTOLD, limits: fast });
    expect(planWritten(request, fast).warnings).toEqual([]);
  });

  it('is told where the set is refused as well, so that nobody looks for a smaller aperture first', () => {
    expect(refusalOf(readings('EV 12', 'EV 23'), 2).message).toMatch(
      /The brightest part reads EV 23\.0: only the sun/,
    );
    expect(timeAt(sixths(84)).label).toBe('1/16000');
  });
});
