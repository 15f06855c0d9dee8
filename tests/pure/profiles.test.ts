// Body profiles in the config folder: found by the serial number, and used only where nothing is wrong with them.
import { mkdir, mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { BodyProfile } from '../../shared/profile.js';
import { type ProfileOwner, ProfileStore } from '../../src/bodies/profiles.js';

let folder = '';
let kept: string[] = [];
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  kept = [];
});
afterEach(async () => {
  await rm(folder, { recursive: true, force: true });
});

const store = (at = folder) => new ProfileStore(at, (file) => kept.push(file));
const BODY: ProfileOwner = { model: 'Body of the boathouse', serial: 'B-0007' };
const PROFILE: BodyProfile = {
  version: 1,
  ...BODY,
  learntAt: '2026-11-25T16:42:10.000Z',
  patterns: [
    [0, -1, 1],
    [0, -1, 1, -2, 2],
  ],
  restarts: true,
  beyondRange: 'clamped',
  longTime: { shutter: '30', seconds: 32 },
  noiseReduction: false,
  timing: { secondsPerChange: 0.05, secondsPerSetting: 0, secondsPerFrame: 1.5 },
};

/** Writes what a person might have left at the place of this body's profile. @returns its path */
async function leave(text: string, owner: ProfileOwner = BODY): Promise<string> {
  const file = store().pathFor(owner);
  await writeFile(file, text);
  return file;
}

const written = (change: Record<string, unknown>): string => JSON.stringify({ ...PROFILE, ...change });

describe('a profile', () => {
  it('that is not there is no trouble', async () => {
    expect(await store(path.join(folder, 'not', 'there')).read(BODY)).toEqual({
      profile: null,
      trouble: null,
    });
  });

  it('is written, read back, and written anew', async () => {
    const at = path.join(folder, 'made', 'for', 'it');
    const file = await store(at).write(PROFILE);
    expect(file).toBe(path.join(at, 'B-0007.json'));
    expect(await store(at).read(BODY)).toEqual({ profile: PROFILE, trouble: null });
    // As a person would like to read it.
    expect(await readFile(file, 'utf8')).toBe(`${JSON.stringify(PROFILE, null, 2)}\n`);
    const less: BodyProfile = { version: 1, ...BODY };
    await store(at).write(less);
    expect(await store(at).read(BODY)).toEqual({ profile: less, trouble: null });
    expect(await readdir(at)).toEqual(['B-0007.json']);
    expect(kept).toEqual([]);
  });

  it('by hand, with as little as it takes, and the byte order mark of some editors', async () => {
    await leave(`\uFEFF{ "version": 1, "model": "${BODY.model}", "serial": "B-0007", "restarts": false }`);
    expect(await store().read(BODY)).toEqual({
      profile: { version: 1, ...BODY, restarts: false },
      trouble: null,
    });
  });

  it('the last of many writes at once wins', async () => {
    const writes = Array.from({ length: 20 }, (_, number) =>
      store().write({ ...PROFILE, longTime: { shutter: '30', seconds: number + 1 } }),
    );
    const reading = store().read(BODY);
    await Promise.all(writes);
    expect((await reading).profile?.longTime?.seconds).toBe(20);
    expect(await readdir(folder)).toEqual(['B-0007.json']);
  });
});

describe('its file', () => {
  it.each<[string | null, string, string]>([
    ['0123456789', 'm', '0123456789.json'],
    ['a_b-c.d', 'm', 'a_b-c.d.json'],
    ['s'.repeat(64), 'm', `${'s'.repeat(64)}.json`],
    [null, 'm-1', 'model+m-1.json'],
    [null, 'Body of the boathouse', 'model+Body+of+the+boathouse.json'],
  ])('serial %j of model %j: %s', (serial, model, name) => {
    expect(store().pathFor({ model, serial })).toBe(path.join(folder, name));
  });

  it.each(['.', '..', '', 'a b', '../x', 's'.repeat(65)])('serial %j cannot be a name', (serial) => {
    const name = path.relative(folder, store().pathFor({ model: 'm', serial }));
    expect(name).toMatch(/^serial\+[0-9a-f]{32}\.json$/);
  });

  it('is in the folder under a harmless name, another one for each body, whatever the wire says', async () => {
    const owners: ProfileOwner[] = [
      ...['.', '..', '', '../x', '/etc/passwd', 'a b', 'a+b', 'ü', 'u\u0308', 'a\0', 'a\n', 'con/..'],
      ...['s'.repeat(64), 's'.repeat(65), 's'.repeat(200), 'model+m', '\ud800', '\ud801', 'ボート小屋'],
    ].map((serial) => ({ model: 'm', serial }));
    owners.push(
      ...['', '.', '..', '../x', 'm', 'M n', 'M+n', 'M_n', 'M-n', 'M/n', 'm'.repeat(200), 'Лодка', '\0'].map(
        (model) => ({ model, serial: null }),
      ),
    );
    for (const owner of owners) {
      await store().write({ version: 1, ...owner });
      expect(await store().read(owner)).toEqual({ profile: { version: 1, ...owner }, trouble: null });
    }
    const entries = await readdir(folder, { withFileTypes: true });
    expect(entries).toHaveLength(owners.length);
    expect(entries.every((entry) => entry.isFile())).toBe(true);
    for (const { name } of entries) expect(name).toMatch(/^[A-Za-z0-9._+-]{1,80}\.json$/);
    expect(kept).toEqual([]);
  });
});

describe('a profile that is not used', () => {
  it.each<[what: string, text: string, why: string, remedy: string]>([
    [
      'comments of a line',
      `{ // by hand\n "version": 1 }`,
      'it has comments, which JSON does not allow',
      'take them out',
    ],
    [
      'comments between',
      `{ /* by hand */ "version": 1 }`,
      'it has comments, which JSON does not allow',
      'take them out',
    ],
    [
      'comments of another kind',
      `# by hand\n{ "version": 1 }`,
      'it has comments, which JSON does not allow',
      'take them out',
    ],
    [
      'another version',
      written({ version: 2, more: true }),
      'its version is 2, and this Evenrung reads 1',
      'move it away, and Evenrung writes a new one',
    ],
    [
      'an unknown field',
      written({ restart: true }),
      'there is no field restart',
      'correct it, or move it away',
    ],
    [
      'an unknown field further in',
      written({ timing: { ...PROFILE.timing, more: 1 } }),
      'there is no field timing.more',
      'correct it, or move it away',
    ],
    [
      'a position twice',
      written({ patterns: [[0, 1, 1]] }),
      'its field patterns.0 is wrong (a position is there twice)',
      'correct it, or move it away',
    ],
    [
      'another model',
      written({ model: 'Body of the lake' }),
      "its field model is 'Body of the lake', but the camera reports 'Body of the boathouse'",
      'correct it, or move it away',
    ],
    [
      'another serial number',
      written({ serial: 'B-0008' }),
      "its field serial is 'B-0008', but the camera reports 'B-0007'",
      'correct it, or move it away',
    ],
    [
      'no serial number',
      written({ serial: null }),
      "its field serial is none, but the camera reports 'B-0007'",
      'correct it, or move it away',
    ],
  ])('%s', async (_, text, why, remedy) => {
    const file = await leave(text);
    expect(await store().read(BODY)).toEqual({
      profile: null,
      trouble: `The camera profile ${file} is not used, since ${why}: ${remedy}.`,
    });
    // Reading leaves it alone.
    expect(await readFile(file, 'utf8')).toBe(text);
  });

  it.each<[string, string, RegExp]>([
    ['empty', '', /since it is not JSON \(.+\): correct it/],
    ['cut off', written({}).slice(0, 90), /since it is not JSON \(.+\): correct it/],
    ['a comma too many', '{\n"version": 1,\n}', /since it is not JSON \(.+\): correct it/],
    ['no object', '[]', /since it is not a profile \(.+\): correct it/],
    ['null', 'null', /since it is not a profile \(.+\): correct it/],
    ['no version', JSON.stringify({ ...BODY }), /since its field version is wrong \(.+\): correct it/],
    ['a version in words', written({ version: '1' }), /since its field version is wrong \(.+\): correct it/],
    [
      'a wrong value',
      written({ beyondRange: 'odd' }),
      /since its field beyondRange is wrong \(.+\): correct/,
    ],
    [
      'a wrong value further in',
      written({ longTime: { shutter: '30', seconds: 'long' } }),
      /since its field longTime.seconds is wrong \(.+\): correct/,
    ],
    // Two strokes inside a string are none.
    ['an address', '{ "model": "http://x", }', /since it is not JSON \(.+\): correct it/],
  ])('%s', async (_, text, trouble) => {
    const file = await leave(text);
    const read = await store().read(BODY);
    expect(read.profile).toBeNull();
    expect(read.trouble).toMatch(trouble);
    expect(read.trouble).toContain(file);
    expect(read.trouble).not.toMatch(/\n|\.\.$/);
  });

  it('cannot be read', async () => {
    await mkdir(store().pathFor(BODY));
    const { profile, trouble } = await store().read(BODY);
    expect(profile).toBeNull();
    expect(trouble).toContain('it cannot be read (it is a folder): make it readable, or move it away.');
  });
});

describe('writing', () => {
  it.each([
    ['damaged', '{ "version": 1, '],
    ['with comments', '// mine\n{}'],
    ['of another version', written({ version: 2 })],
    ['about another body', written({ serial: 'B-0008' })],
  ])('keeps a file that is %s', async (_, text) => {
    const file = await leave(text);
    expect(await store().write(PROFILE)).toBe(file);
    expect(kept).toEqual([`${file}.not-used-1`]);
    expect(await readFile(`${file}.not-used-1`, 'utf8')).toBe(text);
    expect(await store().read(BODY)).toEqual({ profile: PROFILE, trouble: null });
    // And the next one beside it.
    await leave('again');
    await store().write(PROFILE);
    expect(kept).toEqual([`${file}.not-used-1`, `${file}.not-used-2`]);
    expect(await readFile(`${file}.not-used-1`, 'utf8')).toBe(text);
    expect((await readdir(folder)).sort()).toEqual([
      'B-0007.json',
      'B-0007.json.not-used-1',
      'B-0007.json.not-used-2',
    ]);
  });

  it('where nothing can be written, says so', async () => {
    const at = path.join(folder, 'file');
    await writeFile(at, '');
    await expect(store(at).write(PROFILE)).rejects.toMatchObject({
      code: 'state-not-writable',
      message: `The camera profile ${path.join(at, 'B-0007.json')} cannot be written: part of its path is a file. Name a folder that can be written, in XDG_CONFIG_HOME.`,
    });
    await expect(store('/proc/evenrung/bodies').write(PROFILE)).rejects.toMatchObject({
      code: 'state-not-writable',
    });
  });

  it('does not write what it would not read', async () => {
    const wrong: BodyProfile = { ...PROFILE, model: 'm'.repeat(201) };
    await expect(store().write(wrong)).rejects.toMatchObject({
      code: 'state-not-writable',
      message: expect.stringContaining('its field model is wrong'),
    });
    expect(await readdir(folder)).toEqual([]);
  });
});
