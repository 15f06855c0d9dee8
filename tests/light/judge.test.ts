// A whole set through the process, as the program builds it: what it says, that it keeps nobody waiting, and that it comes back.

import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { performance } from 'node:perf_hooks';
import parseHdr from 'parse-hdr';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it, onTestFinished, vi } from 'vitest';
import { HeldProcess } from '../../src/light/held-process.js';
import { type Judge, openJudge } from '../../src/light/index.js';
import { judgeOn } from '../../src/light/judge.js';
import { isAlive, LIGHT_PROCESS } from '../built.js';
import { NINE, type Shot, shoot } from './practice-frames.js';

let folder = '';
const jpegs = new Map<number, Buffer>();
beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  for (const offset of NINE) jpegs.set(offset, await shoot({ offset, seed: offset }));
});
afterAll(async () => {
  await rm(folder, { recursive: true, force: true });
});

const judgeOf = (idleMs?: number): Judge => openJudge({ entry: LIGHT_PROCESS, idleMs });

async function pictureOf(shot: Shot): Promise<{ file: string; kind: string }> {
  const file = path.join(folder, `${Object.values(shot).join('_')}.jpg`);
  await writeFile(
    file,
    (Object.keys(shot).length === 1 ? jpegs.get(shot.offset) : undefined) ?? (await shoot(shot)),
  );
  return { file, kind: 'jpg' };
}

async function judgeSet(judge: Judge, shots: readonly Shot[]) {
  const seen = [];
  for (const [index, shot] of shots.entries())
    seen.push(
      await judge.frame({ number: index + 1, offsetEv: shot.offset, picture: await pictureOf(shot) }),
    );
  return seen;
}

describe('a set of nine', () => {
  it('is judged frame by frame, each against its neighbour, and has no mark if nothing is wrong', async () => {
    const judge = judgeOf();
    const seen = await judgeSet(
      judge,
      NINE.map((offset) => ({ offset })),
    );
    for (const [index, one] of seen.entries()) {
      expect(one).toMatchObject({
        isRead: true,
        number: index + 1,
        size: { width: 1200, height: 800 },
        marks: [],
      });
      if (one.isRead && index > 0) expect(one.steadiness?.against).toBe(index);
    }
    const { coverage, map, sentence } = await judge.coverage();
    // The scene reaches beyond nine frames at both ends: its brightest and darkest places (scene.ts) lie half a stop and more outside.
    expect(coverage?.holds).toBe(false);
    expect(coverage?.shares.none).toBeLessThan(0.03);
    expect(sentence).toMatch(/^Highlights and shadows are missing: 0\.\d+% of the picture is too bright/);
    expect(await sharp(map ?? Buffer.alloc(0)).metadata()).toMatchObject({
      width: 480,
      height: 320,
      format: 'png',
    });
    await judge.close();
  });

  it('is merged to a proof, and to a file of radiance that another reader reads', async () => {
    const judge = judgeOf();
    await judgeSet(
      judge,
      NINE.map((offset) => ({ offset })),
    );
    const file = path.join(folder, 'radiance.hdr.part');
    const merged = await judge.merge({ file, about: ['The boathouse, invented'] });
    if (!merged.isMerged) throw new Error(merged.sentence);
    expect(merged).toMatchObject({ frames: 9, size: { width: 1200, height: 800 } });
    expect(merged.sentence).toMatch(
      /^A proof of 9 frames, 1200 x 800 pixels: it shows what the set can become, not the final picture\.$/,
    );
    expect(await sharp(merged.preview).metadata()).toMatchObject({ format: 'jpeg', width: 1024 });
    const radiance = await readFile(file);
    expect(parseHdr(radiance).shape.slice(0, 2)).toEqual([1200, 800]);
    // With the response from before it comes out the same.
    const again = await judge.merge({ file, response: merged.response, about: ['The boathouse, invented'] });
    expect(again.isMerged && again.preview.equals(merged.preview)).toBe(true);
    expect((await readFile(file)).equals(radiance)).toBe(true);
    const nowhere = await judge.merge({ file: path.join(folder, 'none', 'radiance.hdr') });
    expect(nowhere).toMatchObject({
      isMerged: false,
      sentence:
        'The proof of the set could not be written into its folder: the folder is missing and cannot be made.',
    });
    await judge.close();
  });

  it('holds more of a scene with less in it', async () => {
    const judge = judgeOf();
    await judgeSet(
      judge,
      [-2, -1, 0, 1, 2].map((offset) => ({ offset, scene: 'flat' as const })),
    );
    const { coverage, sentence } = await judge.coverage();
    expect(coverage?.holds).toBe(true);
    expect(sentence).toMatch(/^The set holds everything: /);
    await judge.close();
  });

  it('holds everything but a tiny lamp, and says so', async () => {
    const judge = judgeOf();
    const offsets = [-5, -3, -1, 1, 3, 5];
    await judgeSet(
      judge,
      offsets.map((offset) => ({ offset, scene: 'spot' as const })),
    );
    const { coverage, sentence } = await judge.coverage();
    // The scene ends below what the darkest frame holds; the lamp, of 120 000 cd/m2, is the one thing beyond (scene.ts).
    expect(coverage?.holds).toBe(true);
    expect(coverage?.highlights.small.count).toBe(1);
    expect(sentence).toBe(
      'The set holds everything but 1 small bright spot such as a lamp or a glint (less than 0.01% of the picture).',
    );
    await judge.close();
  });
});

describe('a frame that is fired again', () => {
  it('takes the place of the one before; one that is dropped is gone', async () => {
    const judge = judgeOf();
    await judgeSet(judge, [{ offset: 0 }, { offset: 1, right: 9 }]);
    const again = await judge.frame({ number: 2, offsetEv: 1, picture: await pictureOf({ offset: 1 }) });
    expect(again).toMatchObject({ isRead: true, marks: [] });
    const both = await judge.coverage();
    await judge.drop(2);
    const one = await judge.coverage();
    expect(both.coverage?.shares.twoOrMore).toBeGreaterThan(0);
    expect(one.coverage?.shares.twoOrMore).toBe(0);
  });

  it('is out of the set even if the one in its place cannot be looked at', async () => {
    const judge = judgeOf();
    await judgeSet(judge, [{ offset: 0 }, { offset: 1 }]);
    const lost = { preview: () => Promise.reject(new Error('The disk is gone.')) };
    expect(await judge.frame({ number: 2, offsetEv: 1, picture: lost })).toMatchObject({ isRead: false });
    const { coverage, sentence } = await judge.coverage();
    expect(coverage?.shares.twoOrMore).toBe(0);
    expect(sentence).toMatch(/\(1 of 2 frames could not be looked at\)\.$/);
    await judge.close();
  });
});

describe('the process', () => {
  it('keeps its caller waiting for no longer than a frame of the screen takes, whatever it does', async () => {
    const judge = judgeOf();
    // What is loaded once, by whoever reads pictures first, is loaded already.
    await judgeSet(judge, [{ offset: 0 }]);
    let longest = 0;
    let last = performance.now();
    const beat = setInterval(() => {
      const now = performance.now();
      longest = Math.max(longest, now - last);
      last = now;
    }, 1);
    const cpu = performance.eventLoopUtilization();
    const file = await pictureOf({ offset: 1 });
    await judge.frame({ number: 2, offsetEv: 1, picture: file });
    await judge.coverage();
    await judge.merge({ file: path.join(folder, 'proof.hdr') });
    clearInterval(beat);
    // How busy the loop was does not depend on what else the machine does; the longest beat is judged by the bench.
    expect(performance.eventLoopUtilization(cpu).utilization).toBeLessThan(0.2);
    expect(longest).toBeGreaterThan(0);
    await judge.close();
  });

  it('ends when nothing is asked, and knows the set again when something is', async () => {
    const held = new HeldProcess({ entry: LIGHT_PROCESS, idleMs: 50 });
    const judge = judgeOn(held);
    await judgeSet(judge, [{ offset: -1 }, { offset: 1 }]);
    const first = await judge.coverage();
    await expect.poll(() => held.isRunning).toBe(false);
    expect((await judge.coverage()).coverage).toEqual(first.coverage);
    expect(held.epoch).toBe(2);
    await judge.close();
    await expect.poll(() => held.isRunning).toBe(false);
  });

  it('may fall: what was asked is answered so, and the next question begins another', async () => {
    const held = new HeldProcess({ entry: LIGHT_PROCESS });
    await expect(held.ask({ ask: 'coverage', desk: 1 })).resolves.toBeNull();
    await expect(held.ask({ ask: 'nonsense' } as never)).rejects.toThrow('no such work');
    const lost = expect(held.ask({ ask: 'response', desk: 1 })).rejects.toThrow('has ended');
    process.kill(held.pid ?? Number.NaN, 'SIGKILL');
    await lost;
    await expect(held.ask({ ask: 'coverage', desk: 1 })).resolves.toBeNull();
    expect(held.epoch).toBe(2);
    const ended = expect(held.ask({ ask: 'response', desk: 1 })).rejects.toThrow('was ended');
    await held.end();
    await ended;
  });

  it('stays when somebody presses Ctrl-C, and ends with the program that asked', async () => {
    const held = new HeldProcess({ entry: LIGHT_PROCESS });
    await held.ask({ ask: 'coverage', desk: 1 });
    const { pid = Number.NaN } = held;
    for (const signal of ['SIGINT', 'SIGTERM'] as const) process.kill(pid, signal);
    await expect(held.ask({ ask: 'coverage', desk: 1 })).resolves.toBeNull();
    expect(held.epoch).toBe(1);
    held.begun().disconnect();
    await expect.poll(() => isAlive(pid)).toBe(false);
  });

  it('says so if it cannot be begun at all', async () => {
    const judge = openJudge({ entry: path.join(folder, 'none.js') });
    const seen = await judge.frame({ number: 1, offsetEv: 0, picture: await pictureOf({ offset: 0 }) });
    expect(seen).toMatchObject({ isRead: false, reason: 'failed' });
    expect((await judge.coverage()).coverage).toBeNull();
    expect((await judge.merge({ file: path.join(folder, 'proof.hdr') })).isMerged).toBe(false);
    await judge.close();
  });

  it('gives way to what fires', async () => {
    vi.stubEnv('EVENRUNG_GIVE_WAY', 'yes');
    onTestFinished(() => {
      vi.unstubAllEnvs();
    });
    const held = new HeldProcess({ entry: LIGHT_PROCESS });
    await held.ask({ ask: 'coverage', desk: 1 });
    // Whoever is as low already stays there.
    const lower = Math.max(os.getPriority(), os.constants.priority.PRIORITY_BELOW_NORMAL);
    expect(os.getPriority(held.pid)).toBe(lower);
    await held.end();
  });
});
