// `learn` over practice bodies whose shape is known: what it finds out from outside is compared with the truth.
import { mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { bodyProfileSchema } from '../../shared/profile.js';
import { learnBody } from '../../src/bodies/learn.js';
import { mostFrames } from '../../src/bodies/lesson.js';
import { Body, type FiredFrame, type FireOptions } from '../../src/camera/index.js';
import { AT_ONCE, NO_TIME, PracticeBody, type PracticeOptions } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { ASKED } from '../asked.js';
import { PACED, pace } from '../pace.js';

let folder = '';
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-learn-'));
});
afterEach(async () => {
  await rm(folder, { recursive: true, force: true });
});

async function learn(options: Partial<PracticeOptions>) {
  const body = new PracticeBody({ ...AT_ONCE, ...options });
  const before = { ...body.state };
  const met = await Body.meet(new PracticeLink(body));
  const { profile, trouble } = await learnBody(met, ASKED, folder, { longestSeconds: 0 });
  expect(trouble).toBeNull();
  expect(bodyProfileSchema.parse(profile)).toEqual(profile);
  expect({ ...body.state }).toEqual(before);
  expect(await readdir(folder)).toEqual([]);
  expect(body.shots.length).toBeLessThanOrEqual(mostFrames(met));
  return { body, met, profile };
}

/** Makes a link refuse one value of one setting. */
function refusing(link: PracticeLink, name: string, value: string, from = () => true) {
  const { changeSetting } = link;
  link.changeSetting = async (of, to) => {
    if (of === name && to === value && from())
      throw new EvenrungError('setting-not-taken', 'It does not take it.');
    return changeSetting.call(link, of, to);
  };
  return {
    stop: () => {
      link.changeSetting = changeSetting;
    },
  };
}

const sortedList = (patterns: readonly (readonly number[])[] = []) => patterns.map((p) => p.join()).sort();

describe('the bracket of dialect A, which the wire does not tell', () => {
  it.each([
    [[0, -1, 1]],
    [[-1, 0, 1]],
    [[0, 1, -1]],
    [[0, 1]],
    [[0, -1]],
    [[-2, -1, 0, 1, 2]],
    [[0, -1, 1, -2, 2]],
    [[0, -3, -2, -1, 1, 2, 3]],
    [[0, -4, -3, -2, -1, 1, 2, 3, 4]],
  ])('%j: count and order', async (pattern) => {
    const { profile, body, met } = await learn({ shape: 'amount', patterns: [pattern] });
    expect(profile.patterns).toEqual([pattern]);
    expect(profile.restarts).toBe(true);
    // The next meeting plans with it.
    const again = await Body.meet(new PracticeLink(body), { profile: async () => profile });
    expect(new Set(again.limits.brackets.map((shape) => shape.pattern.join()))).toEqual(
      new Set([pattern.join()]),
    );
    expect(again.limits.brackets.map(({ step }) => step)).toEqual(
      met.limits.brackets.map(({ step }) => step),
    );
    expect(again.contradictions).toEqual([]);
  });
});

describe('what else the wire does not tell', () => {
  it('the order of every bracket of dialects B and C', async () => {
    for (const shape of ['pattern', 'drive-entry'] as const) {
      const { profile, body } = await learn({ shape });
      expect(sortedList(profile.patterns)).toEqual(sortedList(body.options.patterns));
    }
  });

  it('a body that locks step and pattern while its bracket is off, and is left as found all the same', async () => {
    const { profile, body } = await learn({ shape: 'pattern', locksWhileOff: true });
    expect(sortedList(profile.patterns)).toEqual(sortedList(body.options.patterns));
  });

  it('a body that goes on in the middle of its bracket', async () => {
    const { profile } = await learn({ shape: 'amount', restarts: false });
    expect(profile).toMatchObject({ restarts: false, patterns: [[0, -1, 1]] });
  });

  it('what becomes of frames beyond the shortest time', async () => {
    expect((await learn({ shape: 'amount' })).profile.beyondRange).toBe('clamped');
    expect((await learn({ shape: 'amount', beyondRange: 'refused' })).profile.beyondRange).toBe('refused');
  });

  it('no auto-bracket: only times', async () => {
    const { profile } = await learn({ shape: 'none' });
    expect(profile.patterns).toBeUndefined();
    expect(profile.restarts).toBeUndefined();
    expect(profile.timing).toBeDefined();
  });

  it('times: a change, a setting on the way, a frame, and a long exposure', PACED, async () => {
    const timing = {
      change: 0.05,
      changePerSetting: 0.02,
      releaseLag: 0.05,
      cycle: 0.3,
      exposureScale: 1,
    };
    const body = new PracticeBody({ ...AT_ONCE, shape: 'none', timing });
    const met = await Body.meet(new PracticeLink(body));
    const { profile } = await learnBody(met, ASKED, folder, { longestSeconds: 1 });
    const { timing: learnt, longTime, noiseReduction } = profile;
    expect(learnt?.secondsPerChange).toBeGreaterThan(0.04);
    pace('learnt: a change', learnt?.secondsPerChange ?? Number.NaN, 's', 0.09);
    expect(learnt?.secondsPerSetting).toBeGreaterThan(0);
    pace('learnt: a setting', learnt?.secondsPerSetting ?? Number.NaN, 's', 0.035, 0.015);
    expect(learnt?.secondsPerFrame).toBeGreaterThan(0.33);
    pace('learnt: a frame', learnt?.secondsPerFrame ?? Number.NaN, 's', 0.8);
    expect(longTime?.shutter).toBe('1');
    expect(longTime?.seconds).toBeGreaterThan(0.9);
    pace('learnt: a long time', longTime?.seconds ?? Number.NaN, 's', 1.3);
    expect(noiseReduction).toBe(false);
  });

  /** A body whose every file is another one than the frame that was fired. */
  const learnFrom = async (change: (fired: FiredFrame, count: number) => Promise<void>, timing = NO_TIME) => {
    const body = new PracticeBody({ shape: 'none', ...AT_ONCE, timing });
    const link = new (class extends PracticeLink {
      private count = 0;
      override async fire(options: FireOptions): Promise<FiredFrame> {
        const fired = await super.fire(options);
        this.count += 1;
        await change(fired, this.count);
        return fired;
      }
    })(body);
    const before = { ...body.state };
    const met = await Body.meet(link);
    const learning = learnBody(met, ASKED, folder, { longestSeconds: 1 });
    const error = await learning.then(
      () => null,
      (cause: EvenrungError) => cause,
    );
    expect(body.state).toEqual(before);
    return error;
  };

  it('the same picture again and again is not believed', async () => {
    let first: Buffer | null = null;
    const error = await learnFrom(async ({ path: file }) => {
      first ??= await readFile(file);
      await writeFile(file, first);
    });
    expect(error?.code).toBe('not-learnt');
    expect(error?.message).toContain('the same picture twice');
  });

  it('a file that records another time than was set is not believed', async () => {
    const other = await new PracticeBody({ shape: 'none', ...AT_ONCE });
    const error = await learnFrom(async ({ path: file }) => {
      const [made] = await other.release();
      await writeFile(file, made?.content ?? '');
    });
    expect(error?.code).toBe('not-learnt');
    expect(error?.message).toMatch(/A frame does not record what was set\. The time is 1\/60 s, but/);
  });

  it('an exposure that is over before its time is not believed', async () => {
    const error = await learnFrom(async () => undefined, { ...NO_TIME, exposureScale: 0.02 });
    expect(error?.code).toBe('not-learnt');
    expect(error?.message).toMatch(/^An exposure of 1 s was over after 0\.[0-4]\d* s/);
  });

  it('a dark frame after a long exposure', PACED, async () => {
    const body = new PracticeBody({ shape: 'pattern', ...AT_ONCE, timing: { ...NO_TIME, exposureScale: 1 } });
    await body.change('noiseReduction', 'on');
    const met = await Body.meet(new PracticeLink(body));
    const { profile } = await learnBody(met, ASKED, folder, { longestSeconds: 1 });
    const { longTime, noiseReduction } = profile;
    expect(noiseReduction).toBe(true);
    expect(longTime?.shutter).toBe('1');
    expect(longTime?.seconds).toBeGreaterThan(0.9);
    pace('learnt: a long time and a dark frame', longTime?.seconds ?? Number.NaN, 's', 1.4);
  });
});

describe('what cannot be learnt is said, and the body is left as found', () => {
  it('a bracket that moves something else than the shutter', async () => {
    const body = new PracticeBody({ shape: 'amount', ...AT_ONCE, patterns: [[0, 0, 0]] });
    const before = { ...body.state };
    const met = await Body.meet(new PracticeLink(body));
    await expect(learnBody(met, ASKED, folder)).rejects.toMatchObject({
      code: 'not-learnt',
      message: expect.stringContaining('does not move the shutter'),
    });
    expect({ ...body.state }).toEqual(before);
  });

  it('a body that is not ready', async () => {
    const body = new PracticeBody({ shape: 'amount', ...AT_ONCE });
    await body.change('mode', 'aperture');
    const met = await Body.meet(new PracticeLink(body));
    await expect(learnBody(met, ASKED, folder)).rejects.toMatchObject({ code: 'body-not-ready' });
    expect(body.shots).toHaveLength(0);
  });

  it('settings that cannot be put back: what was learnt is kept, and it is said', async () => {
    const body = new PracticeBody({ shape: 'amount', ...AT_ONCE });
    const link = new PracticeLink(body);
    const refuse = refusing(link, 'shutterspeed', '1/60');
    const met = await Body.meet(link);
    const { profile, trouble } = await learnBody(met, ASKED, folder, { longestSeconds: 0 });
    expect(profile.patterns).toEqual([[0, -1, 1]]);
    expect(trouble).toMatch(/could not be put back: shutterspeed to 1\/60/);
    refuse.stop();
    await met.putBack();
    expect(body.state.shutter).toBe(36);
  });

  it('stopped, and settings cannot be put back: that is said, not that all is as found', async () => {
    const body = new PracticeBody({ shape: 'amount', ...AT_ONCE });
    const link = new PracticeLink(body);
    refusing(link, 'aeb', 'off', () => body.shots.length >= 2);
    const met = await Body.meet(link);
    const stopping = () => body.shots.length >= 2;
    await expect(learnBody(met, ASKED, folder, { stopping })).rejects.toMatchObject({
      code: 'not-put-back',
      message: expect.stringMatching(/stopped; nothing was saved\. .*aeb to off/),
    });
  });

  it('keeps the room that somebody wrote into the profile: no lesson measures it', async () => {
    const room = { above: 3.2, below: 5 };
    const link = new PracticeLink(new PracticeBody({ shape: 'amount', ...AT_ONCE }));
    const met = await Body.meet(link, {
      profile: async ({ model, serial }) => bodyProfileSchema.parse({ version: 1, model, serial, room }),
    });
    const { profile } = await learnBody(met, ASKED, folder, { longestSeconds: 0 });
    expect(profile).toMatchObject({ room, patterns: [[0, -1, 1]] });
  });

  it('stopped in the middle', async () => {
    const body = new PracticeBody({ shape: 'pattern', ...AT_ONCE });
    const before = { ...body.state };
    const met = await Body.meet(new PracticeLink(body));
    const stopping = () => body.shots.length >= 5;
    await expect(learnBody(met, ASKED, folder, { stopping })).rejects.toMatchObject({ code: 'ending' });
    expect(body.shots).toHaveLength(5);
    expect({ ...body.state }).toEqual(before);
  });
});
