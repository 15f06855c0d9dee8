// The file of radiance, read back by a reader that others wrote (parse-hdr 1.0.0 from npm).
import parseHdr from 'parse-hdr';
import { describe, expect, it } from 'vitest';
import { writeRgbe as piecesOf } from '../../src/light/radiance/rgbe.js';
import fc from '../seeded.js';

const writeRgbe = (...args: Parameters<typeof piecesOf>): Buffer => Buffer.concat([...piecesOf(...args)]);

/** Its reader gives four values a pixel. */
function readBack(file: Buffer): { shape: readonly number[]; at: (pixel: number) => number[] } {
  const { shape, data } = parseHdr(file);
  return { shape, at: (pixel) => [...data.slice(pixel * 4, pixel * 4 + 3)] };
}

const radiance = (width: number, height: number, of: (at: number) => number) => ({
  ...{ width, height },
  values: Float32Array.from({ length: width * height * 3 }, (_, at) => of(at)),
});

/** The largest component has eight bits of mantissa, the first of which is set: a part in 128 is lost at most, and the others lose as much of the largest (Ward 1991). */
const PART = 1 / 128;

describe('the file of radiance', () => {
  it('says what it is, its size, and what it is about', () => {
    const head = writeRgbe(
      radiance(16, 9, () => 1),
      ['Relative radiance'],
    )
      .subarray(0, 200)
      .toString('latin1');
    expect(head).toMatch(/^#\?RADIANCE\n# Relative radiance\nFORMAT=32-bit_rle_rgbe\n\n-Y 9 \+X 16\n/);
  });

  it('is read back with the light that was written, over 40 EV', () => {
    const value = (at: number) => 2 ** ((at % 41) - 20) * (1 + (at % 3) / 4);
    const written = radiance(64, 8, value);
    const { shape, at } = readBack(writeRgbe(written));
    expect(shape.slice(0, 2)).toEqual([64, 8]);
    for (let pixel = 0; pixel < 64 * 8; pixel += 1) {
      const wanted = [...written.values.subarray(pixel * 3, pixel * 3 + 3)];
      const largest = Math.max(...wanted);
      for (const [component, got] of at(pixel).entries())
        expect(Math.abs(got - (wanted[component] ?? 0))).toBeLessThanOrEqual(PART * largest);
    }
  });

  it('is read back whatever is in it: plain rows, noise, runs, nothing, and what is no light', () => {
    const light = fc.oneof(
      fc.constant(0),
      fc.constant(1),
      fc.float({ min: 0, max: 1e6, noNaN: true }),
      fc.constantFrom(Number.NaN, Number.POSITIVE_INFINITY, -1),
    );
    fc.assert(
      fc.property(
        fc.integer({ min: 8, max: 300 }),
        fc.array(fc.tuple(light, fc.integer({ min: 1, max: 200 })), { minLength: 1, maxLength: 12 }),
        (width, runs) => {
          const row = runs.flatMap(([value, length]) => Array.from({ length }, () => value));
          const written = radiance(width, 2, (at) => row[Math.floor(at / 3) % row.length] as number);
          const { at } = readBack(writeRgbe(written));
          for (let pixel = 0; pixel < width * 2; pixel += 1) {
            const wanted = row[pixel % row.length] as number;
            const [red = Number.NaN] = at(pixel);
            if (Number.isFinite(wanted) && wanted > 1e-32)
              expect(Math.abs(red - wanted)).toBeLessThanOrEqual(PART * wanted);
            else expect(red).toBe(0);
          }
        },
      ),
      { numRuns: 80 },
    );
  });

  it('packs plain rows: a run of 127 takes two bytes', () => {
    const plain = writeRgbe(radiance(1270, 1, () => 0.5));
    const head = plain.indexOf('+X 1270\n') + '+X 1270\n'.length;
    // Four bytes for the row, then ten runs of two bytes for each of the four components.
    expect(plain.length - head).toBe(4 + 4 * 10 * 2);
  });

  it('writes rows that are too narrow for runs as they are', () => {
    const narrow = writeRgbe(radiance(4, 3, () => 2));
    expect(narrow.length - (narrow.indexOf('+X 4\n') + 5)).toBe(4 * 3 * 4);
  });
});
