// What is left for the sets to come: the marks at their edges, the estimates, and what the wire tells of card and battery.

import { describe, expect, it } from 'vitest';
import { watchSchema } from '../../shared/watch.js';
import {
  type ChargeReading,
  DISK_RESERVE_BYTES,
  type FileSizes,
  NO_FILES,
  tooLow,
  type WatchQuestion,
  watch,
  withCharge,
  withFile,
} from '../../src/bodies/watch.js';
import { batteryCharge, framesLeftOnCard, type Setting } from '../../src/camera/index.js';
import fc from '../seeded.js';

const MB = 1e6;

const asked = (more: Partial<WatchQuestion> = {}): WatchQuestion => ({
  link: 'usb',
  framesPerSet: 9,
  setsToCome: null,
  freeBytes: null,
  sizes: NO_FILES,
  statedBytes: null,
  framesLeftOnCard: null,
  charge: null,
  chargeReadings: [],
  framesMade: 0,
  ...more,
});

const sizesOf = (...bytes: number[]): FileSizes => bytes.reduce(withFile, NO_FILES);

const readingsOf = (...readings: [framesMade: number, percent: number][]): readonly ChargeReading[] =>
  readings.reduce<readonly ChargeReading[]>(
    (before, [framesMade, percent]) => withCharge(before, percent, framesMade),
    [],
  );

it('what nobody can tell is null, and stops nothing', () => {
  const nothing = watch(asked());
  expect(nothing).toEqual({ disk: null, card: null, battery: null });
  expect(tooLow(nothing)).toEqual([]);
});

describe('the disk', () => {
  // Nine frames of 20 MB, and 1 MB beside them; two spare frames before the next set is begun.
  const SET = 9 * 20 * MB + MB;
  const FIRST = 11 * 20 * MB + MB;
  const disk = (room: number, more: Partial<WatchQuestion> = {}) =>
    watch(asked({ freeBytes: DISK_RESERVE_BYTES + room, sizes: sizesOf(20 * MB), ...more })).disk;

  it.each([
    [FIRST - 1, 'too-low', 0],
    [FIRST, 'low', 1],
    [FIRST + SET - 1, 'low', 1],
    [FIRST + SET, 'fine', 2],
    [FIRST + 99 * SET, 'fine', 100],
    [-DISK_RESERVE_BYTES, 'too-low', 0],
  ] as const)('%d bytes above the reserve: %s, %d sets', (room, mark, setsLeft) => {
    expect(disk(room)).toMatchObject({ mark, setsLeft, freeBytes: DISK_RESERVE_BYTES + room });
  });

  it('frames are counted without the reserve', () => {
    expect(disk(100 * MB)?.framesLeft).toBe(5);
    expect(disk(-1)?.framesLeft).toBe(0);
  });

  it('goes by the mean of what came, and for the next set by the largest', () => {
    const sizes = sizesOf(10 * MB, 30 * MB);
    expect(disk(11 * 30 * MB + MB - 1, { sizes })).toMatchObject({ mark: 'too-low', framesLeft: 16 });
    expect(disk(11 * 30 * MB + MB + SET, { sizes })).toMatchObject({ mark: 'fine', setsLeft: 2 });
  });

  it('what was said of the size counts until a file has come', () => {
    const told = { sizes: NO_FILES, statedBytes: 20 * MB };
    expect(disk(FIRST, told)).toMatchObject({ mark: 'low', setsLeft: 1 });
    expect(disk(FIRST, { sizes: sizesOf(2 * MB), statedBytes: 20 * MB })).toMatchObject({ mark: 'fine' });
  });

  it('without a size it warns by a large raw file, and stops only at the reserve', () => {
    const untold = { sizes: NO_FILES };
    expect(disk(9 * 60 * MB + MB, untold)).toMatchObject({ mark: 'fine', framesLeft: null, setsLeft: null });
    expect(disk(9 * 60 * MB, untold)).toMatchObject({ mark: 'low', setsLeft: null });
    expect(disk(0, untold)).toMatchObject({ mark: 'too-low', setsLeft: 0 });
  });

  it('where all fits that is to come there is nothing to warn of, else there is', () => {
    expect(disk(FIRST, { setsToCome: 1 })).toMatchObject({ mark: 'fine' });
    expect(disk(0, { setsToCome: 0 })).toMatchObject({ mark: 'fine' });
    expect(disk(0, { setsToCome: 0, sizes: NO_FILES })).toMatchObject({ mark: 'fine' });
    expect(disk(FIRST + 98 * SET, { setsToCome: 100 })).toMatchObject({ mark: 'low', setsLeft: 99 });
    expect(disk(FIRST + 99 * SET, { setsToCome: 100 })).toMatchObject({ mark: 'fine' });
  });

  it('says what to do', () => {
    expect(disk(FIRST + SET)?.sentence).toBe(
      '502 MB are free where the sets go, enough for about 2 more sets.',
    );
    expect(disk(FIRST + SET, { setsToCome: 5 })?.sentence).toBe(
      '502 MB are free where the sets go, enough for only about 2 more sets, and 5 are to come: free some space there.',
    );
    expect(disk(FIRST)?.sentence).toBe(
      '321 MB are free where the sets go, enough for only 1 more set: free some space there.',
    );
    expect(disk(0)?.sentence).toBe(
      'Only 100 MB are free where the sets go, and another set may not fit: free some space, or choose another folder, then fire again.',
    );
  });

  it('a file of no bytes does not divide by nothing', () => {
    expect(disk(100 * MB, { sizes: sizesOf(0) })).toMatchObject({ framesLeft: 100 * MB, mark: 'fine' });
  });
});

describe('the card', () => {
  const card = (framesLeftOnCard: number, more: Partial<WatchQuestion> = {}) =>
    watch(asked({ framesLeftOnCard, ...more })).card;

  it.each([
    [0, 'too-low', 0],
    [10, 'too-low', 0],
    [11, 'low', 1],
    [19, 'low', 1],
    [20, 'fine', 2],
    [902, 'fine', 100],
  ] as const)('%d frames: %s, %d sets of nine', (framesLeft, mark, setsLeft) => {
    expect(card(framesLeft)).toMatchObject({ mark, framesLeft, setsLeft });
  });

  it('says what to do, and of whose card', () => {
    expect(card(20)?.sentence).toBe(
      "The camera's card has room for 20 more frames, enough for about 2 more sets.",
    );
    expect(card(11, { setsToCome: 2 })?.sentence).toBe(
      "The camera's card has room for only 1 more set, and 2 are to come: change it between two sets, or free some space on it.",
    );
    expect(card(1, { link: 'practice' })?.sentence).toBe(
      "The practice camera's card has room for 1 more frame, and another set may not fit: change it, or free some space on it, then fire again.",
    );
  });
});

describe('the battery', () => {
  const battery = (charge: WatchQuestion['charge'], more: Partial<WatchQuestion> = {}) =>
    watch(asked({ charge, chargeReadings: withCharge([], charge, 0), ...more })).battery;

  it.each([
    [100, 'fine', null],
    [20, 'fine', null],
    [19, 'low', null],
    [10, 'low', null],
    [9, 'too-low', 0],
    [1, 'too-low', 0],
  ] as const)('%d %% that have not fallen yet: %s', (percent, mark, setsLeft) => {
    expect(battery(percent)).toMatchObject({ mark, percent, setsLeft, framesLeft: setsLeft });
  });

  it('a word for it warns, and stops nothing', () => {
    expect(battery('low')).toMatchObject({ mark: 'low', percent: null, framesLeft: null });
  });

  it('0 % is a mains adapter where it never told more, and the end of a battery where it did', () => {
    expect(battery(0)).toMatchObject({ mark: 'fine', framesLeft: null });
    expect(battery(0, { chargeReadings: readingsOf([0, 12], [9, 0]) })).toMatchObject({ mark: 'too-low' });
  });

  it('an estimate takes a fall of 5 % from one step of the gauge to another', () => {
    const estimate = (framesMade: number, ...readings: [number, number][]) =>
      battery(readings.at(-1)?.[1] ?? null, { framesMade, chargeReadings: readingsOf(...readings) })
        ?.framesLeft;
    expect(estimate(90, [0, 90], [90, 80])).toBeNull();
    expect(estimate(90, [0, 90], [10, 89], [90, 85])).toBeNull();
    // 10 frames a percent: from 84 down to 10.
    expect(estimate(60, [0, 90], [10, 89], [60, 84])).toBe(740);
    expect(estimate(69, [0, 90], [10, 89], [60, 84])).toBe(731);
    expect(estimate(900, [0, 90], [10, 89], [60, 84])).toBe(0);
    // A gauge of four steps: half its range lies between the two that count.
    expect(estimate(200, [0, 100], [100, 75], [200, 50])).toBe(160);
  });

  it('marks by the estimate: the next set, the one after it, and no farther', () => {
    const at = (framesMade: number, setsToCome: number | null = null) =>
      battery(40, {
        framesMade,
        setsToCome,
        chargeReadings: readingsOf([0, 60], [6, 55], [36, 40]),
      });
    // 2 frames a percent, 60 from 40 down to 10.
    expect(at(36)).toMatchObject({ framesLeft: 60, setsLeft: 6, mark: 'fine' });
    expect(at(36, 100)).toMatchObject({ mark: 'fine' });
    expect(at(79)).toMatchObject({ framesLeft: 17, setsLeft: 1, mark: 'low' });
    expect(at(79, 1)).toMatchObject({ mark: 'fine' });
    expect(at(88)).toMatchObject({ framesLeft: 8, setsLeft: 0, mark: 'too-low' });
    // Nothing is to come that could be cut off.
    expect(at(88, 0)).toMatchObject({ mark: 'fine' });
    expect(battery(9, { setsToCome: 0 })).toMatchObject({ mark: 'low' });
  });

  it('another battery begins anew, and a gauge that wavers does not', () => {
    expect(readingsOf([0, 50], [9, 48], [18, 49], [27, 47])).toEqual([
      { framesMade: 0, percent: 50 },
      { framesMade: 9, percent: 48 },
      { framesMade: 27, percent: 47 },
    ]);
    expect(readingsOf([0, 50], [9, 15], [18, 97], [27, 96])).toEqual([
      { framesMade: 18, percent: 97 },
      { framesMade: 27, percent: 96 },
    ]);
    const kept = readingsOf([0, 50]);
    expect(withCharge(kept, null, 9)).toBe(kept);
    expect(withCharge(kept, 'low', 9)).toBe(kept);
  });

  it('says what to do', () => {
    const readings = { framesMade: 60, chargeReadings: readingsOf([0, 90], [10, 89], [60, 84]) };
    expect(battery(84, readings)?.sentence).toBe(
      "The camera's battery is at 84 % , enough for about 82 more sets.",
    );
    expect(battery(19)?.sentence).toBe(
      "The camera's battery is at 19 %: put in a charged one before it runs out.",
    );
    expect(battery(9)?.sentence).toBe(
      "The camera's battery is at 9 %, and may run out during the next set: put in a charged one, then fire again.",
    );
  });
});

describe('all together', () => {
  it('each thing that is too low is a sentence, in the order disk, card, battery', () => {
    const all = watch(asked({ freeBytes: 0, framesLeftOnCard: 0, charge: 5, statedBytes: MB }));
    expect(tooLow(all)).toEqual([all.disk?.sentence, all.card?.sentence, all.battery?.sentence]);
  });

  it('whatever is asked: it fits the wire, a set that is begun fits, and more room is never worse', () => {
    const ORDER = ['too-low', 'low', 'fine'];
    const charge = fc.oneof(fc.integer({ min: 0, max: 100 }), fc.constantFrom('low' as const, null));
    fc.assert(
      fc.property(
        fc.record({
          framesPerSet: fc.integer({ min: 1, max: 61 }),
          setsToCome: fc.option(fc.nat(1000)),
          freeBytes: fc.option(fc.integer({ min: 0, max: 1e12 })),
          bytes: fc.array(fc.nat(1e8), { maxLength: 5 }),
          statedBytes: fc.option(fc.nat(1e8)),
          framesLeftOnCard: fc.option(fc.nat(999_999)),
          charge,
          before: fc.array(fc.tuple(fc.nat(50), charge), { maxLength: 8 }),
        }),
        ({ bytes, before, ...more }) => {
          let framesMade = 0;
          let chargeReadings: readonly ChargeReading[] = [];
          for (const [frames, then] of [...before, [0, more.charge] as const]) {
            framesMade += frames;
            chargeReadings = withCharge(chargeReadings, then, framesMade);
          }
          const question = asked({ ...more, sizes: sizesOf(...bytes), chargeReadings, framesMade });
          const told = watch(question);
          expect(watchSchema.parse(told)).toEqual(told);
          if (told.card !== null && told.card.mark !== 'too-low' && more.setsToCome !== 0)
            expect(more.framesLeftOnCard).toBeGreaterThanOrEqual(more.framesPerSet);
          if (told.disk !== null && bytes.length > 0 && told.disk.mark !== 'too-low' && more.setsToCome !== 0)
            expect((more.freeBytes ?? 0) - DISK_RESERVE_BYTES).toBeGreaterThan(
              Math.max(...bytes) * more.framesPerSet,
            );
          const roomier = watch({
            ...question,
            freeBytes: more.freeBytes === null ? null : more.freeBytes + 1e9,
            framesLeftOnCard: more.framesLeftOnCard === null ? null : more.framesLeftOnCard + 30,
          });
          for (const key of ['disk', 'card'] as const)
            expect(ORDER.indexOf(roomier[key]?.mark ?? 'fine')).toBeGreaterThanOrEqual(
              ORDER.indexOf(told[key]?.mark ?? 'fine'),
            );
        },
      ),
    );
  });
});

describe('what the wire tells', () => {
  const tree = (...settings: Setting[]) => new Map(settings.map((setting) => [setting.name, setting]));
  const text = (name: string, value: string): Setting => ({ name, kind: 'text', value });
  const target = (value: string): Setting => ({ name: 'capturetarget', kind: 'choice', value });

  it('frames left on the card', () => {
    const left = (value: string) => text('availableshots', value);
    expect(framesLeftOnCard(tree())).toBeNull();
    expect(framesLeftOnCard(tree(left('27')))).toBe(27);
    expect(framesLeftOnCard(tree(target('Memory card'), left('0')))).toBe(0);
    expect(framesLeftOnCard(tree(left('999999')))).toBe(999_999);
    for (const nonsense of ['1000000', '4294967295', '-1', '', 'many'])
      expect(framesLeftOnCard(tree(left(nonsense)))).toBeNull();
    // Set to its memory, a body counts what fits there.
    for (const memory of ['Internal RAM', 'sdram'])
      expect(framesLeftOnCard(tree(target(memory), left('27')))).toBeNull();
  });

  it('charge of the battery', () => {
    const at = (value: string) => text('batterylevel', value);
    const mains = (value: string): Setting => ({ name: 'acpower', kind: 'choice', value });
    expect(batteryCharge(tree())).toBeNull();
    expect(batteryCharge(tree(at('64%')))).toBe(64);
    expect(batteryCharge(tree(at('0%')))).toBe(0);
    expect(batteryCharge(tree(at('Low')))).toBe('low');
    expect(batteryCharge(tree(at('64%'), mains('Off')))).toBe(64);
    expect(batteryCharge(tree(at('64%'), mains('On')))).toBeNull();
    for (const nonsense of ['255%', '101%', 'three bars', 'Unknown value', ''])
      expect(batteryCharge(tree(at(nonsense)))).toBeNull();
  });
});
