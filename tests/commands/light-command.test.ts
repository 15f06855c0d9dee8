// What `fire`, `sets show` and `sets extend` say of the light of a set, as processes, with the practice body at full size: its scene at dusk is held by
// frames from -5 to +5 EV of what is metered.
import { mkdtemp, readdir, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { run } from '../built.js';

let root = '';
let into = '';
let env: Record<string, string> = {};
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  into = path.join(root, 'sets');
  const seen = {
    EVENRUNG_LIGHT: 'on',
    EVENRUNG_PRACTICE_PICTURE: 'full',
    EVENRUNG_PRACTICE_TIMING: 'at-once',
  };
  env = { XDG_STATE_HOME: path.join(root, 'state'), ...seen };
});
afterEach(async () => {
  await rm(root, { recursive: true, force: true });
});

const inOneLine = (text: string) => text.replace(/\s+/g, ' ');
const BODY = ['--body', 'practice'];

describe('a set that lacks a frame at its dark end', () => {
  it('says so at its end and in `sets show`, with what to do; `sets extend` does it, and then it holds everything', async () => {
    const asked = ['--from', '-4', '--to', '5', '--step', '1', '--base', '1/60'];
    const { code, stdout } = await run(['fire', ...asked, ...BODY, '--into', into], env);
    expect(code).toBe(0);
    const { stdout: listed } = await run(['sets', '--json', '--limit', '1'], env);
    const { id } = (JSON.parse(listed) as { set: { id: string } }).set;
    const extend = `evenrung sets extend ${id.slice(0, 8)}`;
    const lacks =
      /Highlights are missing: 0\.\d+% of the picture is too bright even in the darkest frame \(about 1 stop darker would hold it\)/;
    expect(inOneLine(stdout)).toMatch(lacks);
    expect(inOneLine(stdout)).toContain(`If the camera has not moved: ${extend}`);
    // Nothing moved, so nothing is to be fired again.
    expect(stdout).not.toContain('evenrung sets reshoot');
    const shown = inOneLine((await run(['sets', 'show', id], env)).stdout);
    expect(shown).toMatch(lacks);
    expect(shown).toContain(`It has lost highlights. If the camera has not moved, ${extend} adds a frame.`);
    const extended = await run(['sets', 'extend', id, ...BODY], env);
    expect(extended.code).toBe(0);
    expect(inOneLine(extended.stdout)).toContain(
      'The set holds everything: every part of the picture is well exposed',
    );
    const [folder = ''] = await readdir(into);
    expect(await readdir(path.join(into, folder))).toEqual(
      expect.arrayContaining(['11_-5EV.jpg', 'coverage.png', 'preview.jpg', 'radiance.hdr']),
    );
    expect((await run(['sets', 'check', into], env)).code).toBe(0);
    const copy = path.join(root, 'copy');
    expect((await run(['sets', 'export', id, '--into', copy], env)).code).toBe(0);
    const [exported = ''] = await readdir(copy);
    expect(await readdir(path.join(copy, exported))).toEqual(
      expect.arrayContaining(['preview.jpg', 'radiance.hdr']),
    );
  });
});
