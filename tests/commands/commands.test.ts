// The command line as scripts use it: real processes, their output, their exit codes.
import { mkdir, mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { afterEach, beforeEach, describe, expect, it, onTestFinished } from 'vitest';
import type { ErrorCode } from '../../shared/error-codes.js';
import { pageAddress, pageWords } from '../../shared/pages.js';
import { planSchema } from '../../shared/plan.js';
import { bodyProfileSchema } from '../../shared/profile.js';
import { setRecordSchema } from '../../shared/set-record.js';
import { bodyViewSchema, type DaemonState, eventSchema } from '../../shared/state.js';
import { readRecorded } from '../../src/frames/index.js';
import { run, type Started, start } from '../built.js';
import { childOf } from '../child-of.js';
import { PACED, pace } from '../pace.js';

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(into, { recursive: true, force: true });
});

/** The line that says where to read more of an error. */
const more = (code: ErrorCode): string => `  more: ${pageWords(code)}`;

const lines = (text: string): unknown[] =>
  text
    .trim()
    .split('\n')
    .map((line) => JSON.parse(line) as unknown);

describe('plan', () => {
  it('--json prints one object that fits the schema, and nothing else', async () => {
    const { code, stdout, stderr } = await run([
      'plan',
      '--frames',
      '9',
      '--step',
      '1',
      '--max-frames',
      '3',
      '--json',
    ]);
    expect([code, stderr]).toEqual([0, '']);
    const plan = planSchema.parse(JSON.parse(stdout));
    expect(plan.passes.map((pass) => pass.centre)).toEqual([-3, 0, 3]);
  });

  it('takes a negative --from', async () => {
    const { code, stdout } = await run(['plan', '--from', '-4', '--to', '4', '--step', '1', '--json']);
    expect(code).toBe(0);
    expect(planSchema.parse(JSON.parse(stdout)).offsets).toEqual([-4, -3, -2, -1, 0, 1, 2, 3, 4]);
  });

  it('in words tells passes, centres and times', async () => {
    const { code, stdout } = await run(['plan', '--frames', '9', '--step', '1']);
    expect(code).toBe(0);
    expect(stdout).toMatch(/^9 frames in 3 passes, base exposure 1\/60 s, about 7 s\n/);
    expect(stdout).toMatch(/^ +1 {2}−3 +1 +−3: 1\/500 s, −4: 1\/1000 s, −2: 1\/250 s$/m);
    // The ladder: the brightest at the top, the centre of each pass in brackets.
    expect(stdout.match(/\|=+\|/g)).toHaveLength(9);
    expect(stdout.indexOf('+4  |')).toBeLessThan(stdout.indexOf('−4  |'));
    expect(stdout.match(/\[[123]\]$/gm)).toEqual(['[3]', '[2]', '[1]']);
    expect(Math.max(...stdout.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80);
  });

  it('says what one release fires and the spread, and chooses by what is asked', async () => {
    const nine = ['plan', '--frames', '9', '--step', '1', '--in-one-go', '9'];
    const time = await run([...nine, '--release', 'pass']);
    expect([time.code, time.stderr]).toEqual([0, '']);
    expect(time.stdout).toMatch(
      /^9 frames in 3 passes, each from one release, base exposure 1\/60 s, about \d+ s\n/,
    );
    expect(time.stdout).toMatch(/\n9 shutter releases, spread \d\.\d s, neighbouring frames at most /);
    const planned = async (...more: string[]) => {
      const { code, stdout } = await run([...nine, '--max-frames', '3,5', ...more, '--json']);
      expect(code).toBe(0);
      return planSchema.parse(JSON.parse(stdout));
    };
    const framewise = await planned();
    const spread = await planned('--least', 'spread');
    const kept = await planned('--least', 'spread', '--release', 'frame');
    expect([framewise, spread, kept].map(({ release }) => release)).toEqual(['frame', 'pass', 'frame']);
    expect(spread.passes.map(({ frames, oneRelease }) => [frames.length, oneRelease])).toEqual([
      [5, true],
      [5, true],
    ]);
    expect(spread.estimate.spreadSeconds ?? 0).toBeLessThan(framewise.estimate.spreadSeconds ?? 0);
    expect(Math.max(...time.stdout.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80);
  });

  it('without a word of it, costs and passes are what they were; the spread is told beside', async () => {
    const { stdout } = await run(['plan', '--frames', '9', '--step', '1', '--json']);
    const { estimate, release, passes } = planSchema.parse(JSON.parse(stdout));
    const exposures = [10, 9, 8, 7, 6, 5, 4, 3, 2].reduce((sum, tv) => sum + 2 ** -tv, 0);
    expect(estimate.seconds).toBeCloseTo(exposures + 9 * 0.5 + 6 * 0.3, 3);
    expect(estimate.spreadSeconds).toBeCloseTo(exposures + 8 * 0.5 + 2 * 0.3, 3);
    expect([release, passes.some((pass) => 'oneRelease' in pass)]).toEqual(['frame', false]);
  });

  it.each([
    [['--frames', '9', '--step', '1', '--release', 'pass'], 'one-release-not-offered'],
    [['--frames', '9', '--step', '1', '--release', 'burst'], 'malformed-request'],
    [['--frames', '9', '--step', '1', '--least', 'effort'], 'malformed-request'],
    [['--frames', '9', '--step', '1', '--in-one-go', '0'], 'limits-contradict'],
    [['--frames', '9', '--step', '1', '--in-one-go', 'all'], 'limits-contradict'],
    [['--frames', '0', '--step', '1'], 'frames-out-of-range'],
    [['--frames', 'NaN', '--step', '1'], 'frames-out-of-range'],
    [['--frames', '1e9', '--step', '1'], 'frames-out-of-range'],
    [['--frames', '9', '--step', '-1'], 'step-out-of-range'],
    [['--frames', '9', '--step', '0.5'], 'step-not-offered'],
    [['--frames', '9'], 'malformed-request'],
    [['--step', '1'], 'malformed-request'],
    [['--frames', '9', '--step', '1', '--base', '1/0'], 'unreadable-shutter'],
    [['--frames', '9', '--step', '1', '--mode', 'program'], 'malformed-request'],
    [['--frames', '9', '--step', '1', '--nonsense'], 'malformed-request'],
    [['--frames', '9', '--step', '1', 'extra'], 'malformed-request'],
  ] as const)('%j: exit 2, one sentence, and an error object', async (args, code) => {
    const ended = await run(['plan', ...args, '--json']);
    expect(ended.code).toBe(2);
    const [sentence, ...others] = ended.stderr.trimEnd().split('\n');
    // What would do stands below the sentence, and at the end where to read more.
    expect(others.pop()).toBe(more(code));
    for (const other of others) expect(other).toMatch(/^ {2}would do: /);
    const page = pageAddress(code);
    expect(JSON.parse(ended.stdout)).toMatchObject({ error: { code, message: sentence, page } });
  });
});

describe('fire', () => {
  const nine = ['fire', '--frames', '9', '--step', '1', '--base', '1/60', '--body', 'practice'];

  it('ends with a set folder whose files prove -4 to +4 EV', async () => {
    const { code, stdout, stderr } = await run([...nine, '--into', into, '--json']);
    expect([code, stderr]).toEqual([0, '']);
    const events = lines(stdout).map((line) => eventSchema.parse(line));
    expect(events.at(-1)?.happening).toMatchObject({ type: 'run-state', state: 'complete' });
    const [folder, ...others] = await readdir(into);
    expect(others).toEqual([]);
    const set = path.join(into, folder ?? '');
    const record = setRecordSchema.parse(JSON.parse(await readFile(path.join(set, 'set.json'), 'utf8')));
    expect(record.complete).toBe(true);
    const offsets = [];
    for (const frame of record.frames) {
      const { exposureTime } = await readRecorded(path.join(set, frame.file ?? ''));
      offsets.push(Math.round(Math.log2((exposureTime ?? 0) * 60)));
    }
    expect(offsets).toEqual([-4, -3, -2, -1, 0, 1, 2, 3, 4]);
  });

  it('names set folder and frames as it is told', async () => {
    const names = ['--set-name', 'dusk {date} {set}', '--frame-name', 'dusk_{frame}_{shutter}s'];
    const three = ['fire', '--frames', '3', '--step', '1', '--body', 'practice'];
    const { code } = await run([...three, '--into', into, ...names]);
    expect(code).toBe(0);
    const [folder = ''] = await readdir(into);
    expect(folder).toMatch(/^dusk \d{8} 0001$/);
    const frames = (await readdir(path.join(into, folder))).filter((name) => /^dusk.*jpg$/.test(name));
    expect(frames).toEqual(['dusk_01_1-125s.jpg', 'dusk_02_1-60s.jpg', 'dusk_03_1-30s.jpg']);
  });

  it.each([
    ['--frame-name', '../{frame}', 'leads into another folder'],
    ['--frame-name', 'frame', 'every frame would have the same name'],
    ['--set-name', '{offset}', 'differs from frame to frame'],
  ])('%s %s: refused before anything is fired', async (option, template, words) => {
    const { code, stdout, stderr } = await run([...nine, '--into', into, option, template, '--json']);
    expect([code, await readdir(into)]).toEqual([2, []]);
    expect(stderr).toContain(words);
    expect(JSON.parse(stdout)).toMatchObject({ error: { code: 'template-unusable' } });
  });

  it('in words: one line a frame', async () => {
    const { code, stdout } = await run([...nine, '--into', into]);
    expect(code).toBe(0);
    expect(stdout.match(/verified$/gm)).toHaveLength(9);
    expect(stdout).toContain('Practice camera: nothing is photographed');
    expect(stdout).toMatch(/All 9 frames are verified\.\nSet folder: /);
  });

  it('a camera process that is killed: what happened and what happens next, a line; then that it is over', async () => {
    const firing = start([...nine, '--base', '1/8', '--into', into], {
      EVENRUNG_PRACTICE_TIMING: 'lifelike',
    });
    await firing.until(/frame {2}\d .*verified/);
    process.kill(await childOf(firing), 'SIGKILL');
    const { code, stdout } = await firing.ended;
    expect(code).toBe(0);
    expect(stdout).toMatch(
      /^The camera process ended unexpectedly \(SIGKILL\)\. Evenrung tries again .*\n(?:.*\n)*?The camera answers again\.$/m,
    );
    expect(stdout).toContain('All 9 frames are verified.');
  });

  it.each(['SIGINT', 'SIGTERM', 'SIGHUP'] as const)(
    '%s: the frame in hand ends, settings go back, exit 130',
    async (signal) => {
      const firing = start([...nine, '--into', into], { EVENRUNG_PRACTICE_TIMING: 'lifelike' });
      await firing.until(/frame {2}1 .*verified/);
      firing.signal(signal);
      firing.signal(signal);
      const { code, stdout } = await firing.ended;
      expect(code).toBe(130);
      expect(stdout).toMatch(/Stopped after \d of 9 frames\. The camera's settings are as they were found\./);
      const [folder] = await readdir(into);
      const record = setRecordSchema.parse(
        JSON.parse(await readFile(path.join(into, folder ?? '', 'set.json'), 'utf8')),
      );
      expect(record.complete).toBe(false);
      expect(record.putBack).toContain('shutterspeed');
    },
  );

  it.each([
    [['--body', 'marble'], 2, 'unknown-body'],
    [['--step', '0.5'], 2, 'step-not-offered'],
    [['--base', '1/8000'], 2, 'outside-shutter-range'],
    [['--max-frames', '5'], 2, 'limits-contradict'],
    [['--mode', 'aperture'], 1, 'body-not-ready'],
    [['--frames', '10000'], 2, 'frames-out-of-range'],
    [['--camera', 'EV-77'], 1, 'no-body'],
  ])('%j: exit %s, nothing is fired', async (args, exit, code) => {
    const { code: ended, stdout } = await run([...nine, ...args, '--into', into, '--json']);
    expect(ended).toBe(exit);
    expect(lines(stdout).at(-1)).toMatchObject({ error: { code } });
    expect(await readdir(into)).toEqual([]);
  });

  it('whose output nobody reads any more goes on to the end', async () => {
    const firing = start([...nine, '--into', into, '--json']);
    await firing.until(/"seq":3/);
    firing.closeOutput();
    expect((await firing.ended).code).toBe(0);
    const [folder] = await readdir(into);
    const record = setRecordSchema.parse(
      JSON.parse(await readFile(path.join(into, folder ?? '', 'set.json'), 'utf8')),
    );
    expect(record.complete).toBe(true);
  });

  it('without --into goes where serve puts sets, and leaves the current folder alone', async () => {
    const { code, stdout } = await run(['fire', '--frames', '1', '--step', '1', '--body', 'practice'], {
      HOME: into,
      XDG_STATE_HOME: path.join(into, 'state'),
    });
    expect(code).toBe(0);
    const sets = path.join(into, 'evenrung-sets');
    expect(await readdir(sets)).toHaveLength(1);
    expect(stdout).toContain(`Set folder: ${sets}/`);
  });

  it(
    'at a daemon that is killed: says so within seconds, and that it is back; then that the run was cut off',
    PACED,
    async () => {
      const state = { XDG_STATE_HOME: path.join(into, 'state'), EVENRUNG_PRACTICE_TIMING: 'lifelike' };
      const serve = async (port: string) => {
        const daemon = start(['serve', '--body', 'practice', '--port', port, '--into', into], state);
        onTestFinished(() => daemon.signal('SIGKILL'));
        const [, address = ''] = await daemon.until(/Panel: (http:\S+?)[ "]/);
        return { daemon, address };
      };
      const { daemon, address } = await serve('0');
      await daemon.until(/Body: Practice body/);
      const fired = start(['fire', '--frames', '9', '--step', '1', '--at', address], {
        XDG_STATE_HOME: path.join(into, 'elsewhere'),
      });
      await fired.until(/frame +\d+ .* verified/);
      daemon.signal('SIGKILL');
      const killedAt = performance.now();
      await fired.until(/^Lost the laptop at http:\S+: trying again, for at most 58 s\.$/m);
      pace('a daemon that is gone is noticed', performance.now() - killedAt, 'ms', 4000);
      await serve(new URL(address).port);
      await fired.until(/^Connected to the laptop again\.$/m);
      const { code, stderr } = await fired.ended;
      expect([code, stderr]).toEqual([1, expect.stringMatching(/^The set ended, or was interrupted, /)]);
    },
  );

  it('into a folder that refuses to hold folders: exit 2, at once', async () => {
    const { code, stderr } = await run([...nine, '--into', '/proc/nowhere']);
    expect(code).toBe(2);
    expect(stderr).toMatch(/^The folder \/proc\/nowhere cannot take sets: /);
  });

  it('into a folder that cannot be: exit 2', async () => {
    const file = path.join(into, 'file');
    await writeFile(file, '');
    const { code, stdout, stderr } = await run([...nine, '--into', path.join(file, 'sets'), '--json']);
    expect(code).toBe(2);
    expect(lines(stdout).at(-1)).toMatchObject({ error: { code: 'folder-not-writable' } });
    const [sentence, ...others] = stderr.trimEnd().split('\n');
    expect(sentence).toMatch(/^The folder .* cannot take sets: part of its path is a file\. ./);
    expect(others).toEqual([more('folder-not-writable')]);
  });
});

describe('cameras', () => {
  it.each([
    ['amount', /by amount/, /3 frames, 1\/3, 2\/3, 1/],
    ['pattern', /by pattern/, /9 frames/],
    ['drive-entry', /by drive entry/, /9 frames, 1\/3, 2\/3, 1 EV/],
    ['none', /frame by frame/, /30 s to 1\/8000 s/],
  ])(
    'shows the practice body as %s: how it brackets, its limits, its readiness',
    async (shape, how, limits) => {
      const env = { EVENRUNG_PRACTICE_SHAPE: shape };
      const { code, stdout, stderr } = await run(['cameras', '--body', 'practice'], env);
      expect([code, stderr]).toEqual([0, '']);
      expect(stdout).toMatch(/^Practice body, serial number PB-000\d/);
      expect(stdout).toMatch(how);
      expect(stdout).toMatch(limits);
      expect(stdout).toMatch(/^ {7}ok {1,2}The practice camera is in manual mode\.$/m);
      expect(stdout).toMatch(/^ {4}check {1,2}/m);
      expect(Math.max(...stdout.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80);
    },
  );

  it('--json prints one object', async () => {
    const { code, stdout } = await run(['cameras', '--body', 'practice', '--json']);
    expect(code).toBe(0);
    const { bodies, unmet } = JSON.parse(stdout) as { bodies: unknown[]; unmet: unknown[] };
    expect(unmet).toEqual([]);
    expect(bodies.map((body) => bodyViewSchema.parse(body))).toMatchObject([
      { link: 'practice', dialect: 'amount', profile: 'none' },
    ]);
  });

  it('--mode aperture: what stops it is marked', async () => {
    const { code, stdout } = await run(['cameras', '--body', 'practice', '--mode', 'aperture']);
    expect(code).toBe(0);
    expect(stdout).toMatch(/^ {5}STOP {1,2}/m);
  });

  it('a shape that there is not: one sentence, exit 2', async () => {
    const { code, stderr } = await run(['cameras', '--body', 'practice'], {
      EVENRUNG_PRACTICE_SHAPE: 'cube',
    });
    expect([code, stderr]).toEqual([
      2,
      `The practice camera has no shape 'cube': EVENRUNG_PRACTICE_SHAPE takes amount, pattern, drive-entry, none.\n${more('unknown-body')}\n`,
    ]);
  });
});

describe('learn', () => {
  it('shows what it finds out, keeps it, and plans go by it', async () => {
    const env = { XDG_CONFIG_HOME: path.join(into, 'config') };
    const { code, stdout, stderr } = await run(['learn', '--body', 'practice', '--longest', '0'], env);
    expect([code, stderr]).toEqual([0, '']);
    expect(stdout).toMatch(/^Evenrung fires at most \d+ frames, and keeps none of them\.$/m);
    expect(stdout).toMatch(/brackets 3 frames in the order 0, -1, \+1/);
    const kept = path.join(into, 'config', 'evenrung', 'bodies', 'PB-0001.json');
    expect(stdout).toContain(`Kept in ${kept}`);
    const profile = bodyProfileSchema.parse(JSON.parse(await readFile(kept, 'utf8')));
    expect(profile).toMatchObject({ patterns: [[0, -1, 1]], restarts: true, beyondRange: 'clamped' });
    const told = await run(['cameras', '--body', 'practice', '--json'], env);
    expect(JSON.parse(told.stdout)).toMatchObject({
      bodies: [{ profile: 'learnt', timing: profile.timing ?? {} }],
    });
  });

  it('a profile that is broken is named, and not used', async () => {
    const folder = path.join(into, 'config', 'evenrung', 'bodies');
    await mkdir(folder, { recursive: true });
    await writeFile(path.join(folder, 'PB-0001.json'), '{"version": 1, "patterns": "many"}');
    const env = { XDG_CONFIG_HOME: path.join(into, 'config') };
    const { code, stdout } = await run(['cameras', '--body', 'practice'], env);
    expect(code).toBe(0);
    expect(stdout.replaceAll(/\s+/g, ' ')).toMatch(
      /^The camera profile .*PB-0001\.json is not used, since .*: .*\./,
    );
    expect(stdout).toContain('typical');
  });

  it('Ctrl-C ends it, with nothing kept', async () => {
    const env = { XDG_CONFIG_HOME: path.join(into, 'config'), EVENRUNG_PRACTICE_TIMING: 'lifelike' };
    const learning = start(['learn', '--body', 'practice'], env);
    await learning.until(/Timing a change of settings/);
    learning.signal('SIGINT');
    expect((await learning.ended).code).toBe(130);
    await expect(readdir(path.join(into, 'config'))).rejects.toMatchObject({ code: 'ENOENT' });
  });
});

describe('serve', () => {
  const begin = (...more: string[]) => {
    const daemon = start(
      ['serve', '--body', 'practice', '--port', '0', '--into', path.join(into, 'sets'), ...more],
      { XDG_STATE_HOME: path.join(into, 'state') },
    );
    onTestFinished(() => daemon.signal('SIGKILL'));
    return daemon;
  };
  const ready = async (daemon: Started) => {
    const [, address = ''] = await daemon.until(/Panel: (http:\S+?)[ "]/);
    await daemon.until(/Body: Practice body/);
    return address;
  };
  const post = (address: string, to: string, body: object = {}) =>
    fetch(`${address}${to}`, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify(body),
    });
  const runAt = async (address: string) => {
    const { state } = (await (await fetch(`${address}/api/state`)).json()) as { state: DaemonState };
    return state.run;
  };

  it('killed during the delay of a set: the next one waits for the rest of it', async () => {
    const first = begin();
    const address = await ready(first);
    const asked = { frames: 3, step: 1, base: '1/60', delay: 12 };
    expect((await post(address, '/api/run', asked)).status).toBe(202);
    const beginsAt = (await runAt(address))?.beginsAt ?? '';
    first.signal('SIGKILL');
    await first.ended;
    const second = begin('--resume', 'always');
    const again = await ready(second);
    await expect.poll(() => runAt(again), { timeout: 10_000 }).not.toBeNull();
    const run = await runAt(again);
    expect(run).toMatchObject({ state: 'preparing', beginsAt });
    await second.until(/All 3 frames are verified/);
    expect(Date.now()).toBeGreaterThanOrEqual(Date.parse(beginsAt));
    second.signal('SIGTERM');
    expect((await second.ended).code).toBe(130);
  });

  function serve(port: number, state = 'state'): Started {
    const daemon = start(['serve', '--body', 'practice', '--port', String(port), '--into', into], {
      XDG_STATE_HOME: path.join(into, state),
    });
    onTestFinished(() => daemon.signal('SIGKILL'));
    return daemon;
  }

  it.each(['always', 'ask'] as const)(
    'killed in the middle of a set: the next one tells of it, and goes on (%s)',
    async (resume) => {
      const first = begin();
      const address = await ready(first);
      expect((await post(address, '/api/run/resume')).status).toBe(409);
      expect((await post(address, '/api/run', { frames: 9, step: 1, base: '1/60' })).status).toBe(202);
      for (;;) {
        const { state } = (await (await fetch(`${address}/api/state`)).json()) as { state: DaemonState };
        const verified = state.run?.frames.filter((frame) => frame.state === 'verified').length ?? 0;
        if (verified >= 2) break;
        await pause(5);
      }
      first.signal('SIGKILL');
      await first.ended;
      const second = begin('--resume', resume);
      await second.until(/A set was interrupted after [2-9] of 9 frames/);
      const again = await ready(second);
      if (resume === 'ask') {
        const { state } = (await (await fetch(`${again}/api/state`)).json()) as { state: DaemonState };
        expect(state.unfinished).toMatchObject({ frames: 9 });
        const refused = await post(again, '/api/run', { frames: 3, step: 1, base: '1/60' });
        expect([refused.status, await refused.json()]).toMatchObject([
          409,
          { error: { code: 'run-unfinished' } },
        ]);
        expect((await post(again, '/api/run/resume')).status).toBe(202);
      }
      await second.until(/All 9 frames are verified/);
      second.signal('SIGTERM');
      expect((await second.ended).code).toBe(130);
    },
  );

  it('is one at a time for a state folder: the second says who has it', async () => {
    const daemon = serve(0);
    await daemon.until(/Panel: http/);
    const { code, stderr } = await run(['fire', '--frames', '3', '--step', '1', '--into', into], {
      XDG_STATE_HOME: path.join(into, 'state'),
    });
    expect(code).toBe(2);
    expect(stderr).toMatch(/^Evenrung is already running here: serve, process \d+, panel at http:/);
  });

  it('logs that a run is in trouble, with the page that says more, and that it is over', async () => {
    const daemon = start(['serve', '--body', 'practice', '--port', '0', '--into', into], {
      XDG_STATE_HOME: path.join(into, 'state'),
      EVENRUNG_PRACTICE_TIMING: 'lifelike',
    });
    onTestFinished(() => daemon.signal('SIGKILL'));
    const [, address = ''] = await daemon.until(/Panel: (http:\S+?)[ "]/);
    await daemon.until(/Body: Practice body/);
    const child = await childOf(daemon);
    const started = await fetch(`${address}/api/run`, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify({ frames: 3, step: 1, base: '1/2' }),
    });
    expect(started.status).toBe(202);
    await pause(700);
    process.kill(child, 'SIGKILL');
    await daemon.until(/The camera answers again/);
    const logged = lines(daemon.said.stderr) as { level: number; msg: string; page?: string }[];
    expect(logged.find(({ msg }) => msg.startsWith('The camera process ended unexpectedly'))).toMatchObject({
      level: 40,
      page: 'hardware-notes/when-it-stops.md#the-camera-does-not-answer',
      msg: expect.stringMatching(/Evenrung tries again/),
    });
    expect(logged.find(({ msg }) => msg === 'The camera answers again.')).toMatchObject({ level: 30 });
    await daemon.until(/All 3 frames are verified/);
    daemon.signal('SIGTERM');
    expect((await daemon.ended).code).toBe(130);
  });

  it('on a port in use: one sentence, exit 2; the first goes on', async () => {
    const first = serve(0);
    const [, address = ''] = await first.until(/Panel: (http:\S+?)[ "]/);
    const { code, stderr } = await serve(Number(new URL(address).port), 'another state').ended;
    expect(code).toBe(2);
    const [sentence, ...others] = stderr.trimEnd().split('\n');
    expect(sentence).toMatch(/^Port \d+ is in use, perhaps by another Evenrung\./);
    expect(others).toEqual([more('port-in-use')]);
    expect((await fetch(`${address}/api/state`)).status).toBe(200);
    first.signal('SIGINT');
    expect((await first.ended).code).toBe(130);
  });

  it.each([
    ['--port', '70000'],
    ['--port', 'x'],
    ['--body', 'marble'],
  ])('%s %s: exit 2', async (option, value) => {
    const { code, stderr } = await run(['serve', option, value]);
    expect(code).toBe(2);
    expect(stderr).toMatch(/^[^\n]+\n {2}more: [^\n]+\n$/);
  });
});

describe('anything else', () => {
  it('--help explains, exit 0', async () => {
    const { code, stdout } = await run(['--help']);
    expect(code).toBe(0);
    for (const command of ['serve', 'plan', 'fire']) expect(stdout).toContain(command);
  });

  it('an unknown command, or none: exit 2', async () => {
    expect(await run(['photograph'])).toMatchObject({
      code: 2,
      stderr: `Unknown command 'photograph'.\n${more('malformed-request')}\n`,
    });
    const { code, stderr } = await run([]);
    expect(code).toBe(2);
    for (const command of ['serve', 'plan', 'fire']) expect(stderr).toContain(command);
  });
});
