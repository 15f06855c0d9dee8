// `sets reshoot`, `sets complete`, `sets extend` and `sets fetch` as processes: what they print, their exit codes, and that a set they are stopped in is right.
import { cp, mkdtemp, readdir, rename, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { pageWords } from '../../shared/pages.js';
import { eventSchema } from '../../shared/state.js';
import { PracticeBody } from '../../src/camera/practice/model.js';
import { Journal } from '../../src/journal/index.js';
import { run, start } from '../built.js';
import { PulledLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';

let folder = '';
/** The same for all tests: the journal names the set folder by its whole path. */
let root = '';
let into = '';
let env: Record<string, string> = {};
beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  root = path.join(folder, 'now');
  into = path.join(root, 'sets');
  env = { XDG_STATE_HOME: path.join(root, 'state') };
});
afterEach(async () => {
  await rm(root, { recursive: true, force: true });
});
afterAll(async () => {
  await rm(folder, { recursive: true, force: true });
});

const FIRE = ['fire', '--frames', '9', '--step', '1', '--body', 'practice'];
const BODY = ['--body', 'practice'];

/** @returns the id of the set that was fired last */
async function newest(): Promise<string> {
  const { stdout } = await run(['sets', '--json', '--limit', '1'], env);
  return (JSON.parse(stdout) as { set: { id: string } }).set.id;
}

/** @returns the id of a set of nine that was just fired: fired once, and put there anew for each test */
async function fired(): Promise<string> {
  const kept = path.join(folder, 'as-fired');
  if (id === '') {
    expect((await run([...FIRE, '--into', into], env)).code).toBe(0);
    id = await newest();
    await rename(root, kept);
  }
  await cp(kept, root, { recursive: true, preserveTimestamps: true });
  return id;
}
let id = '';

const check = async () => (await run(['sets', 'check', into], env)).code;
const aside = async () => {
  const [folder = ''] = await readdir(into);
  const names = await readdir(path.join(into, folder, 'set-aside')).catch(() => []);
  return names.filter((name) => name.endsWith('.jpg')).sort();
};

describe('sets reshoot', () => {
  it('fires frames once more, says how it goes and where the set is, and keeps both', async () => {
    const id = await fired();
    const { code, stdout, stderr } = await run(
      ['sets', 'reshoot', id.slice(0, 6), '--frames', '3', ...BODY],
      env,
    );
    expect([code, stderr]).toEqual([0, '']);
    expect(stdout).toMatch(/^Reshooting frame 3 of 9$/m);
    expect(stdout).toMatch(/^One at a time, with the bracket off$/m);
    expect(stdout).toMatch(/^ {2}frame {2}3 {6}−2 EV {2}1\/250 s {3}verified$/m);
    // Those that are not fired are not told of.
    expect(stdout.match(/verified$/gm)).toHaveLength(1);
    expect(stdout).toMatch(/^Frame 3 was reshot\. All 9 frames are verified\.$/m);
    expect(stdout).toMatch(/^Set folder: .*set-/m);
    expect(await aside()).toEqual(['frame-03.jpg']);
    expect(await check()).toBe(0);
  });

  it('--pass fires a whole pass, --json tells events', async () => {
    const id = await fired();
    const { code, stdout } = await run(['sets', 'reshoot', id, '--pass', '2', '--json', ...BODY], env);
    expect(code).toBe(0);
    const events = stdout
      .trimEnd()
      .split('\n')
      .map((line) => eventSchema.parse(JSON.parse(line)));
    expect(events.at(-1)?.happening).toMatchObject({ type: 'run-state', state: 'complete', error: null });
    expect(events.some(({ happening }) => happening.type === 'pass' && happening.pass === 2)).toBe(true);
    expect(await aside()).toHaveLength(3);
  });

  it('that is stopped ends with 130, and the set is what it was', async () => {
    const id = await fired();
    const again = start(['sets', 'reshoot', id, '--frames', '9,1', ...BODY], {
      ...env,
      EVENRUNG_PRACTICE_TIMING: 'lifelike',
    });
    await again.until(/^One at a time/m);
    again.signal('SIGINT');
    const { code, stdout } = await again.ended;
    expect(code).toBe(130);
    expect(stdout).toMatch(/^Stopped\. .*as (it was|they were) before\. All 9 frames are verified\.$/m);
    expect(stdout).toMatch(/is as it was before$/m);
    expect(await check()).toBe(0);
  });

  it('wants to know what, and which set: exit 2', async () => {
    const id = await fired();
    const refused: [string[], string][] = [
      [['sets', 'reshoot', id, ...BODY], 'Say what to reshoot: --frames 3,4 for some frames, or --pass 2'],
      [['sets', 'reshoot', id, '--frames', '3', '--pass', '2', ...BODY], 'Say what to reshoot'],
      [['sets', 'reshoot', id, '--frames', 'three', ...BODY], 'give the numbers of frames, such as 3,4.'],
      [['sets', 'reshoot', id, '--pass', '2,3', ...BODY], 'give the number of a pass, such as 2.'],
      [['sets', 'reshoot', id, '--frames', '10', ...BODY], 'The set has no frame 10'],
      [['sets', 'reshoot', 'x', '--frames', '3', ...BODY], "There is no set whose id begins with 'x'"],
    ];
    for (const [args, words] of refused) {
      const { code, stderr } = await run(args, env);
      expect([args.join(' '), code]).toEqual([args.join(' '), 2]);
      expect(stderr).toContain(words);
    }
    expect(await check()).toBe(0);
  });
});

describe('sets complete', () => {
  it('makes what is missing', async () => {
    const first = start([...FIRE, '--into', into], { ...env, EVENRUNG_PRACTICE_TIMING: 'lifelike' });
    await first.until(/verified$/m);
    first.signal('SIGINT');
    expect((await first.ended).code).toBe(130);
    const id = await newest();
    expect(await check()).toBe(1);
    const { code, stdout, stderr } = await run(['sets', 'complete', id, ...BODY], env);
    expect([code, stderr]).toEqual([0, '']);
    expect(stdout).toMatch(/^To be shot: frames \d(, \d)* of 9$/m);
    expect(stdout).toMatch(/^Completed \d+ (s|min) after it was begun: check whether the light changed\.$/m);
    expect(stdout).toMatch(/^All 9 frames are verified\.$/m);
    expect(await check()).toBe(0);
    expect(await readdir(into)).toHaveLength(1);
  });

  it('of a complete set says so: exit 2', async () => {
    const id = await fired();
    const { code, stderr } = await run(['sets', 'complete', id, ...BODY], env);
    expect(code).toBe(2);
    expect(stderr).toBe(
      `The set ${id} is complete: all its 9 frames are verified. To reshoot some of them, choose frames.\n  more: ${pageWords('nothing-to-complete')}\n`,
    );
  });
});

describe('sets extend', () => {
  it('adds frames at either end, and says so', async () => {
    const id = await fired();
    const { code, stdout, stderr } = await run(
      ['sets', 'extend', id.slice(0, 6), '--darker', '1', '--brighter', '2', ...BODY],
      env,
    );
    expect([code, stderr]).toEqual([0, '']);
    expect(stdout).toMatch(/^To be shot: frames 10, 11, 12 of 12$/m);
    expect(stdout).toMatch(/^ {2}frame 10 {6}−5 EV {2}1\/2000 s {2}verified$/m);
    expect(stdout.match(/verified$/gm)).toHaveLength(3);
    expect(stdout).toMatch(/^Frames 10, 11, 12 were added \d+ (s|min) after the set\. The light had/m);
    expect(stdout).toMatch(/^Frames 10, 11, 12 were added\. All 12 frames are verified\.$/m);
    const [folder = ''] = await readdir(into);
    const names = (await readdir(path.join(into, folder))).filter((name) => /^\d\d_.*\.jpg$/.test(name));
    expect(names.sort().slice(-3)).toEqual(['10_-5EV.jpg', '11_+5EV.jpg', '12_+6EV.jpg']);
    expect(await check()).toBe(0);
    const shown = await run(['sets', 'show', id], env);
    expect(shown.stdout).toMatch(/10 {2,}−5.*\n.*1 {2,}−4/s);
  });

  it('is offered by sets show where the set has lost something, and goes by that', async () => {
    const first = await run(
      ['fire', '--frames', '3', '--step', '1', '--base', '1/15', '--body', 'practice', '--into', into],
      env,
    );
    expect(first.code).toBe(0);
    const id = await newest();
    const shown = await run(['sets', 'show', id], env);
    expect(shown.stdout.replace(/\s+/g, ' ')).toContain(
      `It has lost highlights. If the camera has not moved, evenrung sets extend ${id.slice(0, 8)} adds a frame.`,
    );
    const { code, stdout } = await run(['sets', 'extend', id, ...BODY], env);
    expect(code).toBe(0);
    expect(stdout).toMatch(/^Frame 4 was added\. All 4 frames are verified\.$/m);
  });

  it('--extend says it beforehand: frames are added at once, and none that is not needed', async () => {
    const asked = ['--frames', '3', '--step', '1', '--base', '1/15', '--extend', '1'];
    const { code, stdout } = await run(['fire', ...asked, ...BODY, '--into', into], env);
    expect(code).toBe(0);
    expect(stdout).toMatch(/^The set was extended, because \d+% of its darkest frame was blown out\./m);
    expect(stdout).toMatch(/^Pass 2 of 2$/m);
    expect(stdout).toMatch(/^Frame 4 was added\. All 4 frames are verified\.$/m);
    expect(await check()).toBe(0);
    // What a schedule takes at the most is told with them.
    const foreseen = await run(['schedule', ...asked, '--every', '4min', '--count', '2', '--json'], env);
    expect(JSON.parse(foreseen.stdout)).toMatchObject({ estimate: { actuations: 10 } });
  });

  it('wants numbers that can be, and frames that can be made: exit 2', async () => {
    const id = await fired();
    const refused: [string[], string][] = [
      [['--darker', '0'], 'No frame would be added: give --darker 1 or --brighter 2'],
      [['--darker', 'some'], 'give 0 to 60 frames.'],
      [['--brighter', '61'], 'give 0 to 60 frames.'],
      [['--darker', '9'], 'At most 3 darker can be added to this set'],
      [['--darker', '30', '--brighter', '30'], 'more frames are too many'],
    ];
    for (const [args, words] of refused) {
      const { code, stderr } = await run(['sets', 'extend', id, ...args, ...BODY], env);
      expect([args.join(' '), code]).toEqual([args.join(' '), 2]);
      expect(stderr).toContain(words);
    }
    expect(await check()).toBe(0);
  });

  it('that is stopped ends with 130, and the set is whole without a gap', async () => {
    const id = await fired();
    const extend = start(['sets', 'extend', id, '--darker', '2', '--brighter', '2', ...BODY], {
      ...env,
      EVENRUNG_PRACTICE_TIMING: 'lifelike',
    });
    await extend.until(/verified$/m);
    extend.signal('SIGINT');
    const { code, stdout } = await extend.ended;
    expect(code).toBe(130);
    expect(stdout).toMatch(
      /^Stopped\. .*frames? that (was|were) to be added (is|are) not in the set\. All 1[0-2] frames are verified\.$/m,
    );
    expect(await check()).toBe(0);
  });
});

describe('sets fetch', () => {
  const QUICK = { change: 0, changePerSetting: 0, releaseLag: 0.01, cycle: 0.02, exposureScale: 0.05 };

  /** Five frames of a practice body in this process, whose last file never came. @returns the id of the set */
  async function lacking(): Promise<string> {
    const stateFolder = path.join(root, 'state', 'evenrung');
    const journal = await Journal.open(stateFolder);
    const link = new PulledLink(new PracticeBody({ timing: QUICK, picture: 'full' }), 'before it is told');
    const { station, events } = await openStation(root, link, { journal, stateFolder, patienceMs: 50 });
    await station.start({ frames: 5, step: 1, base: '1/60' });
    await station.settled();
    await station.close();
    journal.close();
    return events.state.run?.set.id ?? '';
  }

  it('is offered by sets show, looks in the camera, fires nothing, and says what it did not find', async () => {
    const id = await lacking();
    const shown = await run(['sets', 'show', id], env);
    expect(shown.stdout.replace(/\s+/g, ' ')).toContain(
      `A file is missing. With the camera attached, evenrung sets fetch ${id.slice(0, 8)} looks for it there, and fires nothing.`,
    );
    // That body is a new one, and its card is empty.
    const { code, stdout, stderr } = await run(['sets', 'fetch', id.slice(0, 8), ...BODY], env);
    expect([code, stderr]).toEqual([0, '']);
    expect(stdout).toMatch(/^Looking in the camera for missing files$/m);
    expect(stdout).toMatch(/^The camera has no file of frame \d\. 4 of 5 frames are verified\.$/m);
    expect(stdout).not.toMatch(/^Pass|^One at a time/m);
    expect(await check()).toBe(1);
  });

  it('of a set that lacks nothing says so: exit 2', async () => {
    const id = await fired();
    const shown = await run(['sets', 'show', id], env);
    expect(shown.stdout).not.toContain('sets fetch');
    const { code, stderr } = await run(['sets', 'fetch', id, ...BODY], env);
    expect(code).toBe(2);
    expect(stderr).toContain(`The set ${id} misses no file that the camera could have.`);
  });
});
