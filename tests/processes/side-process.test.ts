// Processes beside the program that fall, hang or cannot be begun. A script stands for the one that decodes pictures, and does with each question
// what the name of its file says.
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { NothingDecoded, Pictures } from '../../src/frames/decode/pictures.js';
import { ProcessFell } from '../../src/system/index.js';
import { isAlive } from '../built.js';

/** Writes down what it is asked; answers with its own number as a width. */
const SCRIPTED = `
const fs = require('node:fs');
process.on('disconnect', () => process.exit());
process.on('message', ({ id, source }) => {
  if (__filename.includes('broken')) return process.abort();
  if (source === undefined) return process.send({ id, answer: { done: null } });
  fs.appendFileSync(__dirname + '/asked', source + '\\n');
  if (source.startsWith('falls')) return process.abort();
  if (source.startsWith('hangs')) return;
  if (source.startsWith('cannot')) return process.send({ id, error: 'It cannot.' });
  const refused = { code: 'frame-unreadable', message: 'It is broken.', details: { damaged: true } };
  if (source.startsWith('broken')) return process.send({ id, answer: { refused } });
  setTimeout(() => process.send({ id, answer: { done: { width: process.pid, height: 1 } } }), 20);
});
`;

let folder = '';
let entry = '';
const opened: Pictures[] = [];
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  entry = path.join(folder, 'scripted.cjs');
  await writeFile(entry, SCRIPTED);
});
afterEach(async () => {
  for (const one of opened.splice(0)) await one.side.end();
  await rm(folder, { recursive: true, force: true });
});

function open(options: ConstructorParameters<typeof Pictures>[0] = {}): Pictures {
  const pictures = new Pictures({ entry, ...options });
  opened.push(pictures);
  return pictures;
}

/** @returns the number of the process that answered */
const pidFor = async (pictures: Pictures, source: string): Promise<number> =>
  (await pictures.ask({ ask: 'size', source })).width;

const asked = async () => (await readFile(path.join(folder, 'asked'), 'utf8')).trim().split('\n');

describe('a process that falls', () => {
  it('over a picture is asked once more: all others are answered, and only that picture is not', async () => {
    const pictures = open();
    const [first, , second, third] = await Promise.allSettled([
      pidFor(pictures, 'a'),
      pidFor(pictures, 'falls'),
      pidFor(pictures, 'b'),
      pidFor(pictures, 'c'),
    ]).then((all) => {
      expect(all[1]).toMatchObject({ status: 'rejected', reason: expect.any(ProcessFell) });
      return all;
    });
    for (const one of [first, second, third]) expect(one?.status).toBe('fulfilled');
    expect((await asked()).filter((source) => source === 'falls')).toHaveLength(2);
    // What is asked later finds another one.
    expect(await pidFor(pictures, 'd')).toBe(pictures.side.pid);
  });

  it('over two pictures that are asked for side by side does not take the others along', async () => {
    const pictures = open();
    const sources = ['falls-1', 'a', 'falls-2', 'b', 'c'];
    const all = await Promise.allSettled(sources.map((source) => pidFor(pictures, source)));
    expect(all.map(({ status }) => status)).toEqual([
      'rejected',
      'fulfilled',
      'rejected',
      'fulfilled',
      'fulfilled',
    ]);
  });

  it('keeps what is new waiting until all that was asked again has been answered', async () => {
    const pictures = open();
    const lost = expect(pidFor(pictures, 'falls')).rejects.toThrow(/process that decodes pictures has ended/);
    await expect.poll(() => pictures.side.epoch).toBe(2);
    const later = pidFor(pictures, 'later');
    await lost;
    await later;
    expect(await asked()).toEqual(['falls', 'falls', 'later']);
  });
});

describe('a process that hangs', () => {
  it('is ended when its time is over, and asked once more', async () => {
    const pictures = open({ deadlineMs: 3000 });
    const pid = await pidFor(pictures, 'a');
    await expect(pidFor(pictures, 'hangs')).rejects.toThrow(/took too long, and was ended/);
    expect(isAlive(pid)).toBe(false);
    expect(await asked()).toEqual(['a', 'hangs', 'hangs']);
  });
});

describe('a process that answers', () => {
  it('that it cannot, or that a picture is broken, is not asked again', async () => {
    const pictures = open();
    await expect(pidFor(pictures, 'cannot')).rejects.toThrow('It cannot.');
    await expect(pidFor(pictures, 'broken')).rejects.toMatchObject({
      ...{ name: 'EvenrungError', code: 'frame-unreadable', message: 'It is broken.' },
      details: { damaged: true },
    });
    expect(await asked()).toEqual(['cannot', 'broken']);
    expect(pictures.side.epoch).toBe(1);
  });

  it('gives its place to another after so many questions, and answers what it was asked', async () => {
    const pictures = open({ mostQuestions: 3 });
    const sources = ['a', 'b', 'c', 'd', 'e', 'f', 'g'];
    const pids = await Promise.all(sources.map((source) => pidFor(pictures, source)));
    expect(new Set(pids.slice(0, 3)).size).toBe(1);
    expect(new Set(pids).size).toBe(3);
    await expect.poll(() => pids.map(isAlive)).toEqual([...Array(6).fill(false), true]);
  });

  it('ends when nothing is asked, and another begins when something is', async () => {
    const pictures = open({ idleMs: 50 });
    const pid = await pidFor(pictures, 'a');
    await expect.poll(() => pictures.side.isRunning || isAlive(pid)).toBe(false);
    expect(await pidFor(pictures, 'b')).not.toBe(pid);
  });
});

describe('a process that falls whatever it is asked', () => {
  it('is told from a picture that brings it down, and is left alone for a while', async () => {
    const broken = path.join(folder, 'broken.cjs');
    await writeFile(broken, SCRIPTED);
    const pictures = open({ entry: broken });
    const all = await Promise.allSettled(['a', 'b', 'c'].map((source) => pidFor(pictures, source)));
    for (const one of all) expect(one).toMatchObject({ reason: expect.any(NothingDecoded) });
    // For all that was asked, for one of them once more, and without any picture.
    expect(pictures.side.epoch).toBe(3);
    await expect(pidFor(pictures, 'd')).rejects.toThrow(NothingDecoded);
    expect(pictures.side.epoch).toBe(3);
  });

  it('is not begun again and again where it is said how often it may fall, until that time is over', async () => {
    const broken = path.join(folder, 'broken.cjs');
    await writeFile(broken, SCRIPTED);
    const rests = { afterFalls: 2, withinMs: 1500 };
    const side = open({ entry: broken, name: 'It', rests }).side;
    const ask = () => side.ask({ ask: 'ready' });
    await expect(ask()).rejects.toThrow('It has ended.');
    await expect(ask()).rejects.toThrow('It has ended.');
    await expect(ask()).rejects.toThrow(
      'It ended 2 times by itself within 2 s, and is not begun again for a while.',
    );
    expect(side.epoch).toBe(2);
    await expect.poll(() => ask().catch(({ message }: Error) => message)).toBe('It has ended.');
    expect(side.epoch).toBe(3);
  });
});

describe('a process that cannot be begun', () => {
  it.each([
    ['because its program is not there', () => ({ entry: path.join(folder, 'none.js') })],
    ['because the system starts none', () => ({ execPath: path.join(folder, 'none') })],
  ])('%s: the work is done here', async (_, options) => {
    const file = path.join(folder, 'frame.jpg');
    await sharp({ create: { width: 40, height: 20, channels: 3, background: '#777' } }).toFile(file);
    const pictures = open(options());
    expect(await pictures.ask({ ask: 'size', source: file })).toEqual({ width: 40, height: 20 });
    expect(await pictures.ask({ ask: 'size', source: file })).toEqual({ width: 40, height: 20 });
    expect(pictures.side.isRunning).toBe(false);
  });
});
