// The main job on every virtual body, through everything real: camera process, node-gphoto2, libgphoto2, virtual USB port. The
// exposures are read from the files and compared with what was asked, and with what the shutter did.
import { mkdtemp, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { type SetRecord, setRecordSchema } from '../../shared/set-record.js';
import type { PracticeOptions } from '../../src/camera/practice/model.js';
import { readRecorded, recordedTv } from '../../src/frames/index.js';
import type { EventLog, Station } from '../../src/station/index.js';
import { stationOfProcess } from '../harness/process-station.js';
import { FACES, type FaceName, type PluggedBody, plugIn } from './ptp/plugged-body.js';

let into = '';
let plugged: PluggedBody[] = [];
let station: Station | undefined;
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await station?.close();
  station = undefined;
  for (const body of plugged) await body.remove();
  plugged = [];
  await rm(into, { recursive: true, force: true });
});

async function plug(face: FaceName, options: Partial<PracticeOptions> = {}): Promise<PluggedBody> {
  const body = await plugIn(face, options);
  plugged.push(body);
  // A body that nobody tethers keeps its frames on the card; the library moves that while it is connected.
  await body.body.change('target', 'card');
  return body;
}

function stationFor(bodies: readonly PluggedBody[], camera?: string): { station: Station; events: EventLog } {
  const [first] = bodies;
  if (first === undefined) throw new Error('There is no body.');
  const sockets = bodies.map(({ environment }) => environment.VIRTUAL_BODY_SOCKETS).join(':');
  const env = { ...first.environment, VIRTUAL_BODY_SOCKETS: sockets };
  const made = stationOfProcess(into, env, { camera });
  station = made.station;
  return made;
}

async function recordOf(events: EventLog): Promise<{ record: SetRecord; folder: string }> {
  const folder = events.state.run?.folder ?? '';
  return {
    folder,
    record: setRecordSchema.parse(JSON.parse(await readFile(path.join(folder, 'set.json'), 'utf8'))),
  };
}

const BASE_TV = 6;

describe.each(FACES)('the virtual body %s', (face) => {
  it.each([
    { frames: 9, step: '1', ev: 1 },
    { frames: 11, step: '2/3', ev: 2 / 3 },
  ])(
    '$frames frames, $step EV apart: every file records its exposure; left as found',
    async ({ frames, step, ev }) => {
      const { body } = await plug(face);
      const before = { ...body.state };
      const { station, events } = stationFor(plugged);
      await station.look();
      expect(station.problem).toBeNull();
      await station.start({ frames, step, base: '1/60' });
      await station.settled();
      expect(events.state.run?.sentence).toMatch(new RegExp(`^All ${frames} frames are verified`));
      const { record, folder } = await recordOf(events);
      const asked = Array.from({ length: frames }, (_, k) => (k - (frames - 1) / 2) * ev);
      const tvs: number[] = [];
      for (const frame of record.frames) {
        const { exposureTime } = await readRecorded(path.join(folder, frame.file ?? ''));
        tvs.push(recordedTv(exposureTime) ?? Number.NaN);
      }
      for (const [index, tv] of tvs.entries()) expect(tv).toBeCloseTo(BASE_TV - (asked[index] ?? 0), 9);
      const shot = body.shots.map(({ tv }) => tv / 6);
      for (const tv of tvs) expect(shot.some((made) => Math.abs(made - tv) < 1e-9)).toBe(true);
      expect(body.shots.some(({ clamped }) => clamped)).toBe(false);
      expect(record.notPutBack).toEqual([]);
      await station.close();
      expect({ ...body.state }).toEqual(before);
    },
    60_000,
  );

  it('is learnt from outside, exactly', async () => {
    const { body } = await plug(face);
    const before = { ...body.state };
    const { station, events } = stationFor(plugged);
    await station.look();
    const { profile } = await station.learn({ longestSeconds: 0 });
    const sorted = (patterns: readonly (readonly number[])[] = []) =>
      patterns.map((one) => one.join()).sort();
    expect(sorted(profile.patterns)).toEqual(sorted(body.options.patterns));
    if (body.options.patterns.length > 0) {
      expect(profile).toMatchObject({ restarts: true, beyondRange: 'clamped' });
    }
    expect(profile).toMatchObject({ model: body.model, serial: body.options.serial });
    // The next meeting plans with it.
    await station.look();
    expect(events.state.body).toMatchObject({ state: 'ready', body: { profile: 'learnt' } });
    await station.close();
    expect({ ...body.state }).toEqual(before);
  }, 120_000);
});

describe('bodies of another make-up, learnt over the wire', () => {
  it.each([
    ['two frames', 'amount', { patterns: [[0, 1]] }],
    ['seven frames', 'amount', { patterns: [[0, -1, 1, -2, 2, -3, 3]] }],
    ['goes on in the middle of its bracket', 'amount', { restarts: false }],
    [
      'dark first',
      'drive-entry',
      {
        patterns: [
          [-1, 0, 1],
          [-2, -1, 0, 1, 2],
        ],
      },
    ],
  ] as const)(
    '%s',
    async (_, face, options) => {
      const { body } = await plug(face, options);
      const { station } = stationFor(plugged);
      await station.look();
      const { profile } = await station.learn({ longestSeconds: 0 });
      expect(profile.patterns?.map((one) => one.join()).sort()).toEqual(
        body.options.patterns.map((one) => one.join()).sort(),
      );
      expect(profile.restarts).toBe(body.options.restarts);
    },
    60_000,
  );
});

describe('two cameras', () => {
  async function two() {
    const first = await plug('amount', { serial: 'EV-1' });
    const second = await plug('pattern', { serial: 'EV-2' });
    return { first, second };
  }

  it('none is taken silently: both are named, and the choice is offered', async () => {
    await two();
    const { station, events } = stationFor(plugged);
    await station.look();
    expect(events.state.body).toMatchObject({
      state: 'absent',
      sentence: expect.stringMatching(/2 cameras are attached: .*EV-1.*EV-2/),
      choices: [
        { model: 'Practice body', serial: 'EV-1' },
        { model: 'Practice body', serial: 'EV-2' },
      ],
    });
    await station.look('EV-2');
    expect(events.state.body).toMatchObject({ state: 'ready', body: { serial: 'EV-2', dialect: 'pattern' } });
  }, 60_000);

  it('the chosen one fires, and is found again where it is plugged in anew', async () => {
    const { first, second } = await two();
    const { station, events } = stationFor(plugged, 'EV-2');
    await station.look();
    events.watch(({ happening }) => {
      if (happening.type !== 'frame' || happening.frame.state !== 'verified' || happening.frame.number !== 3)
        return;
      void second.usb.unplug().then(() => setTimeout(() => void second.usb.plug(), 300));
    });
    await station.start({ frames: 9, step: 1 });
    await station.settled();
    expect(events.state.run?.sentence).toMatch(/^All 9 frames are verified/);
    expect(first.body.shots).toHaveLength(0);
    expect((await recordOf(events)).record.body.serial).toBe('EV-2');
  }, 90_000);

  it('one that is not there is said, with what is', async () => {
    await two();
    const { station, events } = stationFor(plugged, 'EV-3');
    await station.look();
    expect(events.state.body).toMatchObject({
      state: 'absent',
      sentence: expect.stringMatching(
        /No camera with the serial number or model 'EV-3' is attached\. Attached: .*EV-1/,
      ),
    });
  }, 60_000);

  it('a model that fits both is no choice', async () => {
    await two();
    const { station } = stationFor(plugged, 'practice body');
    await station.look();
    expect(station.problem?.code).toBe('several-bodies');
  }, 60_000);
});
