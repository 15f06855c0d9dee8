import { describe, expect, it } from 'vitest';
import { isoSettings, SHUTTER_SCALES, type Sixths, sixths, toEv } from '../../src/exposure/index.js';
import { type Level, measureLevel } from '../../src/series/level.js';
import {
  type Base,
  followLight,
  type LightLimits,
  type LightStep,
  type MeasuredSet,
} from '../../src/series/light.js';

const ISOS = isoSettings(
  '100 125 160 200 250 320 400 500 640 800 1000 1250 1600 2000 2500 3200 4000 5000 6400'.split(' '),
);
const never = (): never => {
  throw new Error('No such setting.');
};
const sv = (iso: number): Sixths => ISOS.find((setting) => setting.iso === iso)?.sv ?? never();
const tv = (label: string): Sixths =>
  SHUTTER_SCALES.third.find((setting) => setting.label === label)?.tv ?? never();

const LIMITS: LightLimits = {
  shutters: SHUTTER_SCALES.third,
  isos: ISOS,
  slowestTv: tv('8'),
  fastestTv: tv('1/4000'),
  leastSv: sv(100),
  mostSv: sv(6400),
  mostPerSet: sixths(6),
};

const EVERY_SECONDS = 240;

/** Numbers from 0 to 1 that are the same in every run of the test (mulberry32, in the public domain). */
function seeded(seed: number): () => number {
  let state = seed;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

/** Of mean 0 and deviation 1 (Box and Muller 1958). */
const normal = (random: () => number): number =>
  Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());

/** IEC 61966-2-1, from linear light to an 8-bit sRGB value. */
function encoded(linear: number): number {
  const value = Math.min(1, Math.max(0, linear));
  return Math.round(255 * (value <= 0.0031308 ? value * 12.92 : 1.055 * value ** (1 / 2.4) - 0.055));
}

const SIZE = { width: 32, height: 24 };

interface Weather {
  /** EV of the scene against the first set. */
  readonly sceneEv: number;
  readonly noise?: (() => number) | undefined;
  /** Shares of the width that a headlamp's glare covers, and its EV above the scene; none where it is left out. */
  readonly car?: { readonly from: number; readonly to: number; readonly ev: number } | undefined;
}

/** An invented scene: dark below, light above, five stops apart, mid grey at 0 EV. */
function picture({ sceneEv, noise, car }: Weather, base: Base, first: Base): Uint8Array {
  const { width, height } = SIZE;
  const exposure = sceneEv + toEv(sixths(base.sv - base.tv - (first.sv - first.tv)));
  const pixels = new Uint8Array(width * height * 3);
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) {
      const glare = car !== undefined && x / width >= car.from && x / width < car.to ? car.ev : 0;
      const ev = Math.log2(0.18) + 2.5 - (5 * y) / height + exposure + glare;
      const value = encoded(2 ** ev * (1 + 0.05 * (noise?.() ?? 0)));
      pixels.fill(value, (y * width + x) * 3, (y * width + x) * 3 + 3);
    }
  }
  return pixels;
}

const levelOf = (weather: Weather, base: Base, first: Base): Level =>
  measureLevel(picture(weather, base, first), { ...SIZE, channels: 3 });

interface Night {
  readonly sets: number;
  /** EV against the first set, by the set's number from 0. */
  readonly sceneEv: (set: number) => number;
  readonly first: Base;
  readonly limits?: LightLimits;
  readonly seed?: number;
  readonly flickerEv?: number;
  readonly cars?: number;
}

interface Followed {
  /** EV by which each middle frame was brighter than the first, cars and noise aside. */
  readonly errors: readonly number[];
  readonly steps: readonly LightStep[];
  /** Sets in which a car passed. */
  readonly cars: readonly number[];
}

/** The closed loop: a set is made, measured, and the next base follows from what was measured. */
function follow({ sets, sceneEv, first, limits = LIMITS, seed, flickerEv = 0, cars = 0 }: Night): Followed {
  const random = seed === undefined ? undefined : seeded(seed);
  const noise = random === undefined ? undefined : () => normal(random);
  const history: MeasuredSet[] = [];
  const steps: LightStep[] = [];
  const errors: number[] = [];
  let base = first;
  const passed: number[] = [];
  for (let set = 0; set < sets; set += 1) {
    const flicker = (noise?.() ?? 0) * flickerEv;
    const isCar = set > 0 && random !== undefined && random() < cars;
    const car =
      isCar && random !== undefined
        ? { from: 0.1 * random(), to: 0.3 + 0.7 * random(), ev: 3 + 4 * random() }
        : undefined;
    if (car !== undefined) passed.push(set);
    const level = levelOf({ sceneEv: sceneEv(set) + flicker, noise, car }, base, first);
    errors.push(sceneEv(set) + toEv(sixths(base.sv - base.tv - (first.sv - first.tv))));
    history.push({ at: set * EVERY_SECONDS * 1000, base, level });
    const reference = history[0]?.level ?? level;
    const nextAt = (set + 1) * EVERY_SECONDS * 1000;
    const step = followLight({
      history: history.slice(-10),
      reference,
      nextAt,
      everySeconds: EVERY_SECONDS,
      limits,
    });
    steps.push(step);
    base = step.base;
  }
  return { errors, steps, cars: passed };
}

const worst = (errors: readonly number[]): number => Math.max(...errors.map(Math.abs));
const rms = (errors: readonly number[]): number =>
  Math.sqrt(errors.reduce((sum, error) => sum + error * error, 0) / errors.length);
const moves = (steps: readonly LightStep[]): number => steps.filter((step) => step.shift !== 0).length;

const DAY: Base = { tv: tv('1/500'), sv: sv(100) };
const NIGHT: Base = { tv: tv('8'), sv: sv(400) };
const SETS = 61;
/** 14 EV in four hours, a set every four minutes; at its steepest 0.58 EV a set, which is dusk in the tropics (from memory). */
const sigmoid = (set: number): number => -14 / (1 + Math.exp(-(set - 30) / 6));
const dusk = (set: number): number => sigmoid(set) - sigmoid(0);
const dawn = (set: number): number => sigmoid(SETS - 1 - set) - sigmoid(SETS - 1);

describe('light that moves', () => {
  it('is followed along a steady ramp of 14 EV in 4 h within 0.3 EV, once there is a line', () => {
    const { errors, steps } = follow({ sets: SETS, sceneEv: (set) => (-14 * set) / 60, first: DAY });
    // Rounding to thirds and what the base stays within come to 0.25 EV.
    expect(worst(errors.slice(5))).toBeLessThan(0.3);
    // Before, three sets' worth of the ramp.
    expect(worst(errors)).toBeLessThan((3 * 14) / 60 + 0.01);
    expect(moves(steps)).toBeLessThanOrEqual(42);
    expect(steps.every(({ shift }) => shift >= 0 && shift % 2 === 0)).toBe(true);
  });

  it('is followed from dusk to night and from night to dawn within 0.4 EV where nothing else moves', () => {
    expect(worst(follow({ sets: SETS, sceneEv: dusk, first: DAY }).errors)).toBeLessThan(0.4);
    expect(worst(follow({ sets: SETS, sceneEv: dawn, first: NIGHT }).errors)).toBeLessThan(0.4);
  });

  it.each([
    { name: 'dusk to night', sceneEv: dusk, first: DAY },
    { name: 'night to dawn', sceneEv: dawn, first: NIGHT },
  ])('is followed from $name through flicker and cars that glare', ({ sceneEv, first }) => {
    const nights = Array.from({ length: 20 }, (_, index) =>
      follow({ sets: SETS, sceneEv, first, seed: index + 1, flickerEv: 0.1, cars: 0.1 }),
    );
    expect(nights.flatMap(({ cars }) => cars).length).toBeGreaterThan(80);
    const worsts = nights.map(({ errors }) => worst(errors)).sort((a, b) => a - b);
    expect(worsts[10]).toBeLessThan(0.8);
    // Cars in three sets running look like a light that has come on: what that does is undone, by 1 EV a set.
    const crowded = (cars: readonly number[]) => cars.some((set, index) => (cars[index + 2] ?? 99) - set < 7);
    const quiet = nights.filter((night) => !crowded(night.cars));
    expect(quiet.length).toBeGreaterThan(10);
    for (const { errors } of quiet) expect(worst(errors)).toBeLessThan(1.4);
    expect(rms(quiet.flatMap(({ errors }) => errors))).toBeLessThan(0.3);
    for (const { errors, steps } of nights) {
      expect(Math.abs(errors.at(-1) ?? 9)).toBeLessThan(0.4);
      expect(moves(steps)).toBeLessThanOrEqual(42);
    }
  });

  it('leaves the base where it is while nothing changes', () => {
    const { steps } = follow({ sets: 30, sceneEv: () => 0, first: NIGHT, seed: 5, flickerEv: 0.03 });
    expect(moves(steps)).toBe(0);
  });

  it('moves nothing for one car, whenever it comes', () => {
    for (let passing = 1; passing < 12; passing += 1) {
      const { steps } = followed((set) => (set === passing ? 5 : 0));
      expect(steps.map(({ shift }) => shift)).toEqual(steps.map(() => 0));
    }
  });

  it('believes a light that comes on and stays, at its third set', () => {
    const { steps } = followed((set) => (set >= 8 ? 2 : 0));
    const first = steps.findIndex(({ shift }) => shift !== 0);
    expect(first).toBe(10);
  });
});

/** Level without pictures: the middle frame is off by what the scene and the base have moved. */
function followed(
  sceneEv: (set: number) => number,
  { sets = 16, first = NIGHT, limits = LIMITS }: { sets?: number; first?: Base; limits?: LightLimits } = {},
): { steps: LightStep[]; errors: number[] } {
  const history: MeasuredSet[] = [];
  const steps: LightStep[] = [];
  const errors: number[] = [];
  let base = first;
  for (let set = 0; set < sets; set += 1) {
    const error = sceneEv(set) + toEv(sixths(base.sv - base.tv - (first.sv - first.tv)));
    errors.push(error);
    history.push({ at: set * EVERY_SECONDS * 1000, base, level: level(-2.5 + error) });
    const step = followLight(asked(history, limits));
    steps.push(step);
    base = step.base;
  }
  return { steps, errors };
}

const level = (ev: number, dark = 0, light = 0): Level => ({ ev, dark, light });

const asked = (history: readonly MeasuredSet[], limits: LightLimits = LIMITS) => ({
  history,
  reference: level(-2.5),
  nextAt: (history.at(-1)?.at ?? 0) + EVERY_SECONDS * 1000,
  everySeconds: EVERY_SECONDS,
  limits,
});

/** Sets with one base, an interval apart. */
const sets = (base: Base, ...levels: readonly Level[]): MeasuredSet[] =>
  levels.map((one, index) => ({ at: index * EVERY_SECONDS * 1000, base, level: one }));

/** Four sets in which the light has settled this far from the reference. */
const settled = (base: Base, ev: number): MeasuredSet[] =>
  sets(base, ...Array.from({ length: 4 }, () => level(-2.5 + ev)));

describe('the order in which the base gives way', () => {
  it('is the shutter up to its cap, then ISO up to its cap, and mirrored on the way back', () => {
    const limits = { ...LIMITS, slowestTv: tv('2'), mostSv: sv(400), mostPerSet: sixths(100) };
    const first: Base = { tv: tv('1'), sv: sv(100) };
    const lighter = followLight(asked(settled(first, -2 - 2 / 3), limits));
    expect(lighter.base).toEqual({ tv: tv('2'), sv: sv(320) });
    expect(lighter.shift).toBe(16);
    expect(lighter.sentence).toBe('The base exposure moved by +2 2/3 EV: shutter 1 to 2, ISO 100 to 320.');
    const back = followLight(asked(settled(lighter.base, 1), limits));
    expect(back.sentence).toBe('The base exposure moved by −1 EV: ISO 320 to 160.');
    const farther = followLight(asked(settled(lighter.base, 2), limits));
    expect(farther.sentence).toBe('The base exposure moved by −2 EV: shutter 2 to 1.6, ISO 320 to 100.');
  });

  it('says what moved', () => {
    const step = followLight(asked(settled({ tv: tv('1/30'), sv: sv(100) }, -2 / 3)));
    expect(step.sentence).toBe('The base exposure moved by +2/3 EV: shutter 1/30 to 1/20.');
    expect(step.shift).toBe(4);
    expect([step.shutter.label, step.iso.label, step.capHit]).toEqual(['1/20', '100', null]);
  });

  it('takes only settings that the body offers, in halves too', () => {
    const halves: LightLimits = {
      ...LIMITS,
      shutters: SHUTTER_SCALES.half,
      isos: isoSettings(['100', '200', '400']),
      slowestTv: sixths(-6),
      mostPerSet: sixths(100),
    };
    const step = followLight(asked(settled({ tv: sixths(0), sv: sixths(30) }, -2.4), halves));
    expect([step.shutter.label, step.iso.iso]).toEqual(['2', 200]);
    const small = followLight(asked(settled({ tv: sixths(0), sv: sixths(30) }, -0.6), halves));
    expect(small.shutter.label).toBe('1.5');
  });

  it('leaves out settings that cannot be set', () => {
    const shutters = SHUTTER_SCALES.third.map((one) => ({ ...one, settable: one.label !== '1/20' }));
    const step = followLight(
      asked(settled({ tv: tv('1/30'), sv: sv(100) }, -2 / 3), { ...LIMITS, shutters }),
    );
    expect(step.shutter.label).not.toBe('1/20');
    expect(Math.abs(step.shift - 4)).toBe(2);
  });

  it('moves no farther than it may in one set, and says so', () => {
    const step = followLight(asked(settled(DAY, -3)));
    expect(step.shift).toBe(LIMITS.mostPerSet);
    expect(step.sentence).toContain(
      'The base exposure moved by +1 EV: shutter 1/500 to 1/250. The light changes faster than 1 EV a set, the most that the base exposure may move.',
    );
    expect(step.capHit).toBeNull();
  });

  it('says what to give up where the caps are reached, at either end', () => {
    const lightest: Base = { tv: tv('8'), sv: sv(6400) };
    const dark = followLight(asked(settled(lightest, -1)));
    expect(dark.shift).toBe(0);
    expect(dark.sentence).toBeNull();
    expect(dark.capHit?.side).toBe('lighter');
    expect(dark.capHit?.sentence).toContain('8 s at ISO 6400, and the middle frame comes out 1 EV too dark');
    const darkest: Base = { tv: tv('1/4000'), sv: sv(100) };
    const light = followLight(asked(settled(darkest, 1)));
    expect([light.shift, light.capHit?.side]).toEqual([0, 'darker']);
    expect(followLight(asked(settled(lightest, 0.2))).capHit).toBeNull();
  });
});

describe('a middle frame that is mostly black or blown out', () => {
  const good = level(-2.5);

  it('moves the base by the most that it may, in that direction', () => {
    const black = followLight(asked(sets(DAY, good, good, good, level(-9, 0.9), level(-9, 0.9))));
    expect(black.shift).toBe(6);
    expect(black.sentence).toContain('mostly black');
    const blown = followLight(asked(sets(NIGHT, good, good, good, level(-0.1, 0, 0.9), level(-0.1, 0, 0.9))));
    expect(blown.shift).toBe(-6);
    expect(blown.sentence).toContain('mostly blown out');
  });

  it('is not believed once among good ones', () => {
    expect(followLight(asked(sets(NIGHT, good, good, good, level(-0.1, 0, 0.9)))).shift).toBe(0);
  });

  it('does not count what was black when the level was set', () => {
    const darkOnes = Array.from({ length: 5 }, () => level(-2.5, 0.7));
    const step = followLight({ ...asked(sets(NIGHT, ...darkOnes)), reference: level(-2.5, 0.6) });
    expect(step.shift).toBe(0);
  });

  it('forgets what was before it, and goes by the first frame that tells again', () => {
    const black = level(-9, 0.9);
    const step = followLight(asked(sets(DAY, good, good, good, good, black, black, level(-3.5))));
    expect(step.shift).toBe(6);
    expect(step.sentence).toBe('The base exposure moved by +1 EV: shutter 1/500 to 1/250.');
  });

  it('is the only news at a cap: the sentence says that the lack cannot be told', () => {
    const black = level(-9, 0.9);
    const step = followLight(asked(sets({ tv: tv('8'), sv: sv(6400) }, good, black, black)));
    expect(step.capHit?.sentence).toContain('far too dark');
  });
});

it('finds its way after an hour without sets', () => {
  const before = settled(DAY, 0);
  const after: MeasuredSet = { at: 75 * 60_000, base: DAY, level: level(-3.5) };
  expect(followLight(asked([...before, after])).shift).toBe(6);
});

describe('the level of a frame', () => {
  const flat = (value: number, channels: 1 | 3 | 4 = 3) =>
    measureLevel(new Uint8Array(64 * 48 * channels).fill(value), { width: 64, height: 48, channels });

  it('is log2 of linear light by the sRGB curve', () => {
    // IEC 61966-2-1: 255 is 1; 188 is half (0.5029), 118 is mid grey (0.1812); below 10.3 the curve is straight.
    expect(flat(255).ev).toBe(0);
    expect(flat(188).ev).toBeCloseTo(Math.log2(0.5029), 3);
    expect(flat(118).ev).toBeCloseTo(Math.log2(0.1812), 3);
    expect(flat(8).ev).toBeCloseTo(Math.log2(8 / 255 / 12.92), 6);
    expect(flat(118, 1).ev).toBe(flat(118).ev);
  });

  it('weighs the colours by their luminance, and leaves alpha out', () => {
    const colour = (...pixel: number[]) =>
      measureLevel(
        Uint8Array.from({ length: 64 * 48 * 4 }, (_, at) => pixel[at % 4] ?? 0),
        {
          width: 64,
          height: 48,
          channels: 4,
        },
      ).ev;
    expect(2 ** colour(255, 0, 0, 9)).toBeCloseTo(0.2126, 6);
    expect(2 ** colour(0, 255, 0, 9)).toBeCloseTo(0.7152, 6);
    expect(2 ** colour(0, 0, 255, 9)).toBeCloseTo(0.0722, 6);
  });

  it('tells black and blown shares, and has a floor', () => {
    expect(flat(0)).toMatchObject({ dark: 1, light: 0 });
    expect(flat(255)).toMatchObject({ dark: 0, light: 1 });
    expect(Number.isFinite(flat(0).ev)).toBe(true);
    expect(flat(0).ev).toBeLessThan(flat(1).ev);
  });

  it('hardly minds lights in a tenth of a dark picture, which a plain mean does', () => {
    const clear = picture({ sceneEv: -3 }, DAY, DAY);
    const car = picture({ sceneEv: -3, car: { from: 0.4, to: 0.5, ev: 7 } }, DAY, DAY);
    const ev = (pixels: Uint8Array) => measureLevel(pixels, { ...SIZE, channels: 3 }).ev;
    const plainEv = (pixels: Uint8Array) =>
      Math.log2(
        pixels.reduce((sum, value) => sum + ((value / 255 + 0.055) / 1.055) ** 2.4, 0) / pixels.length,
      );
    expect(ev(car) - ev(clear)).toBeLessThan(0.5);
    expect(plainEv(car) - plainEv(clear)).toBeGreaterThan(1);
    expect(ev(picture({ sceneEv: -4 }, DAY, DAY)) - ev(clear)).toBeCloseTo(-1, 1);
  });

  it('can be taken of pictures smaller than its tiles, and of none that is cut short', () => {
    expect(measureLevel(new Uint8Array(5).fill(255), { width: 5, height: 1, channels: 1 }).ev).toBe(0);
    expect(() => measureLevel(new Uint8Array(5), { width: 3, height: 2, channels: 1 })).toThrow(
      'fewer pixels',
    );
  });
});

describe('ISO settings', () => {
  it('are the labels that are numbers, on thirds and halves', () => {
    const settings = isoSettings(['Auto', '3200', '100', '140', '125', 'Lo 1', '1250']);
    expect(settings.map(({ label, sv: value }) => [label, value])).toEqual([
      ['100', 30],
      ['125', 32],
      ['140', 33],
      ['1250', 52],
      ['3200', 60],
    ]);
  });
});
