// The main job through everything real: `evenrung fire` as a process, its camera process, node-gphoto2, libgphoto2, the
// virtual USB port, and the practice body behind it.
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { type SetRecord, setRecordSchema } from '../../shared/set-record.js';
import { readRecorded } from '../../src/frames/index.js';
import { run, start } from '../built.js';
import { childrenOf } from '../child-of.js';
import { stationOfProcess } from '../harness/process-station.js';
import { type FaceName, type PluggedBody, plugIn } from './ptp/plugged-body.js';

let into = '';
let plugged: PluggedBody | undefined;
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await plugged?.remove();
  plugged = undefined;
  await rm(into, { recursive: true, force: true });
});

const NINE = ['fire', '--frames', '9', '--step', '1', '--base', '1/60'];
const OFFSETS = [-4, -3, -2, -1, 0, 1, 2, 3, 4];

async function plug(name: FaceName): Promise<{ body: PluggedBody; env: Record<string, string> }> {
  plugged = await plugIn(name);
  // A body that nobody tethers keeps its frames on the card; the library moves that while it is connected.
  await plugged.body.change('target', 'card');
  return { body: plugged, env: { ...plugged.environment, XDG_STATE_HOME: path.join(into, 'state') } };
}

async function setIn(folder: string): Promise<{ record: SetRecord; offsets: number[] }> {
  const sets = (await readdir(folder)).filter((name) => name.startsWith('set-'));
  expect(sets).toHaveLength(1);
  const set = path.join(folder, sets[0] ?? '');
  const record = setRecordSchema.parse(JSON.parse(await readFile(path.join(set, 'set.json'), 'utf8')));
  const offsets: number[] = [];
  for (const { file } of record.frames) {
    if (file === null) continue;
    const { exposureTime } = await readRecorded(path.join(set, file));
    offsets.push(Math.round(Math.log2((exposureTime ?? Number.NaN) * 60)));
  }
  return { record, offsets };
}

/** Offsets that the shutter really made, from the body's own memory. */
const made = ({ body }: PluggedBody) => body.shots.map((shot) => (36 - shot.tv) / 6);

describe('nine frames from a three-frame body over USB', () => {
  it('dialect A: three passes of three; the files prove -4 to +4 EV; the body is left as found', async () => {
    const { body, env } = await plug('amount');
    const before = { ...body.body.state };
    const { code, stdout, stderr } = await run([...NINE, '--body', 'usb', '--into', into], env);
    expect([code, stderr]).toEqual([0, '']);
    expect(stdout).toContain('9 frames in 3 passes');
    expect(stdout).not.toContain('Practice camera: nothing is photographed');
    const { record, offsets } = await setIn(into);
    expect(offsets).toEqual(OFFSETS);
    expect(record).toMatchObject({ complete: true, practice: false, setAside: [], body: { link: 'usb' } });
    // The pass that the body stands on already comes first.
    expect(made(body)).toEqual([0, -1, 1, -3, -4, -2, 3, 2, 4]);
    expect(body.body.shots.map((shot) => shot.bracketPosition)).toEqual([0, -1, 1, 0, -1, 1, 0, -1, 1]);
    expect({ ...body.body.state }).toEqual(before);
    // Nothing was deleted: the card holds all nine too.
    expect(body.card.pictures).toHaveLength(9);
  });

  it.each(['hidden', 'standard'] as const)(
    'dialect D (%s): nine single frames, the same proof',
    async (face) => {
      const { body, env } = await plug(face);
      const before = { ...body.body.state };
      const { code, stderr } = await run([...NINE, '--body', 'usb', '--into', into], env);
      expect([code, stderr]).toEqual([0, '']);
      const { record, offsets } = await setIn(into);
      expect(offsets).toEqual(OFFSETS);
      expect(record.passes).toHaveLength(9);
      expect(record.base).toMatchObject({ shutter: '1/60', aperture: '8', iso: '100' });
      expect(made(body)).toEqual(OFFSETS);
      expect({ ...body.body.state }).toEqual(before);
    },
  );

  it('--body auto takes the camera that is there', async () => {
    const { body, env } = await plug('amount');
    const { code } = await run(
      ['fire', '--frames', '3', '--step', '2/3', '--body', 'auto', '--into', into, '--json'],
      env,
    );
    expect(code).toBe(0);
    expect(body.body.shots).toHaveLength(3);
    expect((await setIn(into)).record.body.link).toBe('usb');
  });

  it('Ctrl-C in the middle of a pass: the frame ends, the bracket goes off, the shutter goes back', async () => {
    const { body, env } = await plug('amount');
    const before = { ...body.body.state };
    const firing = start([...NINE, '--body', 'usb', '--into', into], env);
    await firing.until(/frame {2}5 .*verified/);
    firing.signal('SIGINT');
    const { code } = await firing.ended;
    expect(code).toBe(130);
    expect(body.body.shots.length).toBeLessThan(9);
    expect({ ...body.body.state }).toEqual(before);
    expect((await setIn(into)).record.complete).toBe(false);
  });

  it('the cable is pulled for a moment in the middle: found again, the set is whole, the body left as found', async () => {
    const { body, env } = await plug('amount');
    const before = { ...body.body.state };
    const firing = start([...NINE, '--body', 'usb', '--into', into], env);
    await firing.until(/frame {2}5 .*verified/);
    await body.usb.unplug();
    await new Promise((resolve) => setTimeout(resolve, 300));
    await body.usb.plug();
    const { code, stdout } = await firing.ended;
    expect([code, stdout.match(/Failed after.*/)?.[0]]).toEqual([0, undefined]);
    const { record, offsets } = await setIn(into);
    expect(offsets).toEqual(OFFSETS);
    expect(record.notPutBack).toEqual([]);
    expect({ ...body.body.state }).toEqual(before);
  });

  it('the camera process is killed in the middle: another one goes on, what was lost is made up', async () => {
    const { body, env } = await plug('amount');
    const before = { ...body.body.state };
    let killed = false;
    body.responder.intercept('any', async (_request, proceed) => {
      const answer = await proceed();
      if (!killed && body.body.shots.length === 5) {
        killed = true;
        await killCameraProcess(firing.pid);
      }
      return answer;
    });
    const firing = start([...NINE, '--body', 'usb', '--into', into], env);
    const { code, stdout } = await firing.ended;
    expect([killed, code]).toEqual([true, 0]);
    expect(stdout).toContain('Reshooting missing frames one at a time');
    const { record, offsets } = await setIn(into);
    expect(offsets).toEqual(OFFSETS);
    expect(record.complete).toBe(true);
    expect({ ...body.body.state }).toEqual(before);
  });
});

describe('the daemon is killed in the middle', () => {
  async function killedInTheMiddle() {
    const { body, env } = await plug('amount');
    const before = { ...body.body.state };
    const firing = start([...NINE, '--body', 'usb', '--into', into], env);
    await firing.until(/frame {2}5 .*verified/);
    firing.signal('SIGKILL');
    await firing.ended;
    // The camera process ends by itself and lets go of the body, which nobody has put back.
    await expect.poll(() => body.usb.connected, { timeout: 5000 }).toBe(false);
    expect(body.body.state.bracketStep).not.toBe(0);
    return { body, env, before };
  }
  const again = ['fire', '--frames', '3', '--step', '1', '--body', 'usb', '--json'];

  it('the next start puts back what it had changed, and says so', async () => {
    const { body, env, before } = await killedInTheMiddle();
    const { code, stdout } = await run([...again, '--into', path.join(into, 'again')], env);
    expect(code).toBe(0);
    expect(stdout).toMatch(/Settings that an earlier set had changed were put back: [^"]*aeb/);
    expect({ ...body.body.state }).toEqual(before);
    const { record } = await setIn(path.join(into, 'again'));
    expect(record.notes).toContainEqual(
      expect.stringMatching(/^Settings that an earlier set had changed were put back: .*aeb/),
    );
    // Nothing is owed any more.
    const { stdout: third } = await run([...again, '--into', path.join(into, 'third')], env);
    expect(third).not.toContain('put back:');
  });

  it('what was set by hand meanwhile stays', async () => {
    const { body, env, before } = await killedInTheMiddle();
    await body.body.change('shutter', sixths(50));
    expect((await run([...again, '--into', path.join(into, 'again')], env)).code).toBe(0);
    expect({ ...body.body.state }).toEqual({ ...before, shutter: 50 });
  });
});

it('a body lost for good in the middle, and found again later: what was owed is put back, and said', async () => {
  const { body, env } = await plug('amount');
  const before = { ...body.body.state };
  const { station, events } = stationOfProcess(into, env, { patienceMs: 2000 });
  try {
    await station.look();
    events.watch(({ happening }) => {
      if (happening.type === 'frame' && happening.frame.number === 1 && happening.frame.state === 'verified')
        void body.usb.unplug();
    });
    await station.start({ frames: 9, step: 1 });
    await station.settled();
    expect(events.state.run?.state).toBe('halted');
    expect(events.state.run?.sentence).toMatch(/These settings could not be put back: .*aeb to off/);
    expect(events.state.body.state).toBe('absent');
    expect(body.body.state.bracketStep).not.toBe(0);
    await body.usb.plug();
    await station.look();
    expect(events.state.body).toMatchObject({
      state: 'ready',
      note: expect.stringMatching(/^Settings that an earlier set had changed were put back: .*aeb/),
    });
    await station.close();
    expect({ ...body.body.state }).toEqual(before);
  } finally {
    await station.close();
  }
}, 60_000);

describe('no camera', () => {
  it('--body usb: one sentence, exit 1, nothing made', async () => {
    const { body, env } = await plug('amount');
    await body.usb.unplug();
    const { code, stdout, stderr } = await run([...NINE, '--body', 'usb', '--into', into, '--json'], env);
    expect(code).toBe(1);
    expect(stderr).toMatch(/^No camera was found on USB\. .*\n {2}more: .*\n$/);
    expect(JSON.parse(stdout.trim().split('\n').at(-1) ?? '')).toMatchObject({ error: { code: 'no-body' } });
    expect((await readdir(into)).filter((name) => name.startsWith('set-'))).toEqual([]);
  });

  it('--body auto: says so, and goes on with the practice body', async () => {
    const { body, env } = await plug('amount');
    await body.usb.unplug();
    const { code, stdout } = await run(
      ['fire', '--frames', '3', '--step', '1', '--body', 'auto', '--into', into],
      env,
    );
    expect(code).toBe(0);
    expect(stdout).toMatch(/^No camera was found on USB\..*\nPractice camera: nothing is photographed/);
    expect((await setIn(into)).record.practice).toBe(true);
  });
});

/** Kills the one that is a child of that process. */
async function killCameraProcess(parent: number): Promise<void> {
  for (const pid of await childrenOf({ pid: parent }, 'camera-process.js')) process.kill(pid, 'SIGKILL');
}
