// What a file recorded against what was asked for: in aperture priority, where the body meters the base itself; the words of what does
// not fit; and which setting a recorded time stands for. Nominal times are Exif's and common practice (src/exposure/shutter.ts).

import { describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { SHUTTER_SCALES, type ShutterSetting } from '../../src/exposure/index.js';
import { type AskedOffset, judge, judgeMetered, recordedTv } from '../../src/frames/index.js';

const setting = (label: string, of: 'third' | 'half' = 'third'): ShutterSetting => {
  const found = SHUTTER_SCALES[of].find((one) => one.label === label);
  if (found === undefined) throw new Error(`There is no ${label}.`);
  return found;
};

/** The frame at +1 EV of a set of 1 EV, a base of 1/60 s (1/64 s, Tv 6) being known. */
const ASKED: AskedOffset = {
  ...{
    offset: sixths(6),
    compensation: sixths(6),
    step: sixths(6),
    baseTv: 6,
    longestTv: -5,
    shortestTv: 13,
  },
  ...{ fNumber: 8, iso: 100 },
};
const FILE = { exposureTime: 1 / 30, fNumber: 8, iso: 100, bias: 1 };
type File = { [key in keyof typeof FILE]: number | null };
const metered = (file: Partial<File>, asked: Partial<AskedOffset> = {}) =>
  judgeMetered({ ...FILE, ...file }, { ...ASKED, ...asked });
const reasonsOf = (verdict: ReturnType<typeof metered>) => (verdict.right ? [] : verdict.reasons);

describe('a frame in aperture priority', () => {
  it('stands for the base that its time and its offset tell', () => {
    expect(metered({})).toEqual({ right: true, baseTv: 6, moved: null });
    // The first one tells the base.
    expect(metered({}, { baseTv: null })).toEqual({ right: true, baseTv: 6, moved: null });
    expect(
      metered({ exposureTime: 1 / 250, bias: -2 }, { offset: sixths(-12), compensation: sixths(-12) }),
    ).toEqual({
      ...{ right: true, baseTv: 6, moved: null },
    });
  });

  it('says what it does not tell, or tells otherwise, each by itself', () => {
    expect(reasonsOf(metered({ exposureTime: null }))).toEqual([
      'The file does not record its exposure time.',
    ]);
    expect(reasonsOf(metered({ fNumber: 5.6, iso: 200 }))).toEqual([
      'The aperture is f/5.6, but f/8 was set.',
      'The ISO is 200, but 100 was set.',
    ]);
    expect(reasonsOf(metered({ exposureTime: null, iso: 200 }))).toHaveLength(2);
    expect(metered({ fNumber: null, iso: null }).right).toBe(true);
  });

  it('says how far the light has moved, from a sixth of an EV on; + is more light let in', () => {
    expect(metered({ exposureTime: 1 / 25 })).toMatchObject({ right: true, moved: expect.closeTo(1 / 3, 9) });
    expect(metered({ exposureTime: 1 / 40 })).toMatchObject({
      right: true,
      moved: expect.closeTo(-1 / 3, 9),
    });
    // Times that lie on no scale: a tenth of an EV is not said, 0.165 EV is.
    const off = (ev: number) =>
      metered({ exposureTime: 2 ** (ev - 5) / 1.06 }, { baseTv: 6 + Math.log2(1.06) });
    expect(off(0)).toMatchObject({ right: true, moved: null });
    const said = metered({}, { baseTv: 6 + 0.165 });
    expect(said).toMatchObject({ right: true, moved: expect.closeTo(0.165, 9) });
    expect(metered({}, { baseTv: 6 - 0.165 })).toMatchObject({ moved: expect.closeTo(-0.165, 9) });
    expect(metered({}, { baseTv: 6 + 0.155 })).toMatchObject({ right: true, moved: null });
  });

  it('is told by its bias, whatever its time: thirds cut or rounded to two decimals', () => {
    const third = { offset: sixths(2), compensation: sixths(2) };
    for (const bias of [1 / 3, 0.33, 0.3, 0.34]) expect(metered({ bias }, third).right).toBe(true);
    // Light that moved by 2 EV.
    expect(metered({ exposureTime: 1 / 125 })).toMatchObject({ right: true, moved: -2 });
    expect(metered({ bias: 1.049 }).right).toBe(true);
  });

  it('that records another bias is another frame, and says so', () => {
    expect(reasonsOf(metered({ bias: 0 }))).toEqual([
      'The file is not the frame at +1 EV (it records 0 EV).',
    ]);
    expect(reasonsOf(metered({ bias: -4 / 3 }))).toEqual([
      'The file is not the frame at +1 EV (it records −1 1/3 EV).',
    ]);
    expect(metered({ bias: 1.06 }).right).toBe(false);
    expect(metered({ bias: 0.94 }).right).toBe(false);
    expect(metered({ bias: 0 }, { baseTv: null }).right).toBe(false);
  });

  it('that records the compensation alone is told by its time: nearer to its offset than to its neighbours', () => {
    const ofBracket = { compensation: sixths(0) };
    expect(metered({ bias: 0 }, ofBracket)).toMatchObject({ right: true, moved: null });
    // 0.49 and 0.51 EV off.
    expect(metered({ bias: 0 }, { ...ofBracket, baseTv: 6.49 }).right).toBe(true);
    expect(metered({ bias: 0 }, { ...ofBracket, baseTv: 6.5 }).right).toBe(false);
    expect(metered({ bias: 0 }, { ...ofBracket, baseTv: 5.5 }).right).toBe(false);
    expect(metered({ bias: 0 }, { ...ofBracket, baseTv: 5.51 }).right).toBe(true);
    // Before the first frame nothing can be compared.
    expect(metered({ bias: 0 }, { ...ofBracket, baseTv: null }).right).toBe(true);
    expect(metered({ bias: 0 }, { ...ofBracket, step: sixths(12), baseTv: 6.9 }).right).toBe(true);
  });

  it('without any bias is told by its time, too', () => {
    // Also the frame at 0 EV: a bias that is not there is not one of 0.
    const base = { offset: sixths(0), compensation: sixths(0) };
    expect(metered({ exposureTime: 1 / 15, bias: null }, base).right).toBe(false);
    expect(metered({ exposureTime: 1 / 60, bias: null }, base).right).toBe(true);
    expect(metered({ bias: null }).right).toBe(true);
    expect(metered({ bias: null }, { baseTv: null }).right).toBe(true);
    expect(reasonsOf(metered({ bias: null }, { baseTv: 7 }))).toEqual([
      'The file is not the frame at +1 EV.',
    ]);
  });
});

describe('a time at the end of the range of the body', () => {
  const LONGEST = { offset: sixths(6), longestTv: 5 };
  const SHORTEST = { offset: sixths(6), shortestTv: 5 };

  it('may be where the body was held up: it is no base, and the remedy is said', () => {
    expect(reasonsOf(metered({}, { ...LONGEST, baseTv: null }))).toEqual([
      "Its time is at the end of the camera's range, and the light may need a longer one: open up, or raise the ISO.",
    ]);
    expect(reasonsOf(metered({}, { ...SHORTEST, baseTv: null }))).toEqual([
      "Its time is at the end of the camera's range, and the light may need a shorter one: stop down, or lower the ISO.",
    ]);
  });

  it('counts where it agrees with the base that others told', () => {
    expect(metered({}, LONGEST).right).toBe(true);
    expect(metered({}, SHORTEST).right).toBe(true);
    expect(metered({}, { ...LONGEST, baseTv: 6.155 }).right).toBe(true);
    expect(metered({}, { ...LONGEST, baseTv: 6.165 }).right).toBe(false);
    expect(metered({}, { ...LONGEST, baseTv: 5.835 }).right).toBe(false);
    expect(metered({}, { ...SHORTEST, baseTv: 5 }).right).toBe(false);
  });

  it('is one only there, and where the end is known', () => {
    const moved = { baseTv: 5 };
    expect(metered({}, { ...moved, longestTv: 4.9, shortestTv: 5.1 }).right).toBe(true);
    expect(metered({}, { ...moved, longestTv: null, shortestTv: null }).right).toBe(true);
    // 2 s, Tv -1: an end that nobody knows is none, on either side of 1 s.
    const long = { exposureTime: 2, bias: 1 };
    expect(metered(long, { baseTv: 3, longestTv: null }).right).toBe(true);
    expect(metered(long, { baseTv: 3, longestTv: -1 }).right).toBe(false);
    expect(metered({}, { ...moved, longestTv: 5.2 }).right).toBe(false);
    expect(metered({}, { ...moved, shortestTv: 4.8 }).right).toBe(false);
  });
});

describe('what does not fit, in words', () => {
  const asked = { shutter: setting('1/125'), fNumber: null, iso: null };
  const time = (exposureTime: number | null, shutter = asked.shutter) => {
    const verdict = judge({ exposureTime, fNumber: null, iso: null }, { ...asked, shutter });
    return verdict.right ? null : verdict.reasons.join();
  };

  it.each([
    [1 / 60, 'The time is 1/60 s, but 1/125 s was set.'],
    [0.3, 'The time is 0.3 s, but 1/125 s was set.'],
    [30, 'The time is 30 s, but 1/125 s was set.'],
    // Between two settings, and beyond all of them.
    [1 / 56.5, 'The time is 0.0177 s, but 1/125 s was set.'],
    [47.3, 'The time is 47.3 s, but 1/125 s was set.'],
    [1 / 123_456, 'The time is 0.0000081 s, but 1/125 s was set.'],
    [null, 'The file does not record its exposure time.'],
  ])('%s s: %s', (seconds, said) => {
    expect(time(seconds)).toBe(said);
  });

  it('a label that says its unit gets no other one, nor does one that is no time', () => {
    expect(time(1 / 60, { ...setting('1/125'), label: '0.0080s' })).toMatch(/but 0\.0080s was set/);
    expect(time(1 / 60, { ...setting('1/125'), label: 'a label' })).toMatch(/but a label was set/);
  });

  it('a setting that a body calls by its exact time may be recorded by its nominal one', () => {
    const exactly = { ...setting('30'), label: '32', nominalSeconds: 32 };
    expect([time(32, exactly), time(30, exactly)]).toEqual([null, null]);
    expect(time(25, exactly)).not.toBeNull();
  });

  it('2.5 % are rounding, and no more', () => {
    const of = (share: number) => time((1 / 125) * (1 + share));
    expect([of(0.024), of(-0.02)]).toEqual([null, null]);
    // Beyond 1/128 s, which is right as well.
    expect(of(0.026)).not.toBeNull();
    expect(of(-0.05)).not.toBeNull();
  });

  it('an aperture that stands on half stops is right exactly and as it is written', () => {
    const aperture = (fNumber: number, of: number) =>
      judge({ exposureTime: 1 / 125, fNumber, iso: null }, { ...asked, fNumber: of }).right;
    // f/6.7 is f/6.727, f/3.3 is f/3.364, f/11 is f/11.31, f/22 is f/22.63.
    for (const [exact, nominal] of [
      [6.727, 6.7],
      [3.364, 3.3],
      [11.31, 11],
      [22.63, 22],
    ] as const)
      expect([aperture(exact, nominal), aperture(nominal, nominal)]).toEqual([true, true]);
    expect(aperture(7.1, 6.7)).toBe(false);
    expect(aperture(9, 8)).toBe(false);
  });
});

describe('the setting that a recorded time stands for', () => {
  it.each([
    [null, null],
    [1 / 60, 6],
    [1 / 64, 6],
    [1 / 3, 10 / 6],
    [0.3, 10 / 6],
    [1 / 45, 5.5],
    [1 / 350, 8.5],
    [30, -5],
    [32, -5],
  ])('%s s: Tv %s', (seconds, tv) => {
    const told = recordedTv(seconds);
    if (tv === null) expect(told).toBeNull();
    else expect(told).toBeCloseTo(tv, 9);
  });

  it('is the time itself where it stands for none', () => {
    expect(recordedTv(64)).toBe(-6);
    expect(recordedTv(1 / 131_072)).toBe(17);
  });
});
