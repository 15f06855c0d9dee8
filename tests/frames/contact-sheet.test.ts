import { spawnSync } from 'node:child_process';
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';
import { transformWithOxc } from 'vite';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import {
  drawable,
  drawContactSheet,
  type Letters,
  lettersHere,
  type Sheet,
  type SheetCell,
} from '../../src/frames/index.js';

let folder = '';
/** By level: plain grey pictures, so that what is drawn beside them can be told from them. */
const thumbnails = new Map<number, Buffer>();
beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  for (const level of [10, 120, 240]) thumbnails.set(level, await grey(level, 320, 214));
});
afterAll(async () => {
  await rm(folder, { recursive: true, force: true });
});

const grey = (level: number, width: number, height: number): Promise<Buffer> =>
  sharp({ create: { width, height, channels: 3, background: { r: level, g: level, b: level } } })
    .jpeg()
    .toBuffer();

const cell = (number: number, changes: Partial<SheetCell> = {}): SheetCell => ({
  number,
  offsetEv: number - 5,
  shutter: '1/60',
  thumbnail: thumbnails.get(120) ?? null,
  isMade: true,
  marks: [],
  ...changes,
});

const sheet = (count: number, changes: Partial<Sheet> = {}): Sheet => ({
  name: 'Boathouse at dusk',
  startedAt: new Date(2026, 10, 25, 16, 42),
  base: { shutter: '1/60', aperture: 'f/8', iso: '100' },
  practice: true,
  cells: Array.from({ length: count }, (_, index) => cell(index + 1)),
  ...changes,
});

/** How many pixels of a stretch are of a colour, about. */
async function countOf(
  jpeg: Buffer,
  at: { left: number; top: number; width: number; height: number },
  isIt: (red: number, green: number, blue: number) => boolean,
): Promise<number> {
  const { data } = await sharp(jpeg).extract(at).removeAlpha().raw().toBuffer({ resolveWithObject: true });
  let count = 0;
  for (let index = 0; index < data.length; index += 3)
    if (isIt(data[index] as number, data[index + 1] as number, data[index + 2] as number)) count += 1;
  return count;
}

const isAmber = (red: number, green: number, blue: number) => red > 170 && green > 110 && blue < red - 70;
const isBright = (red: number, green: number, blue: number) => Math.min(red, green, blue) > 190;

const BOTH: readonly Letters[] = ['fonts', 'strokes'];

describe.each(BOTH)('a contact sheet, letters by %s', (letters) => {
  const draw = (one: Sheet) => drawContactSheet(one, letters);

  it.each([
    [1, 3, 1],
    [3, 3, 1],
    [9, 3, 3],
    [61, 8, 8],
  ])('%s frames: %s columns, %s rows', async (count, columns, rows) => {
    const { format, width, height } = await sharp(await draw(sheet(count))).metadata();
    expect(format).toBe('jpeg');
    expect(width).toBe(56 + columns * 320 + (columns - 1) * 18);
    expect(Math.floor(height / (214 + 66))).toBe(rows);
  });

  it('the darkest comes first, row by row, each above its own words', async () => {
    const levels = [10, 120, 240];
    const cells = levels.map((level, index) => cell(index + 1, { thumbnail: thumbnails.get(level) ?? null }));
    const jpeg = await draw(sheet(3, { cells }));
    const { height } = await sharp(jpeg).metadata();
    for (const [index, level] of levels.entries()) {
      const left = 28 + index * 338;
      const { channels } = await sharp(
        await sharp(jpeg)
          .extract({ left: left + 40, top: height - 220, width: 240, height: 100 })
          .toBuffer(),
      ).stats();
      expect(Math.abs((channels[0]?.mean ?? 0) - level)).toBeLessThan(4);
      const words = { left, top: height - 28 - 50, width: 320, height: 30 };
      expect(await countOf(jpeg, words, isBright)).toBeGreaterThan(100);
    }
  });

  it('a missing frame is an empty cell that says so; marks stand under their frame alone', async () => {
    const cells = [
      cell(1),
      cell(2, { thumbnail: null, isMade: false }),
      cell(3, { marks: ['clipped-light', 'ratio'] }),
    ];
    const jpeg = await draw(sheet(3, { cells }));
    const { height } = await sharp(jpeg).metadata();
    const amber = (index: number, top: number, tall: number) =>
      countOf(jpeg, { left: 28 + index * 338, top, width: 320, height: tall }, isAmber);
    const first = height - 28 - 70 - 214;
    expect(await amber(1, first + 80, 60)).toBeGreaterThan(100);
    expect(await amber(0, first + 80, 60)).toBe(0);
    expect(await amber(2, height - 28 - 26, 24)).toBeGreaterThan(50);
    expect(await amber(0, height - 28 - 26, 24)).toBe(0);
  });

  it.each([
    ['a name of 300 characters', 'x'.repeat(300)],
    ['one in Japanese', '湖の舟小屋'.repeat(60)],
    ['one in Arabic', 'مرآب القوارب '.repeat(25)],
    ['emoji', '👩‍🚀'.repeat(300)],
    ['what XML forbids', '<&>"\'\0\ud83d ]]>\u001f'],
    ['no name', null],
  ])('%s stays in its two lines', async (_, name) => {
    const jpeg = await draw(sheet(3, { name }));
    const { width, height } = await sharp(jpeg).metadata();
    expect(width).toBe(1052);
    const short = await sharp(await draw(sheet(3))).metadata();
    expect(height - short.height).toBeLessThanOrEqual(38);
    // Nothing is drawn over the right margin, nor over the frames.
    expect(await countOf(jpeg, { left: width - 26, top: 0, width: 26, height: 120 }, isBright)).toBe(0);
  });

  it('practice frames are marked as invented', async () => {
    const [invented, photographed] = await Promise.all([draw(sheet(1)), draw(sheet(1, { practice: false }))]);
    const tall = async (jpeg: Buffer) => (await sharp(jpeg).metadata()).height;
    // A line of its own over the frames, and a word under each.
    expect((await tall(invented)) - (await tall(photographed))).toBe(28);
    const word = async (jpeg: Buffer) =>
      countOf(
        jpeg,
        { left: 60, top: (await tall(jpeg)) - 28 - 26, width: 200, height: 26 },
        (red) => red > 130,
      );
    expect(await word(invented)).toBeGreaterThan(await word(photographed));
  });

  it('what the pictures show stands above the frames: what they become on the left, what they hold on the right', async () => {
    const sentence = 'The set holds everything.';
    const plain = await sharp(
      await draw(sheet(9, { light: { sentence, preview: null, map: null } })),
    ).metadata();
    const light = { sentence, preview: await grey(250, 1024, 683), map: await grey(250, 480, 320) };
    const jpeg = await draw(sheet(9, { light }));
    const { height } = await sharp(jpeg).metadata();
    // Each takes half of the width between the margins, in the shape of most pictures.
    const across = Math.floor((3 * 320 + 2 * 18 - 18) / 2);
    expect(height - plain.height).toBe(Math.round((across * 2) / 3) + 22 + 2 * 18);
    const top = height - plain.height - 200;
    for (const left of [28, 28 + across + 18]) {
      const inside = { left: left + 10, top, width: across - 20, height: 1 };
      expect(await countOf(jpeg, inside, isBright)).toBe(across - 20);
    }
  });

  it('upright frames keep their shape', async () => {
    const upright = await grey(240, 214, 320);
    const jpeg = await draw(sheet(1, { cells: [cell(1, { thumbnail: upright })] }));
    const { height } = await sharp(jpeg).metadata();
    const row = await countOf(jpeg, { left: 28, top: height - 28 - 150, width: 320, height: 1 }, isBright);
    expect(row).toBeGreaterThan(130);
    expect(row).toBeLessThan(155);
  });
});

describe('letters', () => {
  it('that no font here has: a name is drawn as a whole, or not at all; signs are left out', async () => {
    for (const letters of BOTH) {
      expect(await drawable('The boathouse, 5 pm', letters)).toBe('The boathouse, 5 pm');
      expect(await drawable('Never \u{1fffe}\ufdd0assigned', letters)).toBe('Never assigned');
      // Linear A: a machine has letters for it or it has not, and then the name is not drawn.
      expect([null, 'by \u{10600}']).toContain(await drawable('by \u{10600}', letters));
    }
    expect(await drawable('mole \u00e0 l\u2019eau', 'strokes')).toBe("mole a l'eau");
    expect(await drawable('\u6e56', 'strokes')).toBeNull();
  });

  it('are missing for a name: the sheet shows the id of the set', async () => {
    const draw = (name: string | null, id: string) =>
      drawContactSheet(sheet(3, { name, id, cells: [] }), 'strokes');
    const replaced = await draw('\u6e56\u306e\u821f', '3f2a91c0-boathouse');
    const same = (one: Buffer, other: Buffer) => one.equals(other);
    expect(same(replaced, await draw('\u821f\u306e\u6e56', '3f2a91c0-another'))).toBe(true);
    expect(same(replaced, await draw('\u6e56\u306e\u821f', '4f2a91c0-boathouse'))).toBe(false);
    expect(same(replaced, await draw('Bracketed set 3f2a91c0 (its name is in set.json)', ''))).toBe(true);
  });

  it('are the machine’s where it has fonts, and our own strokes where it has none', async () => {
    expect(await lettersHere()).toBe(hasFonts() ? 'fonts' : 'strokes');
    const none = path.join(folder, 'fonts.conf');
    await writeFile(
      none,
      '<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd"><fontconfig></fontconfig>',
    );
    // Fontconfig reads its configuration once: a process of its own asks the same function.
    const source = fileURLToPath(new URL('../../src/frames/hand-over/letters.ts', import.meta.url));
    const { code } = await transformWithOxc(await readFile(source, 'utf8'), source);
    const script = path.join(folder, 'letters.mjs');
    const asking = code.replace('import("sharp")', `import(${JSON.stringify(import.meta.resolve('sharp'))})`);
    await writeFile(script, `${asking}\nconsole.log(await lettersHere());`);
    const env = { ...process.env, FONTCONFIG_FILE: none };
    const bare = spawnSync(process.execPath, [script], { env, encoding: 'utf8', timeout: 15_000 });
    expect(bare.stderr).toBe('');
    expect(bare.stdout.trim()).toBe('strokes');
  });
});

/** Fontconfig's own tool, where there is one; else the usual folders. */
function hasFonts(): boolean {
  const listed = spawnSync('fc-list', { encoding: 'utf8' });
  return listed.status === 0
    ? listed.stdout.trim() !== ''
    : spawnSync('find', ['/usr/share/fonts', '-name', '*.ttf'], { encoding: 'utf8' }).stdout !== '';
}
