// Aperture priority on every virtual body, through everything real: only exposure compensation moves, so that neither the list of
// shutter times nor the base that was written decides what can be made. The exposures are read from the files.
import { mkdtemp, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { setRecordSchema } from '../../shared/set-record.js';
import type { PracticeBody, PracticeState } from '../../src/camera/practice/model.js';
import { checkSet, readRecorded, recordedTv } from '../../src/frames/index.js';
import type { EventLog, Station } from '../../src/station/index.js';
import { stationOfProcess } from '../harness/process-station.js';
import { FACES, type FaceName, type PluggedBody, plugIn } from './ptp/plugged-body.js';

let into = '';
let plugged: PluggedBody | undefined;
let station: Station | undefined;
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await station?.close();
  station = undefined;
  await plugged?.remove();
  plugged = undefined;
  await rm(into, { recursive: true, force: true });
});

interface Met {
  readonly body: PracticeBody;
  /** As the body stood before anybody connected to it. */
  readonly before: PracticeState;
  readonly station: Station;
  readonly events: EventLog;
}

async function meet(face: FaceName): Promise<Met> {
  plugged = await plugIn(face);
  const { body, environment } = plugged;
  await body.change('target', 'card');
  await body.change('mode', 'aperture');
  const before = { ...body.state };
  const { station: made, events } = stationOfProcess(into, environment);
  station = made;
  await station.look();
  expect(station.problem).toBeNull();
  return { body, before, station: made, events };
}

/** @returns Tv in EV that the files of the set recorded, in the order of the set */
async function recordedIn(events: EventLog): Promise<number[]> {
  const folder = events.state.run?.folder ?? '';
  const record = setRecordSchema.parse(JSON.parse(await readFile(path.join(folder, 'set.json'), 'utf8')));
  expect(record).toMatchObject({ complete: true, mode: 'aperture', notPutBack: [] });
  expect(record.frames.every(({ baseMoved }) => baseMoved === null)).toBe(true);
  expect((await checkSet(folder)).findings).toEqual([]);
  const tvs: number[] = [];
  for (const { file } of record.frames)
    tvs.push(recordedTv((await readRecorded(path.join(folder, file ?? ''))).exposureTime) ?? Number.NaN);
  return tvs;
}

/** From the darkest to the brightest, one stop apart each. */
function mustBeEven(tvs: readonly number[]): void {
  for (const [index, tv] of tvs.entries()) expect(tv).toBeCloseTo((tvs[0] ?? Number.NaN) - index, 9);
}

/** A single frame goes no farther than compensation does. */
const SINGLY: readonly FaceName[] = ['hidden', 'standard'];

describe.each(FACES)('the virtual body %s in aperture priority', (face) => {
  it('seven frames and nine, 1 EV apart, whatever base was written, or none: every file records its exposure', async () => {
    const { body, before, station, events } = await meet(face);
    const reach = Math.max(...body.choices.compensation) / 6;
    const fires = async (frames: number, base?: string) => {
      const asked = { frames, step: 1, mode: 'aperture' as const, ...(base === undefined ? {} : { base }) };
      if (SINGLY.includes(face) && (frames - 1) / 2 > reach) {
        await expect(station.start(asked)).rejects.toMatchObject({ code: 'outside-compensation-range' });
        return;
      }
      expect(station.plan(asked).offsets).toHaveLength(frames);
      await station.start(asked);
      await station.settled();
      expect(events.state.run?.sentence).toMatch(new RegExp(`^All ${frames} frames are verified`));
      const tvs = await recordedIn(events);
      expect(tvs).toHaveLength(frames);
      mustBeEven(tvs);
    };
    await fires(7, '1/57');
    await fires(9, '1/4000');
    expect(body.shots.some(({ clamped }) => clamped)).toBe(false);
    // So light that the darkest frames come near to the shortest time.
    body.moveLight(sixths(8));
    await fires(7);
    await station.close();
    expect({ ...body.state }).toEqual(before);
  }, 120_000);
});

describe('times beyond the labels that can be told apart', () => {
  it('are not the end of the range: a first frame at 1/6400 s counts', async () => {
    const { body, station, events } = await meet('standard');
    await body.release();
    const [{ tv = 0 } = {}] = body.shots;
    // The darkest frame comes first, at 1/6400 s. Its label is that of its neighbours.
    body.moveLight(sixths(76 - 18 - tv));
    await station.start({ frames: 7, step: 1, mode: 'aperture' });
    await station.settled();
    expect(events.state.run?.sentence).toMatch(/^All 7 frames are verified/);
    const tvs = await recordedIn(events);
    mustBeEven(tvs);
    expect(Math.max(...body.shots.map((shot) => shot.tv))).toBe(76);
  }, 60_000);
});
