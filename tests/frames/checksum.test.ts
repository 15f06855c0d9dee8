import { spawnSync } from 'node:child_process';
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { checksumOf, checksumsOf, parseSums, SUMS, sumsText } from '../../src/frames/index.js';
import fc from '../seeded.js';

let folder = '';
beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterAll(async () => {
  await rm(folder, { recursive: true, force: true });
});

const inFolder = (name: string) => path.join(folder, name);

describe('the checksum of a file', () => {
  // FIPS 180-4 gives the algorithm; the example values are NIST's for "abc" and for a million times "a" (from memory), and
  // sha256sum agrees with the same below.
  it.each([
    ['abc', 'ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad'],
    ['a'.repeat(1_000_000), 'cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0'],
    ['', 'e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855'],
  ])('is SHA-256, with the bytes that were read', async (text, sha256) => {
    await writeFile(inFolder('one'), text);
    expect(await checksumOf(inFolder('one'))).toEqual({ sha256, bytes: text.length });
  });

  it('of many: each in its place, and a file that is gone keeps none of the others back', async () => {
    const names = Array.from({ length: 9 }, (_, index) => inFolder(`many-${index}`));
    for (const [index, name] of names.entries()) await writeFile(name, `text ${index}`);
    const sums = await checksumsOf([...names.slice(0, 4), inFolder('gone'), ...names.slice(4)], 3);
    expect(sums).toHaveLength(10);
    expect(sums[4]).toMatchObject({ code: 'ENOENT' });
    sums.splice(4, 1);
    expect(sums).toEqual(await Promise.all(names.map(checksumOf)));
  });

  it('never has more files open than was said', async () => {
    const names = Array.from({ length: 30 }, (_, index) => inFolder(`few-${index}`));
    for (const name of names) await writeFile(name, Buffer.alloc(300_000, 7));
    const open = () => process.getActiveResourcesInfo().filter((name) => name === 'FSReqCallback').length;
    let most = 0;
    const watch = setInterval(() => {
      most = Math.max(most, open());
    }, 0);
    const before = open();
    await checksumsOf(names, 2);
    clearInterval(watch);
    expect(most - before).toBeGreaterThan(0);
    // A stream has one request at a time.
    expect(most - before).toBeLessThanOrEqual(2);
  });
});

describe('the list of checksums', () => {
  const NAMES = [
    '03_-1.33EV.jpg',
    'set-aside/frame-03.jpg',
    'a  b*.jpg',
    'back\\slash.jpg',
    'line\nend\r.jpg',
    '湖.dng',
  ];

  it('is read by sha256sum -c, odd names and all; a flipped bit is found', async () => {
    const made = NAMES.map((name) => name.replace('set-aside/', ''));
    for (const [index, name] of made.entries()) await writeFile(inFolder(name), `frame ${index}`);
    const sums = await checksumsOf(made.map(inFolder));
    const listed = sums.map((sum, index) => {
      if (sum instanceof Error) throw sum;
      return { file: made[index] as string, sha256: sum.sha256 };
    });
    await writeFile(inFolder(SUMS), sumsText(listed));
    const check = () => spawnSync('sha256sum', ['--strict', '-c', SUMS], { cwd: folder, encoding: 'utf8' });
    const good = check();
    expect(good.stderr).toBe('');
    expect(good.status).toBe(0);
    expect(good.stdout.match(/: OK$/gm)).toHaveLength(made.length);
    await writeFile(inFolder(made[0] as string), 'frame 1');
    expect(check().status).toBe(1);
    expect(check().stdout).toContain(`${made[0]}: FAILED`);
  });

  it('is what sha256sum itself writes', async () => {
    const names = ['back\\slash.jpg', 'line\nend\r.jpg', '湖.dng', 'a  b*.jpg'];
    for (const name of names) await writeFile(inFolder(name), name);
    const listed = await Promise.all(
      names.map(async (file) => ({ file, sha256: (await checksumOf(inFolder(file))).sha256 })),
    );
    const theirs = spawnSync('sha256sum', ['--', ...names], { cwd: folder, encoding: 'utf8' });
    expect(sumsText(listed)).toBe(theirs.stdout);
  });

  it('reads its own text back, whatever the names are', () => {
    const name = fc.string({ unit: 'binary', minLength: 1 }).filter((text) => !text.includes('\0'));
    const listed = fc.record({ file: name, sha256: fc.stringMatching(/^[0-9a-f]{64}$/) });
    fc.assert(
      fc.property(fc.array(listed), (sums) => {
        expect(parseSums(sumsText(sums))).toEqual(sums);
      }),
    );
    expect(parseSums('words\n\nnot a sum  file\n')).toEqual([]);
  });
});
