// Looking closely as sums: what lies below a pointer stays there, no part of the screen goes empty that the picture could fill, and
// the tables that even out two frames.

import { describe, expect, it } from 'vitest';
import { evenedTable } from '../../web/src/evened.js';
import {
  boxOf,
  hasMore,
  isCut,
  isPixelForPixel,
  type Look,
  limitsIn,
  moveBy,
  type Place,
  panesIn,
  partAt,
  pointsOf,
  type Room,
  stepped,
  stretch,
  toggled,
  towards,
  WAYS,
  WHOLE,
  wholePoints,
  within,
  zoomBy,
  zoomTo,
} from '../../web/src/zoom.js';
import fc from '../seeded.js';

/** Evenly over all of it: fc.double is as likely to be next to nothing. */
const from = (least: number, most: number) =>
  fc.integer({ min: 0, max: 10_000 }).map((share) => least + ((most - least) * share) / 10_000);
const part = from(0, 1);
const room: fc.Arbitrary<Room> = fc.record({
  picture: fc.record({
    width: fc.integer({ min: 1, max: 12_000 }),
    height: fc.integer({ min: 1, max: 12_000 }),
  }),
  screen: fc.record({
    width: fc.integer({ min: 100, max: 4000 }),
    height: fc.integer({ min: 100, max: 4000 }),
  }),
  density: fc.constantFrom(1, 1.25, 1.5, 2, 2.625, 3),
});
const look: fc.Arbitrary<Look> = fc.record({
  points: fc.oneof(
    fc.constant('whole' as const),
    from(-10, 6).map((twice) => 2 ** twice),
  ),
  x: from(-1, 2),
  y: from(-1, 2),
});
/** On the screen of that room, from 0 to 1 of its sides. */
const place = fc.record({ x: part, y: part });
const onScreen = ({ screen }: Room, { x, y }: Place): Place => ({
  x: x * screen.width,
  y: y * screen.height,
});

/** Boxes lie on whole points of the screen: as much either way is rounding. */
const within1Point = ({ density }: Room) => 0.51 / density + 1e-6;

function mustBeLaidWell(look: Look, room: Room) {
  const { left, top, width, height } = boxOf(look, room);
  const slack = within1Point(room) + 2e-3 * Math.max(room.screen.width, room.screen.height);
  for (const [from, length, all] of [
    [left, width, room.screen.width],
    [top, height, room.screen.height],
  ] as const) {
    if (length >= all) {
      expect(from).toBeLessThanOrEqual(slack);
      expect(from + length).toBeGreaterThanOrEqual(all - slack);
    } else {
      // In the middle, all of it to be seen.
      expect(Math.abs(from + length / 2 - all / 2)).toBeLessThanOrEqual(slack);
    }
  }
  const [least, most] = limitsIn(room);
  expect(pointsOf(look, room)).toBeGreaterThanOrEqual(least * 0.998);
  expect(pointsOf(look, room)).toBeLessThanOrEqual(most * 1.002);
}

describe('the limits', () => {
  it('hold for whatever look, and what is within them stays as it is', () => {
    fc.assert(
      fc.property(room, look, (room, look) => {
        const once = within(look, room);
        mustBeLaidWell(once, room);
        const again = within(once, room);
        expect(again.points).toBe(once.points);
        expect(again.x).toBeCloseTo(once.x, 9);
        expect(again.y).toBeCloseTo(once.y, 9);
      }),
    );
  });

  it('hold after each of a long row of movements', () => {
    const by = fc.record({
      x: from(-3000, 3000),
      y: from(-3000, 3000),
    });
    const step = fc.oneof(
      by.map((by) => (look: Look, room: Room) => moveBy(look, room, by)),
      fc
        .tuple(
          from(-7, 7).map((twice) => 2 ** twice),
          place,
        )
        .map(
          ([factor, at]) =>
            (look: Look, room: Room) =>
              zoomBy(look, room, factor, onScreen(room, at)),
        ),
      fc.tuple(place, place, place, place).map(
        ([a, b, c, d]) =>
          (look: Look, room: Room) =>
            stretch(
              look,
              room,
              [onScreen(room, a), onScreen(room, b)],
              [onScreen(room, c), onScreen(room, d)],
            ),
      ),
      fc.constantFrom(...WAYS).map((way) => (look: Look, room: Room) => towards(look, room, way)),
      fc.constantFrom(1, -1).map((by) => (look: Look, room: Room) => stepped(look, room, by as 1 | -1)),
      place.map((at) => (look: Look, room: Room) => toggled(look, room, onScreen(room, at))),
    );
    fc.assert(
      fc.property(room, fc.array(step, { minLength: 1, maxLength: 30 }), (room, steps) => {
        let look = WHOLE;
        for (const next of steps) {
          look = next(look, room);
          mustBeLaidWell(look, room);
        }
      }),
    );
  });

  it('let every edge of the picture be reached, and nothing be beyond it', () => {
    fc.assert(
      fc.property(room, part, (room, share) => {
        const [, most] = limitsIn(room);
        const points = wholePoints(room) + (most - wholePoints(room)) * share;
        for (const way of WAYS) {
          let look = zoomTo(WHOLE, room, points);
          for (let steps = 0; hasMore(look, room, way); steps += 1) {
            expect(steps).toBeLessThan(2000);
            look = towards(look, room, way);
          }
          const { left, top, width, height } = boxOf(look, room);
          const edge = { left, top, right: left + width, bottom: top + height };
          const slack = 1 / room.density + 1e-6 + 2e-3 * Math.max(room.screen.width, room.screen.height);
          if (way === 'left') expect(edge.left).toBeGreaterThanOrEqual(-slack);
          if (way === 'up') expect(edge.top).toBeGreaterThanOrEqual(-slack);
          if (way === 'right') expect(edge.right).toBeLessThanOrEqual(room.screen.width + slack);
          if (way === 'down') expect(edge.bottom).toBeLessThanOrEqual(room.screen.height + slack);
        }
      }),
      { numRuns: 50 },
    );
  });
});

describe('the part of the picture below a pointer', () => {
  /** Where the limits leave the look as it was meant, and so have moved nothing. */
  const isFree = (look: Look, room: Room) =>
    WAYS.every((way) => hasMore(look, room, way)) && pointsOf(look, room) < limitsIn(room)[1] * 0.999;

  it('stays there while it is made larger', () => {
    let free = 0;
    fc.assert(
      fc.property(room, place, place, from(1, 4), from(1, 8), (room, middle, at1, factor, times) => {
        const before = within({ points: wholePoints(room) * times, ...middle }, room);
        const at = onScreen(room, at1);
        const after = zoomBy(before, room, factor, at);
        if (!isFree(before, room) || !isFree(after, room)) return;
        free += 1;
        const [was, is] = [partAt(before, room, at), partAt(after, room, at)];
        expect(is.x).toBeCloseTo(was.x, 9);
        expect(is.y).toBeCloseTo(was.y, 9);
        expect(pointsOf(after, room)).toBeCloseTo(pointsOf(before, room) * factor, 6);
      }),
      { numRuns: 2000 },
    );
    expect(free).toBeGreaterThan(50);
  });

  it('stays below each of two fingers that part, and moves with them', () => {
    const room: Room = {
      picture: { width: 6000, height: 4000 },
      screen: { width: 360, height: 600 },
      density: 3,
    };
    const before = within({ points: 0.5, x: 0.4, y: 0.6 }, room);
    const fingers = [
      { x: 100, y: 200 },
      { x: 200, y: 300 },
    ] as const;
    const later = [
      { x: 80, y: 260 },
      { x: 230, y: 410 },
    ] as const;
    const after = stretch(before, room, fingers, later);
    expect(pointsOf(after, room)).toBeCloseTo(0.75, 9);
    for (const finger of [0, 1] as const) {
      const [was, is] = [partAt(before, room, fingers[finger]), partAt(after, room, later[finger])];
      expect(is.x).toBeCloseTo(was.x, 9);
      expect(is.y).toBeCloseTo(was.y, 9);
    }
  });

  it('goes with a finger that drags it', () => {
    const room: Room = {
      picture: { width: 6000, height: 4000 },
      screen: { width: 1200, height: 700 },
      density: 1,
    };
    const before = zoomTo(WHOLE, room, 1);
    const after = moveBy(before, room, { x: 130, y: -40 });
    expect(partAt(after, room, { x: 430, y: 260 })).toEqual(partAt(before, room, { x: 300, y: 300 }));
  });
});

describe('steps', () => {
  const laptop: Room = {
    picture: { width: 6000, height: 4000 },
    screen: { width: 1200, height: 700 },
    density: 1,
  };

  it('lead through pixel for pixel up to the most, and back to all of it', () => {
    let look = WHOLE;
    const up = [];
    for (let steps = 0; steps < 20; steps += 1) {
      look = stepped(look, laptop, 1);
      up.push(pointsOf(look, laptop));
    }
    expect(up.slice(0, 3).map((points) => points.toFixed(3))).toEqual(['0.177', '0.250', '0.354']);
    expect(up.some((points) => points === 1)).toBe(true);
    expect(up.at(-1)).toBe(8);
    for (let steps = 0; steps < 20; steps += 1) look = stepped(look, laptop, -1);
    expect(look).toEqual(WHOLE);
  });

  it('never stand still between the limits', () => {
    fc.assert(
      fc.property(room, look, fc.constantFrom<1 | -1>(1, -1), (room, look, by) => {
        const before = within(look, room);
        const after = pointsOf(stepped(before, room, by), room);
        const now = pointsOf(before, room);
        const [least, most] = limitsIn(room);
        const limit = by > 0 ? most : least;
        if (Math.abs(now / limit - 1) < 2e-3) return;
        expect(by * (after - now)).toBeGreaterThan(0);
        // The next half of a doubling at most.
        expect(Math.abs(Math.log2(after / now))).toBeLessThan(0.52);
      }),
    );
  });
  it('a double tap leads to pixel for pixel at that place, and back', () => {
    const at = { x: 900, y: 200 };
    const close = toggled(WHOLE, laptop, at);
    expect(close.points).toBe(1);
    expect(partAt(close, laptop, at).x).toBeCloseTo(partAt(WHOLE, laptop, at).x, 9);
    expect(isPixelForPixel(close, laptop)).toBe(true);
    expect(toggled(close, laptop, at)).toEqual(WHOLE);
  });

  it('pixel for pixel is a point of the screen, however many of them are in a CSS pixel', () => {
    const dense = { ...laptop, density: 3 };
    expect(boxOf(zoomTo(WHOLE, dense, 1), dense).width).toBe(2000);
    const box = boxOf(zoomTo({ points: 1, x: 0.3337, y: 0.417 }, dense, 1), dense);
    expect((box.left * 3) % 1).toBeCloseTo(0, 9);
    expect((box.top * 3) % 1).toBeCloseTo(0, 9);
  });

  it('a picture smaller than the screen can be seen pixel for pixel, and is all there', () => {
    const small = { ...laptop, picture: { width: 300, height: 200 } };
    const look = zoomTo(WHOLE, small, 1);
    expect(boxOf(look, small)).toEqual({ left: 450, top: 250, width: 300, height: 200 });
    expect(isCut(look, small)).toBe(false);
    expect(stepped(look, small, -1)).toEqual(look);
  });
});

describe('two pictures', () => {
  it('lie beside each other where it is wide, else one above the other, equal and on whole points', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 50, max: 4000 }),
        fc.integer({ min: 50, max: 4000 }),
        fc.constantFrom(1, 1.5, 2.625, 3),
        (width, height, density) => {
          const all = { width: width / density, height: height / density };
          const [one, other] = panesIn(all, density, true);
          if (one === undefined || other === undefined) throw new Error('There are two.');
          expect([one.width, one.height]).toEqual([other.width, other.height]);
          const isWide = width > height;
          const starts = isWide ? other.left : other.top;
          expect(Math.abs(starts * density - Math.round(starts * density))).toBeLessThan(1e-6);
          expect(starts).toBeGreaterThan(isWide ? one.width : one.height);
          expect(other.left + other.width).toBeLessThanOrEqual(all.width + 1e-9);
          expect(other.top + other.height).toBeLessThanOrEqual(all.height + 1e-9);
          expect(isWide ? one.height : one.width).toBe(isWide ? all.height : all.width);
        },
      ),
    );
    expect(panesIn({ width: 100, height: 50 }, 2, false)).toEqual([
      { left: 0, top: 0, width: 100, height: 50 },
    ]);
  });

  it('are evened out in linear light: half the light, not half the value', () => {
    const table = evenedTable(-1);
    expect(table).toHaveLength(256);
    expect(table[0]).toBe(0);
    // White at half its light is 187.5 of 255 in sRGB; middle grey (0.2140 of the light at 128) is 0.1079 of it.
    expect((table[255] ?? 0) * 255).toBeCloseTo(187.52, 1);
    expect((table[128] ?? 0) * 255).toBeCloseTo(92.6, 0);
    const none = evenedTable(0);
    for (const [value, evened] of none.entries()) expect(evened * 255).toBeCloseTo(value, 6);
    expect(evenedTable(1)[255]).toBe(1);
    // A stop down and up again is where it was.
    const up = evenedTable(1);
    for (let value = 20; value < 256; value += 1)
      expect(Math.abs((up[Math.round((table[value] ?? 0) * 255)] ?? 0) * 255 - value)).toBeLessThan(2);
  });
});
