// Pictures are decoded in a process of their own: what comes of it is what decoding them here would tell, also if the process is killed meanwhile.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { pictures } from '../../src/frames/decode/pictures.js';
import { smallCopyOf } from '../../src/frames/decode/small-copy.js';
import { readPicture, readPixelSize, smallPicture } from '../../src/frames/index.js';

let folder = '';
/** A picture of 24 megapixels, which takes a while. */
let large = '';
beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  large = await put('large.jpg', await noise(6000, 4000));
});
afterAll(async () => {
  await pictures.side.end();
  await rm(folder, { recursive: true, force: true });
});

async function put(name: string, bytes: Buffer): Promise<string> {
  const file = path.join(folder, name);
  await writeFile(file, bytes);
  return file;
}

const noise = (width: number, height: number): Promise<Buffer> =>
  sharp({
    create: {
      width,
      height,
      channels: 3,
      background: '#777',
      noise: { type: 'gaussian', mean: 128, sigma: 60 },
    },
  })
    .jpeg({ quality: 90 })
    .toBuffer();

describe('a picture', () => {
  it('is what it is when it is decoded here', async () => {
    const [there, here] = await Promise.all([readPicture(large, 'jpg'), smallCopyOf(large, null)]);
    expect(there).toEqual({ ...here, isPreview: false });
    expect(Buffer.isBuffer(there?.thumbnail)).toBe(true);
    // It keeps nothing alive of what it came with.
    const { length = 0, buffer } = there?.thumbnail ?? {};
    expect(buffer?.byteLength).toBeLessThanOrEqual(Math.max(Buffer.poolSize, length));
    const small = await smallPicture(there?.thumbnail ?? Buffer.alloc(0));
    expect(small).toMatchObject({ width: 320, height: 213, channels: 3 });
    expect(small.pixels).toHaveLength(320 * 213 * 3);
    expect(await readPixelSize(large, 'jpg')).toEqual({ width: 6000, height: 4000 });
  });

  it.each([
    ['cut', (whole: Buffer) => whole.subarray(0, Math.floor(whole.length * 0.8))],
    ['cut within its head', (whole: Buffer) => whole.subarray(0, 100)],
    ['empty', () => Buffer.alloc(0)],
    ['words', () => Buffer.from('no picture at all')],
    // A picture of more pixels than a decoder takes at all: 65,500 on each side.
    ['huge', hugeOf],
  ])('that is %s is refused in the same words', async (name, change) => {
    const file = await put(`${name}.jpg`, change(await noise(640, 400)));
    const here = await smallCopyOf(file, null).catch((cause: unknown) => cause);
    expect(here).toMatchObject({ code: 'frame-unreadable' });
    await expect(readPicture(file, 'jpg')).rejects.toEqual(here);
  });
});

/** Its frame header says so (ISO/IEC 10918-1, B.2.2: the lines, then the samples in a line). */
function hugeOf(whole: Buffer): Buffer {
  const huge = Buffer.from(whole);
  const frame = huge.indexOf(Buffer.from([0xff, 0xc0]));
  huge.writeUInt16BE(65_500, frame + 5);
  huge.writeUInt16BE(65_500, frame + 7);
  return huge;
}

describe('the process', () => {
  it('is killed in the middle of a picture: it is looked at again, and is what it is', async () => {
    await readPixelSize(large, 'jpg');
    const { epoch, pid = Number.NaN } = pictures.side;
    const looking = readPicture(large, 'jpg');
    await new Promise((resolve) => setTimeout(resolve, 20));
    process.kill(pid, 'SIGKILL');
    expect((await looking)?.isPreview).toBe(false);
    expect(pictures.side.epoch).toBe(epoch + 1);
  });

  it('is killed both times that it is asked: the picture cannot be read, and the next one can', async () => {
    const looking = readPicture(large, 'jpg').catch((cause: unknown) => cause);
    const killed = new Set<number>();
    while (killed.size < 2) {
      const { pid } = pictures.side;
      if (pid !== undefined && !killed.has(pid)) {
        process.kill(pid, 'SIGKILL');
        killed.add(pid);
      }
      await new Promise((resolve) => setTimeout(resolve, 5));
    }
    expect(await looking).toMatchObject({
      code: 'frame-unreadable',
      message: expect.stringMatching(/cannot be read: two attempts to decode its picture did not finish/),
    });
    expect(await readPicture(large, 'jpg')).not.toBeNull();
  });
});
