// Whatever a picture is, it is judged or it is said why it is not; nothing falls, and nothing that is missing is said to be held.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { exifOf } from '../../src/camera/practice/exif.js';
import { makeRaw } from '../../src/camera/practice/raw.js';
import { exifTool, readRawPreview } from '../../src/frames/index.js';
import { type JudgedFrame, openJudge } from '../../src/light/index.js';
import { LIGHT_PROCESS } from '../built.js';
import { F8, NINE, shoot, tvOf } from './practice-frames.js';

let folder = '';
let frame: Buffer = Buffer.alloc(0);
beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  frame = await shoot({ offset: 0 });
});
afterAll(async () => {
  await rm(folder, { recursive: true, force: true });
});

const judge = openJudge({ entry: LIGHT_PROCESS });
afterAll(() => judge.close());

let files = 0;
async function fileOf(bytes: Uint8Array, kind = 'jpg'): Promise<{ file: string; kind: string }> {
  files += 1;
  const file = path.join(folder, `${files}.${kind}`);
  await writeFile(file, bytes);
  return { file, kind };
}

const plain = (colour: string, size = { width: 300, height: 200 }) =>
  sharp({ create: { ...size, channels: 3, background: colour } });

/** A PNG whose head says so many pixels, and which has none of them. */
async function bomb(width: number, height: number): Promise<Buffer> {
  const png = await plain('#888').png().toBuffer();
  png.writeUInt32BE(width, 16);
  png.writeUInt32BE(height, 20);
  return png;
}

/** A judge of its own for each, so that the first frame says what shape the set has. */
async function judged(picture: JudgedFrame['picture']) {
  const own = openJudge({ entry: LIGHT_PROCESS });
  try {
    const seen = await own.frame({ number: 1, offsetEv: 0, picture });
    return {
      seen,
      covered: await own.coverage(),
      merged: await own.merge({ file: path.join(folder, 'proof.hdr') }),
    };
  } finally {
    await own.close();
  }
}

describe('a picture that cannot be judged', () => {
  it.each([
    ['no file', async () => ({ file: path.join(folder, 'none.jpg'), kind: 'jpg' }), 'broken'],
    ['an empty file', () => fileOf(Buffer.alloc(0)), 'no-picture'],
    ['text', () => fileOf(Buffer.from('no picture at all'.repeat(99))), 'no-picture'],
    ['a kind that is not decoded here', () => fileOf(frame, 'raw'), 'no-picture'],
    [
      'a picture of letters',
      () => fileOf(Buffer.from('<svg xmlns="http://www.w3.org/2000/svg" width="300" height="300"/>')),
      'no-picture',
    ],
    ['half a JPEG', () => fileOf(frame.subarray(0, frame.length / 2)), 'broken'],
    ['a JPEG with nothing behind its head', () => fileOf(frame.subarray(0, 700)), 'broken'],
    [
      'one pixel',
      async () => fileOf(await plain('#888', { width: 1, height: 1 }).jpeg().toBuffer()),
      'too-small',
    ],
    [
      'a strip',
      async () => fileOf(await plain('#888', { width: 3000, height: 8 }).jpeg().toBuffer()),
      'too-small',
    ],
    ['more pixels than there can be', async () => fileOf(await bomb(1e5, 1e5), 'png'), 'too-large'],
    ['pixels that are not there', async () => fileOf(await bomb(20_000, 20_000), 'png'), 'broken'],
    ['a raw file without a preview', async () => ({ preview: async () => null }), 'no-picture'],
    [
      'a raw file with a broken preview',
      async () => ({ preview: async () => ({ jpeg: frame.subarray(0, 9000), turn: 0 as const }) }),
      'broken',
    ],
    [
      'a preview that cannot be brought',
      async () => ({ preview: () => Promise.reject(new Error('The disk is gone.')) }),
      'failed',
    ],
  ] as const)('%s is said to be so, and the set holds nothing by it', async (_name, make, reason) => {
    const { seen, covered, merged } = await judged(await make());
    expect(seen).toMatchObject({ isRead: false, reason });
    expect('sentence' in seen ? seen.sentence : '').toMatch(/^(?:It|Its picture|Its raw file|There) .+\.$/);
    expect(covered.coverage).toBeNull();
    expect(covered.sentence).toBe('What the set holds is not known: none of its pictures could be opened.');
    expect(merged.isMerged).toBe(false);
  });

  it('with noise all over its bytes is judged or refused, and the process goes on', async () => {
    let seed = 7;
    const random = () => {
      seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0;
      return seed / 2 ** 32;
    };
    for (let time = 0; time < 25; time += 1) {
      const bytes = Buffer.from(frame);
      for (let hit = 0; hit < 1 + 40 * random(); hit += 1)
        bytes[Math.floor(random() * bytes.length)] = random() * 256;
      const seen = await judge.frame({ number: 1, offsetEv: 0, picture: await fileOf(bytes) });
      expect(typeof seen.isRead).toBe('boolean');
    }
    expect(await judge.frame({ number: 1, offsetEv: 0, picture: await fileOf(frame) })).toMatchObject({
      isRead: true,
    });
  });
});

describe('a picture of an odd kind', () => {
  const upright = { width: 1200, height: 800 };
  it.each([
    ['progressive', () => sharp(frame).jpeg({ progressive: true }), 'jpg', upright],
    ['grey', () => sharp(frame).greyscale().jpeg(), 'jpg', upright],
    ['in four inks', () => sharp(frame).toColourspace('cmyk').jpeg(), 'jpg', upright],
    ['of 16 bits', () => sharp(frame).toColourspace('rgb16').png(), 'png', upright],
    ['grey of 16 bits', () => sharp(frame).toColourspace('grey16').png(), 'png', upright],
    ['of wide gamut', () => sharp(frame).withIccProfile('p3').jpeg(), 'jpg', upright],
    ['with a layer of transparency', () => sharp(frame).ensureAlpha(0.5).png(), 'png', upright],
    [
      'turned by its own word',
      () => sharp(frame).withMetadata({ orientation: 6 }).jpeg(),
      'jpg',
      { width: 800, height: 1200 },
    ],
    ['without Exif', () => sharp(frame).jpeg(), 'jpg', upright],
    ['as TIFF', () => sharp(frame).tiff(), 'tif', upright],
  ] as const)('%s is judged', async (_name, make, kind, size) => {
    const { seen, covered } = await judged(await fileOf(await make().toBuffer(), kind));
    expect(seen).toMatchObject({ isRead: true, size });
    // One frame of the boathouse at dusk holds neither its beams nor its lake.
    expect(covered.coverage?.holds).toBe(false);
    expect(covered.coverage?.highlights.share).toBeGreaterThan(0.02);
    expect(covered.coverage?.shadows.share).toBeGreaterThan(0.2);
    expect(covered.map?.subarray(1, 4).toString('latin1')).toBe('PNG');
  });

  it('as a raw file is judged by the preview in it, and refused without', async () => {
    const exif = exifOf({
      ...{ tv: tvOf({ offset: 0 }), av: F8, iso: 100, biasSixths: sixths(0), takenAt: new Date(1_000_000) },
      ...{ model: 'Practice', serial: '1', manual: true },
    });
    const { file } = await fileOf(await makeRaw(frame, exif), 'dng');
    const { seen } = await judged({ preview: () => readRawPreview(file, exifTool, 1024) });
    expect(seen).toMatchObject({ isRead: true, size: upright });
    const bare = await judged({ file, kind: 'dng' });
    expect(bare.seen).toMatchObject({ isRead: false, reason: 'no-picture' });
  });

  it('as the preview of a raw file is turned as that says', async () => {
    const { seen } = await judged({ preview: async () => ({ jpeg: frame, turn: 90 }) });
    expect(seen).toMatchObject({ isRead: true, size: { width: 800, height: 1200 } });
  });

  it.each(['#000000', '#ffffff', '#707070', '#c01010'])(
    'of one colour, %s, nine times, is said to hold nothing',
    async (colour) => {
      const own = openJudge({ entry: LIGHT_PROCESS });
      const picture = await fileOf(await plain(colour).jpeg().toBuffer());
      for (const [index, offsetEv] of NINE.entries()) {
        const seen = await own.frame({ number: index + 1, offsetEv, picture });
        expect(seen).toMatchObject({ isRead: true, marks: [], steadiness: null });
      }
      const { coverage } = await own.coverage();
      expect(coverage?.holds).toBe(false);
      expect((await own.merge({ file: path.join(folder, 'proof.hdr') })).isMerged).toBe(false);
      await own.close();
    },
  );

  it('of another shape than the set has is said to be so', async () => {
    const own = openJudge({ entry: LIGHT_PROCESS });
    await own.frame({ number: 1, offsetEv: 0, picture: await fileOf(frame) });
    const turned = await fileOf(await sharp(frame).rotate(90).jpeg().toBuffer());
    expect(await own.frame({ number: 2, offsetEv: 1, picture: turned })).toMatchObject({
      isRead: false,
      reason: 'other-shape',
    });
    expect((await own.coverage()).sentence).toMatch(/\(1 of 2 frames could not be looked at\)\.$/);
    await own.close();
  });
});
