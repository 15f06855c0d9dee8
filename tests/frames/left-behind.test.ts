// What programs that were killed leave behind in the folder that takes sets: it is swept where it is certainly theirs, and nothing
// else ever is.
import { spawnSync } from 'node:child_process';
import { mkdir, mkdtemp, readdir, readFile, rm, stat, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { hostMark, stagingName, sweepStaged } from '../../src/frames/folder/staging.js';
import { SetFolder, setFoldersIn } from '../../src/frames/index.js';
import { namedBy } from '../set-naming.js';

const AT = namedBy(new Date(2026, 10, 25, 16, 42, 10));
const KEEPER = '/state/of/the/boathouse';
/** Of a process that has ended. */
const DEAD = spawnSync('true').pid;

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(into, { recursive: true, force: true });
});

const inSets = (...names: string[]) => path.join(into, ...names);
const sweep = (isKnown: (folder: string) => boolean = () => false) =>
  SetFolder.sweepUnused(into, KEEPER, isKnown);

/** A set folder as it was left by a program that is not alive any more. */
async function leftBehind(change: Readonly<Record<string, unknown>> = { pid: DEAD }): Promise<string> {
  const { path: folder } = await SetFolder.create(into, AT, { keeper: KEEPER });
  const file = path.join(folder, '.reserve');
  const bytes = await readFile(file);
  const end = bytes.indexOf('\n');
  const head = { ...JSON.parse(bytes.subarray(0, end).toString()), ...change };
  await writeFile(file, Buffer.concat([Buffer.from(JSON.stringify(head)), bytes.subarray(end)]));
  return folder;
}

describe('a set folder in which nothing came to be', () => {
  it('goes where its program is dead and nobody accounts for it', async () => {
    await leftBehind();
    await leftBehind();
    await sweep();
    expect(await readdir(into)).toEqual([]);
  });

  it('goes also where it was never whole', async () => {
    const folder = await leftBehind();
    await rm(path.join(folder, '.incoming'), { recursive: true });
    await sweep();
    expect(await readdir(into)).toEqual([]);
  });

  it.each<[string, (folder: string) => Promise<unknown>]>([
    ['holds a frame', (folder) => writeFile(path.join(folder, '01_0EV.jpg'), 'a frame')],
    ['holds an arrival', (folder) => writeFile(path.join(folder, '.incoming', 'incoming.1'), 'a frame')],
    ['holds a folder of somebody', (folder) => mkdir(path.join(folder, 'merged'))],
    ['has no room kept', (folder) => rm(path.join(folder, '.reserve'))],
    ['has room that is not ours', (folder) => writeFile(path.join(folder, '.reserve'), 'my reserve')],
    ['has an empty one', (folder) => writeFile(path.join(folder, '.reserve'), '')],
  ])('stays where it %s', async (_, change) => {
    const folder = await leftBehind();
    await change(folder);
    const before = await readdir(folder);
    await sweep();
    expect(await readdir(folder)).toEqual(before);
  });

  it.each([
    ['its program is alive', { pid: process.ppid }],
    ['it is this program’s own', {}],
    ['it was made on another computer', { pid: DEAD, host: 'another' }],
    ['another state folder accounts for it', { pid: DEAD, keeper: '/another' }],
    ['nothing accounts for it', { pid: DEAD, keeper: null }],
    ['its maker cannot be read', { pid: 'a number' }],
  ])('stays where %s', async (_, change) => {
    const folder = await leftBehind(change);
    await sweep();
    expect(await readdir(folder)).toEqual(['.incoming', '.reserve']);
  });

  it('stays where a set is known to be there', async () => {
    const [known, other] = [await leftBehind(), await leftBehind()];
    await sweep((folder) => folder === known);
    expect(await readdir(into)).toEqual([path.basename(known)]);
    expect(other).not.toBe(known);
  });

  it('folders of somebody else stay, empty ones too', async () => {
    await mkdir(inSets('set-20261125-164210'));
    await mkdir(inSets('mine', '.incoming'), { recursive: true });
    await writeFile(inSets('notes.txt'), 'tide at nine');
    await sweep();
    expect((await readdir(into)).sort()).toEqual(['mine', 'notes.txt', 'set-20261125-164210']);
  });

  it('a folder that is not there is no trouble', async () => {
    await SetFolder.sweepUnused(inSets('nowhere'), KEEPER, () => false);
    expect(await readdir(into)).toEqual([]);
  });
});

describe('a folder that was being made', () => {
  const of = (kind: string, host: string, pid: number) => `.evenrung-${kind}-${host}-${pid}-1.part`;

  it('goes where its program is dead; others, and what only looks alike, stay', async () => {
    const gone = of('set', hostMark(), DEAD);
    const staying = [
      of('set', hostMark(), process.pid),
      of('set', '01234567', DEAD),
      of('export', hostMark(), DEAD),
      `${gone}.bak`,
      '.evenrung-set.part',
    ];
    for (const name of [gone, ...staying]) await mkdir(inSets(name, '.incoming'), { recursive: true });
    await sweep();
    expect((await readdir(into)).sort()).toEqual(staying.sort());
    await sweepStaged(into, 'export');
    expect(await readdir(into)).toHaveLength(staying.length - 1);
  });

  it('has a name of its own, and is no set for whoever looks for sets', async () => {
    expect(stagingName('set')).not.toBe(stagingName('set'));
    await SetFolder.create(into, AT);
    await mkdir(inSets(stagingName('set'), '.incoming'), { recursive: true });
    expect(await setFoldersIn(into)).toEqual([inSets('set-20261125-164210')]);
  });
});

describe('the room that a set keeps', () => {
  it('is there from the start, is given up for what lies beside the frames, and then for the record', async () => {
    const set = await SetFolder.create(into, AT);
    const size = async () => (await stat(path.join(set.path, '.reserve')).catch(() => null))?.size ?? 0;
    const whole = await size();
    // What 61 frames of noise take (see reserve.ts), and the record.
    expect(whole).toBeGreaterThan(3_700_000);
    const record = {
      ...{ version: 2 as const, id: 'a-set', complete: false, sentence: '', practice: true },
      ...{
        startedAt: '2026-11-25T16:42:10.000Z',
        endedAt: '2026-11-25T16:42:10.000Z',
        mode: 'manual' as const,
      },
      body: { link: 'practice' as const, model: 'Practice', serial: null },
      base: { shutter: '1/60', exposureTime: 1 / 64, aperture: null, iso: null },
      ...{ step: 1, passes: [], frames: [], setAside: [], strays: [], notes: [], clockDifference: null },
      ...{ putBack: [], notPutBack: [] },
    };
    await set.handOver(record, new Map(), new Set());
    const forRecord = await size();
    expect(forRecord).toBeGreaterThan(200_000);
    expect(forRecord).toBeLessThan(whole / 2);
    await set.finish(record);
    expect(await size()).toBe(0);
    // Taken up again, it is there again.
    await SetFolder.reopen(set.path);
    expect(await size()).toBe(whole);
  });
});
