// Sets that ended and whose proof was never written: because the program ended before it was, or the disk was full. What judges their pictures is
// invented; tests/light/late-proof.test.ts does it once with what really judges, and a program that is really killed.
import { mkdtemp, readdir, readFile, rename, rm, stat, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import type { Happening } from '../../shared/state.js';
import { checkSet, exifTool } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import type { Judge } from '../../src/light/index.js';
import { type EndedSet, endedSet, type Made, never, recordIn } from '../harness/ended-set.js';
import { judging } from '../harness/judge.js';
import { TestLink } from '../harness/links.js';
import { openStation, stationOver } from '../harness/station.js';

const ASKED = { frames: 3, step: 1, base: '1/60' };
/** What holds the invented scene. */
const scene = () => ({ from: -1, to: 1 });

let root = '';
let journal: Journal;
let preview: Buffer;
beforeAll(async () => {
  const create = { width: 6, height: 4, channels: 3, background: 'grey' } as const;
  preview = await sharp({ create }).jpeg().toBuffer();
});
const opened: Made[] = [];
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
});
afterEach(async () => {
  for (const { station } of opened.splice(0)) await station.close();
  journal.close();
  await exifTool.end();
  await rm(root, { recursive: true, force: true });
});

/** How often frames were merged. */
let merged = 0;
const merges: Judge['merge'] = async ({ file }) => {
  merged += 1;
  await writeFile(file, 'radiance');
  const [size, response] = [{ width: 6, height: 4 }, {} as never];
  return {
    isMerged: true,
    preview,
    size,
    response,
    frames: 3,
    sentence: 'A proof.',
  };
};

interface Options {
  readonly merge?: Judge['merge'] | undefined;
  readonly ready?: () => Promise<unknown>;
  readonly isJudging?: boolean;
}

/** @returns a program as it begins */
async function begun({
  merge = merges,
  ready,
  isJudging = true,
}: Options = {}): Promise<Made & { readonly told: readonly Happening[] }> {
  const link = new TestLink();
  const openJudge = judging({ scene, merge, ...(ready === undefined ? {} : { ready }) });
  const made = { ...(await openStation(root, link, { journal, ...(isJudging ? { openJudge } : {}) })), link };
  const told: Happening[] = [];
  made.events.watch(({ happening }) => told.push(happening));
  opened.push(made);
  return { ...made, told };
}

/** @returns a set that ended, and whose program ended before its proof was written */
async function killedAfterTheEnd(options: Options = { merge: never }): Promise<EndedSet> {
  const made = await begun(options);
  opened.pop();
  return endedSet(journal, made, ASKED);
}

const OF_PROOF = ['preview.jpg', 'radiance.hdr'];
const proofIn = async ({ folder }: EndedSet) =>
  (await readdir(folder)).filter((name) => OF_PROOF.includes(name)).sort();

describe('a set whose program was killed after its end', () => {
  it('has no proof, and the next program makes it from journal and folder', async () => {
    const set = await killedAfterTheEnd();
    expect(journal.set(set.id)?.state).toBe('complete');
    expect(await proofIn(set)).toEqual([]);
    const before = await recordIn(set);
    expect(before.light?.proof ?? null).toBe(null);
    const { station, told, link } = await begun();
    await station.proveLate();
    expect(await proofIn(set)).toEqual(OF_PROOF);
    const { light, ...record } = await recordIn(set);
    expect(light?.proof).toMatchObject({ isMade: true, sentence: 'A proof.' });
    expect(light?.coverage?.holds).toBe(true);
    const { light: _, ...others } = before;
    expect(record).toEqual(others);
    expect(journal.set(set.id)?.light).toMatchObject(light ?? {});
    expect(told.filter(({ type }) => type === 'light')).toMatchObject([{ set: set.id, light }]);
    expect(link.releases).toBe(0);
    expect((await checkSet(set.folder)).findings).toEqual([]);
    // It is owed no more.
    const at = (await stat(path.join(set.folder, 'preview.jpg'))).mtimeMs;
    await station.proveLate();
    expect((await stat(path.join(set.folder, 'preview.jpg'))).mtimeMs).toBe(at);
  });

  it('of which nothing was judged yet gets it as well, and without a camera', async () => {
    const set = await killedAfterTheEnd({ ready: never });
    expect(journal.set(set.id)?.light).toBe(null);
    const link = new TestLink();
    const { station } = stationOver(root, link, { journal, openJudge: judging({ scene, merge: merges }) });
    await station.proveLate();
    await station.close();
    expect((await recordIn(set)).light?.proof?.isMade).toBe(true);
    expect((await recordIn(set)).light?.frames).toHaveLength(3);
  });

  it('loses nothing if that program is killed, too', async () => {
    const set = await killedAfterTheEnd();
    const before = journal.set(set.id);
    await writeFile(path.join(set.folder, 'preview.jpg.part'), 'half');
    const killed = await begun({ merge: never });
    opened.pop();
    void killed.station.proveLate();
    await expect.poll(() => readdir(set.folder)).not.toContain('preview.jpg.part');
    expect(journal.set(set.id)).toEqual(before);
    const { station } = await begun();
    await station.proveLate();
    expect(await proofIn(set)).toEqual(OF_PROOF);
  });

  it('gets none where no pictures are judged, where its folder is gone, or where a frame is', async () => {
    const set = await killedAfterTheEnd();
    const blind = await begun({ isJudging: false });
    await blind.station.proveLate();
    expect(await proofIn(set)).toEqual([]);
    const { station } = await begun();
    merged = 0;
    expect(await station.proofsMissing()).toBe(1);
    await rename(set.folder, `${set.folder}-away`);
    await station.proveLate();
    expect(await station.proofsMissing()).toBe(0);
    await rename(`${set.folder}-away`, set.folder);
    const [frame = ''] = (await readdir(set.folder)).filter((name) => name.endsWith('.jpg'));
    await rename(path.join(set.folder, frame), path.join(root, 'away.jpg'));
    await station.proveLate();
    expect(merged).toBe(0);
    await rename(path.join(root, 'away.jpg'), path.join(set.folder, frame));
    await station.proveLate();
    expect(merged).toBe(1);
  });

  it('gets none if pictures were not judged when it was made', async () => {
    const made = await begun({ isJudging: false });
    const set = await endedSet(journal, made, ASKED);
    const { station } = await begun();
    await station.proveLate();
    expect((await recordIn(set)).light).toBe(undefined);
  });
});

describe('a proof that is made later', () => {
  it('gives way to a set that is fired, and is made after it', async () => {
    const set = await killedAfterTheEnd();
    let merging = 0;
    let signal: AbortSignal | undefined;
    const made = await begun({
      merge: async (options) => {
        merging += 1;
        if (merging > 1) return merges(options);
        signal = options.signal;
        await new Promise((resolve) => options.signal?.addEventListener('abort', resolve));
        return { isMerged: false, sentence: 'It was ended.', hasFailed: true };
      },
    });
    const late = made.station.proveLate();
    await expect.poll(() => merging).toBe(1);
    const next = await endedSet(journal, made, ASKED);
    expect(signal?.aborted).toBe(true);
    expect(journal.set(next.id)?.state).toBe('complete');
    await late;
    for (const one of [set, next]) expect((await recordIn(one)).light?.proof?.isMade).toBe(true);
  });

  it('is not written over a set that was fired again meanwhile', async () => {
    const set = await killedAfterTheEnd();
    let begins = () => {};
    const isMerging = new Promise<void>((resolve) => {
      begins = resolve;
    });
    let goOn = () => {};
    const mayGoOn = new Promise<void>((resolve) => {
      goOn = resolve;
    });
    const sentences = ['Of before.', 'Of now.'];
    const made = await begun({
      merge: async (options) => {
        const sentence = sentences.shift() ?? '';
        if (sentence === 'Of before.') {
          begins();
          await mayGoOn;
        }
        return { ...(await merges(options)), sentence };
      },
    });
    const late = made.station.proveLate();
    await isMerging;
    const again = made.station.again(set.id, { frames: [2] });
    goOn();
    await again;
    await made.station.settled();
    await late;
    await made.station.proved();
    const record = await recordIn(set);
    expect(record.frames[1]?.attempts).toBe(2);
    expect(record.light?.proof?.sentence).toBe('Of now.');
    expect((await checkSet(set.folder)).findings).toEqual([]);
  });

  it('takes the name that the set was given meanwhile', async () => {
    const set = await killedAfterTheEnd();
    const { station } = await begun();
    await Promise.all([station.proveLate(), station.relabel(set.id, { name: 'Boathouse' })]);
    const record = await recordIn(set);
    expect([record.name, record.light?.proof?.isMade]).toEqual(['Boathouse', true]);
  });

  it('ends with the program, and is still owed', async () => {
    const set = await killedAfterTheEnd();
    const made = await begun({ ready: never });
    opened.pop();
    void made.station.proveLate();
    await made.station.close();
    const { station } = await begun();
    await station.proveLate();
    expect(await proofIn(set)).toEqual(OF_PROOF);
    expect(await readFile(path.join(set.folder, 'preview.jpg'))).toEqual(preview);
  });
});
