// The camera process and the daemon's side of it: killed, hung, left alone.
import { mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { SupervisedLink, type SupervisedLinkOptions } from '../../src/camera/index.js';
import { CAMERA_PROCESS, isAlive, start } from '../built.js';

let folder = '';
const links: SupervisedLink[] = [];
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  for (const link of links.splice(0)) link.kill();
  await rm(folder, { recursive: true, force: true });
});

function open(options: Partial<SupervisedLinkOptions> = {}): SupervisedLink {
  const link = new SupervisedLink({
    kind: 'practice',
    home: path.join(folder, 'home'),
    log: () => undefined,
    entry: CAMERA_PROCESS,
    env: { EVENRUNG_PRACTICE_TIMING: 'at-once' },
    ...options,
  });
  links.push(link);
  return link;
}

async function gone(pid: number | undefined): Promise<boolean> {
  for (let tries = 0; tries < 250; tries += 1) {
    if (pid === undefined || !isAlive(pid)) return true;
    await pause(20);
  }
  return false;
}

/** A camera process that answers the first call and hangs at the second, as a native call would. */
const HANGING = `
let calls = 0;
process.on('SIGTERM', () => {});
process.on('message', ({ id }) => { calls += 1; if (calls === 1) process.send({ id, ok: true, value: { link: 'practice', model: 'x', serial: null } }); });
setInterval(() => {}, 1000);
`;

describe('the camera process', () => {
  it('answers every method of a link', async () => {
    const link = open();
    expect(await link.identify()).toEqual({ link: 'practice', model: 'Practice body', serial: 'PB-0001' });
    expect((await link.readLimits()).longestSeconds).toBe(32);
    expect((await link.readSettings()).get('shutterspeed')).toMatchObject({ kind: 'choice', value: '1/60' });
    expect(await link.changeSetting('shutterspeed', '1/125')).toMatchObject({ value: '1/125' });
    const frame = await link.fire({ into: folder, exposureSeconds: 1 / 125 });
    expect(await readdir(folder)).toContain(path.basename(frame.path));
    const { pid } = link;
    await link.release();
    expect(await gone(pid)).toBe(true);
  });

  it('refuses what is no setting and no choice, and goes on', async () => {
    const link = open();
    await expect(link.changeSetting('shutterspeed', '2 fortnights')).rejects.toMatchObject({
      code: 'choice-not-offered',
    });
    await expect(link.changeSetting('/main/x', '1')).rejects.toMatchObject({ code: 'unknown-setting' });
    expect((await link.readSettings()).get('shutterspeed')?.value).toBe('1/60');
  });

  it('when it is killed in the middle of a call: the call fails, the next one starts another', async () => {
    const link = open({ env: { EVENRUNG_PRACTICE_TIMING: 'lifelike' } });
    await link.changeSetting('shutterspeed', '2');
    const first = link.pid;
    const firing = link.fire({ into: folder, exposureSeconds: 2 });
    await pause(200);
    if (first !== undefined) process.kill(first, 'SIGKILL');
    await expect(firing).rejects.toMatchObject({ code: 'body-lost' });
    expect((await link.identify()).model).toBe('Practice body');
    expect(link.pid).not.toBe(first);
  });

  it('when a call hangs: killed at its deadline, and another one is started', async () => {
    const entry = path.join(folder, 'hanging.cjs');
    await writeFile(entry, HANGING);
    const link = open({ entry, deadlines: { call: 400 } });
    await link.identify();
    const { pid } = link;
    const started = performance.now();
    await expect(link.readSettings()).rejects.toMatchObject({ code: 'call-timed-out' });
    expect(performance.now() - started).toBeLessThan(1500);
    expect(await gone(pid)).toBe(true);
    expect((await link.identify()).model).toBe('x');
  });

  it('a long exposure is no hang: the deadline grows with it', async () => {
    const link = open({ env: { EVENRUNG_PRACTICE_TIMING: 'lifelike' }, deadlines: { fire: 1500 } });
    // The first frame draws the scene, which takes its time.
    await link.fire({ into: folder, exposureSeconds: 2 });
    await link.changeSetting('shutterspeed', '2');
    const { seconds } = await link.fire({ into: folder, exposureSeconds: 2 });
    expect(seconds).toBeGreaterThan(1.5);
  });

  it('does not mind a Ctrl-C of the whole group', async () => {
    const link = open();
    await link.identify();
    const { pid } = link;
    if (pid !== undefined) process.kill(pid, 'SIGINT');
    await pause(200);
    await link.identify();
    expect(link.pid).toBe(pid);
  });

  it('has a HOME of its own, and what it prints comes through line by line', async () => {
    const entry = path.join(folder, 'printing.cjs');
    await writeFile(
      entry,
      'process.on("message", ({ id }) => { console.log(process.env.HOME + "\\nsecond"); console.error("third"); setTimeout(() => process.send({ id, ok: true, value: null }), 100); });',
    );
    const said: string[] = [];
    const link = open({ entry, log: (line) => said.push(line) });
    await link.identify();
    expect(said).toEqual(expect.arrayContaining([path.join(folder, 'home'), 'second', 'third']));
  });

  it('ends by itself when the daemon is killed', async () => {
    const daemon = start(['serve', '--body', 'practice', '--port', '0', '--into', folder], {
      XDG_STATE_HOME: folder,
    });
    await daemon.until(/Body: Practice body/);
    const children = await readFile(`/proc/${daemon.pid}/task/${daemon.pid}/children`, 'utf8');
    const pid = Number(children.trim());
    expect(isAlive(pid)).toBe(true);
    daemon.signal('SIGKILL');
    expect(await gone(pid)).toBe(true);
  });
});
