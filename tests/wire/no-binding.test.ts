// A computer where nothing was compiled: the package gphoto2 is not there, libgphoto2 is. The program as it was built, in a place from where
// every package but that one is found, makes a set over the direct way, and says so.
import { spawn } from 'node:child_process';
import { cp, mkdir, mkdtemp, readdir, readFile, rm, symlink, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { type SetRecord, setRecordSchema } from '../../shared/set-record.js';
import { type Ended, MAIN } from '../built.js';
import { type PluggedBody, plugIn } from './ptp/plugged-body.js';

const PACKAGES = fileURLToPath(new URL('../../node_modules', import.meta.url));

let bare = '';
let plugged: PluggedBody;
beforeEach(async () => {
  bare = await mkdtemp(path.join(os.tmpdir(), 'evenrung-bare-'));
  await writeFile(path.join(bare, 'package.json'), JSON.stringify({ type: 'module' }));
  await cp(path.dirname(MAIN), path.join(bare, 'dist', 'program'), { recursive: true });
});
afterEach(async () => {
  await plugged.remove();
  await rm(bare, { recursive: true, force: true });
});

/** Has every package found from there but these. */
async function without(...left: readonly string[]): Promise<void> {
  await mkdir(path.join(bare, 'node_modules'));
  for (const name of await readdir(PACKAGES)) {
    if (!name.startsWith('.') && !left.includes(name))
      await symlink(path.join(PACKAGES, name), path.join(bare, 'node_modules', name));
  }
}

/** Fires nine frames there, told as lines of JSON. */
function fireThere(...more: readonly string[]): Promise<Ended> {
  const child = spawn(
    process.execPath,
    [
      path.join(bare, 'dist', 'program', path.basename(MAIN)),
      ...['fire', '--frames', '9', '--step', '1', '--base', '1/60', '--body', 'usb', '--json'],
      ...['--into', path.join(bare, 'sets'), ...more],
    ],
    {
      env: {
        ...process.env,
        ...plugged.environment,
        XDG_STATE_HOME: path.join(bare, 'state'),
        XDG_CONFIG_HOME: path.join(bare, 'config'),
      },
      stdio: ['ignore', 'pipe', 'pipe'],
    },
  );
  const said = { stdout: '', stderr: '' };
  for (const stream of ['stdout', 'stderr'] as const)
    child[stream].setEncoding('utf8').on('data', (text: string) => {
      said[stream] += text;
    });
  return new Promise((resolve) => child.on('close', (code) => resolve({ code, ...said })));
}

async function recordThere(): Promise<SetRecord> {
  const [set = ''] = (await readdir(path.join(bare, 'sets'))).filter((name) => name.startsWith('set-'));
  return setRecordSchema.parse(JSON.parse(await readFile(path.join(bare, 'sets', set, 'set.json'), 'utf8')));
}

it.each(['amount', 'standard'] as const)(
  'without the package gphoto2 nine frames are made over the direct way, with a note (%s)',
  async (face) => {
    plugged = await plugIn(face);
    // A body that nobody tethers keeps its frames on the card; the library moves that while it is connected.
    await plugged.body.change('target', 'card');
    const before = { ...plugged.body.state };
    await without('gphoto2');
    const { code, stdout, stderr } = await fireThere();
    expect([code, stderr]).toEqual([0, '']);
    expect(stdout).toContain('The usual way is not installed on this computer');
    expect(stdout).not.toContain('"practice":true');
    const record = await recordThere();
    expect(record).toMatchObject({ complete: true, practice: false, body: { link: 'usb' } });
    expect(record.frames.map(({ state }) => state)).toEqual(Array.from({ length: 9 }, () => 'verified'));
    expect(plugged.body.shots).toHaveLength(9);
    expect(plugged.body.state).toEqual(before);
  },
);

it('if the binding is asked for by name, it is what is missing', async () => {
  plugged = await plugIn('amount');
  await without('gphoto2');
  const { code, stdout } = await fireThere('--link', 'binding');
  expect(code).toBe(1);
  expect(stdout).toContain('headers, pkg-config, make and a C++ compiler');
  expect(plugged.body.shots).toHaveLength(0);
});

it('where neither way is there, what is said is what the one without a compiler lacks', async () => {
  plugged = await plugIn('amount');
  await without('gphoto2', 'koffi');
  const { code, stdout } = await fireThere();
  expect(code).toBe(1);
  expect(stdout).toContain('usb-not-available');
  expect(stdout).toContain('the package koffi');
  expect(stdout).not.toContain('compiler');
  expect(plugged.body.shots).toHaveLength(0);
});
