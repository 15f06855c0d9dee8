// Sets with frames beyond the longest label, over the practice body in this process: its exposures pass a thousand times as fast, so that
// 15 minutes are not waited for. The truth is what the shutter did.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import { Body } from '../../src/camera/index.js';
import { PracticeBody } from '../../src/camera/practice/model.js';
import { PRACTICE_SHAPES, type PracticeOptions } from '../../src/camera/practice/shapes.js';
import { planSet, resolveBase } from '../../src/plan/index.js';
import { ApartTestLink } from '../harness/links.js';
import { fireSet, prepareSet } from '../harness/set.js';

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(into, { recursive: true, force: true });
});

const QUICK = { change: 0, changePerSetting: 0, releaseLag: 0.01, cycle: 0.02, exposureScale: 0.001 };

async function met(options: Partial<PracticeOptions> = {}) {
  const practice = new PracticeBody({ timing: QUICK, picture: 'small', ...options });
  const link = new ApartTestLink(practice);
  return { practice, link, body: await Body.meet(link) };
}

/** Frames a whole EV apart, from the base on. */
const planOf = (body: Body, base: string, frames: number, from = 0) => {
  const offsets = Array.from({ length: frames }, (_, index) => sixths((from + index) * 6));
  return planSet(
    { offsets, step: sixths(6), mode: 'manual', base: resolveBase(base, body.limits) },
    body.limits,
  );
};

const WITH_BULB = PRACTICE_SHAPES.filter((shape) => shape !== 'none');

describe.each(WITH_BULB)('a body of the shape %s', (shape) => {
  it('makes frames of up to a quarter of an hour, each held for its exact time, and stands as it was found', async () => {
    const { practice, body } = await met({ shape });
    const found = { ...practice.state };
    // 25.4 s by its label; 50.8, 102, 203, 406 and 813 s.
    const plan = planOf(body, '25', 6);
    const { state, record, run } = await fireSet(into, { body, plan });
    expect(run.error).toBe(null);
    expect(state).toBe('complete');
    const seconds = plan.passes.flatMap(({ frames }) => frames.map(({ shutter }) => shutter.seconds));
    const open = practice.shots.map(({ openSeconds }) => openSeconds ?? null);
    expect([...open].sort()).toEqual([null, ...seconds.slice(1)].sort());
    expect(record?.frames.map((frame) => frame.state)).toEqual(Array(6).fill('verified'));
    // The scene of the practice body is brighter than any of them.
    const marks = record?.frames.flatMap((frame) => frame.marks.map(({ code }) => code)) ?? [];
    expect(marks.filter((code) => !code.startsWith('clipped'))).toEqual([]);
    expect(record?.frames.at(-1)?.recorded?.exposureTime).toBeCloseTo(812.75, 0);
    expect(record?.setAside).toEqual([]);
    expect(record?.strays).toEqual([]);
    expect({ ...practice.state }).toEqual(found);
  });

  it('brackets what it has labels for, and no frame beyond', async () => {
    const { practice, body } = await met({ shape });
    const { state, run } = await fireSet(into, { body, plan: planOf(body, '4', 9, -3) });
    expect(run.error).toBe(null);
    expect(state).toBe('complete');
    expect(practice.shots).toHaveLength(9);
    for (const { openSeconds, bracketPosition } of practice.shots)
      if (openSeconds !== undefined) expect(bracketPosition).toBe(0);
    expect(practice.shots.filter(({ openSeconds }) => openSeconds !== undefined)).toHaveLength(2);
  });

  it('is waited for while it takes its dark frame', async () => {
    const { practice, body } = await met({ shape });
    await practice.change('noiseReduction', 'on');
    const began = performance.now();
    const { state } = await fireSet(into, { body, plan: planOf(body, '25', 6) });
    expect(state).toBe('complete');
    // Twice 1600 s, a thousand times as fast.
    expect(performance.now() - began).toBeGreaterThan(3190);
  });
});

it('both files of a frame come', async () => {
  const { practice, link } = await met();
  await practice.change('format', 'raw-and-jpeg');
  const body = await Body.meet(link);
  const { state, record, run } = await fireSet(into, {
    body,
    plan: planOf(body, '30', 2),
    patienceMs: 20_000,
  });
  expect(run.error).toBe(null);
  expect(state).toBe('complete');
  expect(record?.frames.map(({ partner }) => partner?.state)).toEqual(['there', 'there']);
});

it('a frame that was not held long enough is set aside, and made again', async () => {
  const { practice, link, body } = await met();
  link.beforePress = (count) => {
    // Somebody presses the button on the camera, which closes the shutter.
    if (count === 2) setTimeout(() => practice.letGo(), 40);
  };
  const { state, record } = await fireSet(into, { body, plan: planOf(body, '30', 3) });
  expect(state).toBe('complete');
  expect(practice.shots).toHaveLength(4);
  expect(record?.setAside).toHaveLength(1);
  expect(record?.frames.map(({ attempts }) => attempts)).toEqual([1, 2, 1]);
});

it('a body that answers an error to being let go has not lost its frame, and goes on', async () => {
  const { practice, link, body } = await met();
  link.unpress = async () => {
    throw new EvenrungError('internal', 'It says that no bulb exposure is open.');
  };
  const { state, record } = await fireSet(into, { body, plan: planOf(body, '30', 3) });
  expect(state).toBe('complete');
  expect(practice.shots).toHaveLength(3);
  expect(record?.strays).toEqual([]);
});

it('a link that is lost in the middle is met again, its shutter closed, and the frame fired again', async () => {
  const { practice, link, body } = await met({ timing: { ...QUICK, exposureScale: 0.01 } });
  let isLost = false;
  link.hear = (heard) => {
    if (isLost || !practice.isHeld || !practice.isBulb) return heard;
    isLost = true;
    throw new EvenrungError('body-lost', 'The cable was pulled.');
  };
  const { state, record, run } = await fireSet(into, {
    body,
    plan: planOf(body, '30', 2),
    patienceMs: 20_000,
  });
  expect(run.error).toBe(null);
  expect(isLost).toBe(true);
  expect(link.changes).toContain('bulb=off');
  expect(state).toBe('complete');
  // What it became is on the card, and no frame.
  expect(practice.shots).toHaveLength(3);
  expect(record?.setAside).toHaveLength(1);
  expect(record?.frames.map((frame) => frame.state)).toEqual(['verified', 'verified']);
});

describe('somebody stops the set while the shutter is open', () => {
  // 100 times as fast: the longest lasts 8 s.
  const SLOWER = { ...QUICK, exposureScale: 0.01 };
  const openFor = (practice: PracticeBody, ms: number) =>
    new Promise<void>((resolve) => {
      const look = () => (practice.isHeld ? setTimeout(resolve, ms) : setTimeout(look, 5));
      look();
    });

  it('for long: it is closed at once, the set is stopped, and the frame is not kept as one', async () => {
    const { practice, body } = await met({ timing: SLOWER });
    const { run, folder } = await prepareSet(into, { body, plan: planOf(body, '25', 2, 4) });
    const ended = run.carryOut();
    await openFor(practice, 300);
    const stoppedAt = performance.now();
    run.stop();
    const { state } = await ended;
    expect(performance.now() - stoppedAt).toBeLessThan(2000);
    expect(state).toBe('stopped');
    expect(practice.shots).toHaveLength(1);
    expect(practice.shots[0]?.openSeconds).toBeLessThan(200);
    expect(practice.state.shutter).toBe(36);
    expect(run.view.frames.map((frame) => frame.state)).toEqual(['rejected', 'planned']);
    expect(run.view.notes).toContain('The last exposure was cut short, because the set was stopped.');
    expect(folder).toBeDefined();
  });

  it('for a moment longer: it becomes a whole frame', async () => {
    // A body of which 1 s is the longest label.
    const practice = new PracticeBody({
      timing: { ...QUICK, exposureScale: 1 },
      picture: 'small',
      longestTv: sixths(0),
    });
    const body = await Body.meet(new ApartTestLink(practice));
    const { run } = await prepareSet(into, { body, plan: planOf(body, '1', 2, 1) });
    const ended = run.carryOut();
    await openFor(practice, 100);
    run.stop();
    const { state } = await ended;
    expect(state).toBe('stopped');
    expect(run.view.frames.map((frame) => frame.state)).toEqual(['verified', 'planned']);
    expect(practice.shots[0]?.openSeconds).toBeGreaterThan(1.9);
  });

  it('holding waits for its end', async () => {
    const { practice, body } = await met();
    const { run } = await prepareSet(into, { body, plan: planOf(body, '25', 2, 3) });
    const ended = run.carryOut();
    await openFor(practice, 20);
    run.hold();
    await new Promise((resolve) => setTimeout(resolve, 800));
    expect(run.view.state).toBe('held');
    expect(run.view.frames.map((frame) => frame.state)).toEqual(['verified', 'planned']);
    run.letGo();
    expect((await ended).state).toBe('complete');
  });
});

it('a link that releases and fetches at once has no such frames', async () => {
  const practice = new PracticeBody({ timing: QUICK, picture: 'small' });
  const { PracticeLink } = await import('../../src/camera/practice/practice-link.js');
  const body = await Body.meet(new PracticeLink(practice));
  expect(body.limits.shutters.some(({ bulb }) => bulb)).toBe(false);
  expect(() => planOf(body, '25', 3)).toThrow(/outside this camera's 30 s to/);
});
