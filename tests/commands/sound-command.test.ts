// `sound` on the command line: by itself on the practice body, and at a daemon.
import { mkdtemp, readdir, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { soundingViewSchema } from '../../shared/sounding.js';
import { run, start } from '../built.js';

let home = '';
beforeEach(async () => {
  home = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(home, { recursive: true, force: true });
});

const inScene = (scene: string, more: Readonly<Record<string, string>> = {}) => ({
  ...{ EVENRUNG_PRACTICE_SCENE: scene, EVENRUNG_PRACTICE_PICTURE: 'full' },
  ...{ XDG_STATE_HOME: path.join(home, 'state'), XDG_CONFIG_HOME: path.join(home, 'config') },
  ...more,
});
const BODY = ['--body', 'practice'];
const bodyAt = async (address: string): Promise<unknown> => {
  const answer = await fetch(new URL('/api/state', address));
  return ((await answer.json()) as { state: { body: { state: unknown } } }).state.body.state;
};
const flat = (text: string): string => text.replace(/\s+/g, ' ');

describe('sound', () => {
  it('names base, span, frames, passes, both reasons, and the command that fires it, within 80 columns', async () => {
    const { code, stdout, stderr } = await run(['sound', ...BODY], inScene('day'));
    expect([code, stderr]).toEqual([0, '']);
    expect(stdout).toMatch(
      /^Practice camera: nothing is photographed.+\nEvenrung fires at most 8 test frames, and keeps none of them\.\n {3}1 {2}1\/60 s/,
    );
    expect(stdout).toContain('7 frames in 3 passes, base exposure 1/320 s, −3 to +3 EV, about ');
    expect(stdout).toContain('span 6 EV, a step of 1 EV');
    expect(flat(stdout)).toMatch(
      /Frame 1, the darkest \(1\/2500 s\), holds the highlights: .+ Frame 7, the brightest \(1\/40 s\), opens the shadows: /,
    );
    const [, command = ''] = /To fire it:\n {2}evenrung (.+)\n$/.exec(stdout) ?? [];
    expect(command).toBe('fire --from -3 --to +3 --step 1 --base 1/320');
    expect(Math.max(...stdout.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80);
    // What it names is a plan.
    const plan = await run([...command.replace(/^fire/, 'plan').split(' '), '--json']);
    expect(JSON.parse(plan.stdout)).toMatchObject({
      base: { shutter: '1/320' },
      offsets: [-3, -2, -1, 0, 1, 2, 3],
    });
    expect(await readdir(path.join(home, 'state', 'evenrung'))).not.toContain('sounding');
  });

  it('with --json prints the sounding', async () => {
    const { code, stdout } = await run(
      ['sound', ...BODY, '--step', '2/3', '--from', '1/125', '--json'],
      inScene('flat'),
    );
    const view = soundingViewSchema.parse(JSON.parse(stdout));
    expect([code, view.state, view.frames[0]?.shutter]).toEqual([0, 'proposed', '1/125']);
  });

  it.each([
    [['--step', '9'], 2, /3 EV/],
    [['--step', 'x'], 2, /is not an EV value/],
    [['--from', 'soon'], 2, /'soon' is not a shutter time for the first test frame/],
    [
      ['--from', '1/60', '--mode', 'aperture'],
      2,
      /In aperture priority the camera meters the first test frame itself/,
    ],
  ])('%j is refused with %i, before a body is looked for', async (options, exit, sentence) => {
    const { code, stdout, stderr } = await run(['sound', ...BODY, ...options], inScene('flat'));
    expect([code, stdout]).toEqual([exit, '']);
    expect(stderr).toMatch(sentence);
  });

  it('ends with 1 and says why if the camera is not ready, or if an end is not reached', async () => {
    const notReady = await run(['sound', ...BODY], inScene('flat', { EVENRUNG_PRACTICE_MODE: 'aperture' }));
    expect(notReady.code).toBe(1);
    expect(notReady.stderr).toContain('The camera is not ready');
    const short = await run(
      ['sound', ...BODY, '--mode', 'aperture'],
      inScene('dusk', { EVENRUNG_PRACTICE_MODE: 'aperture' }),
    );
    expect(short.code).toBe(1);
    expect(flat(short.stdout)).toMatch(/exposure compensation goes no lower: turn the mode dial to M/);
  });

  it('Ctrl-C ends it with 130, and leaves nothing behind', async () => {
    const sounding = start(['sound', ...BODY], inScene('dusk'));
    await sounding.until(/ 1 {2}1\/60 s/);
    sounding.signal('SIGINT');
    const { code, stderr } = await sounding.ended;
    expect([code, stderr]).toEqual([130, expect.stringContaining('Stopping')]);
    expect(await readdir(path.join(home, 'state', 'evenrung'))).not.toContain('sounding');
  });

  it('at a daemon goes by as if it were taken here; what is killed is swept up when the daemon begins again', async () => {
    const serve = ['serve', ...BODY, '--port', '0', '--into', path.join(home, 'sets')];
    const daemon = start(serve, inScene('day'));
    const [, address = ''] = await daemon.until(/Panel: (http:\S+)/);
    await expect.poll(() => bodyAt(address)).toBe('ready');
    const { code, stdout, stderr } = await run(['sound', '--at', address], inScene('day'));
    expect([code, stderr]).toEqual([0, '']);
    expect(stdout).toContain('7 frames in 3 passes, base exposure 1/320 s');
    expect((await run(['sound', '--at', address, '--camera', 'x'])).stderr).toContain(
      '--camera is set where that Evenrung was started',
    );
    const again = start(['sound', '--at', address], inScene('day'));
    await again.until(/ 1 {2}1\/60 s/);
    daemon.signal('SIGKILL');
    again.signal('SIGKILL');
    await daemon.ended;
    expect(await readdir(path.join(home, 'state', 'evenrung'))).toContain('sounding');
    const next = start(serve, inScene('day'));
    await next.until(/Panel: (http:\S+)/);
    expect(await readdir(path.join(home, 'state', 'evenrung'))).not.toContain('sounding');
    next.signal('SIGTERM');
    await next.ended;
  });
});
