// Frames beyond the longest label over the direct way: bodies of which 1 s is the longest label, so that a few seconds are bulb already.
// What the shutter did is what the body says; what was held, is the camera process's own timer.
import { mkdtemp, readdir, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { describe, expect, test } from 'vitest';
import { sixths } from '../../shared/ev.js';
import type { DaemonState } from '../../shared/state.js';
import { Body } from '../../src/camera/index.js';
import { LIFELIKE, type PracticeOptions } from '../../src/camera/practice/model.js';
import { planSet, resolveBase } from '../../src/plan/index.js';
import { isAlive, start } from '../built.js';
import { childOf } from '../child-of.js';
import { fireSet, recordIn } from '../harness/set.js';
import { type LinkedBody, withLinkedBody } from './linked-body.js';
import { type FaceName, plugIn } from './ptp/plugged-body.js';

const ONE_SECOND = { longestTv: sixths(0), timing: LIFELIKE } satisfies Partial<PracticeOptions>;

const directly = (
  face: FaceName,
  during: (linked: LinkedBody) => Promise<void>,
  more: Partial<PracticeOptions> = {},
) => withLinkedBody(face, during, { way: 'direct', ...ONE_SECOND, ...more });

/** Frames of 1, 2 and 4 s. */
const planOf = (body: Body) =>
  planSet(
    {
      ...{ offsets: [0, 6, 12].map(sixths), step: sixths(6), mode: 'manual' },
      base: resolveBase('1', body.limits),
    },
    body.limits,
  );

describe.each(['amount', 'pattern', 'drive-entry'] as const)('%s, reached directly', (face) => {
  test('has times of up to a quarter of an hour', () =>
    directly(face, async ({ link }) => {
      const { limits } = await Body.meet(link);
      const held = limits.shutters.filter(({ bulb }) => bulb);
      expect(held.length).toBe(29);
      expect(held[0]?.seconds).toBeCloseTo(812.75, 1);
      expect(limits.longestSeconds).toBe(900);
    }));

  test('makes frames by bulb, each as long as it was asked for, and stands as it was found', () =>
    directly(face, async ({ link, body: practice, into }) => {
      const body = await Body.meet(link);
      await body.keepOnCard();
      const found = { ...practice.state };
      const { state, record, run } = await fireSet(into, { body, plan: planOf(body) });
      expect(run.error).toBe(null);
      expect(state).toBe('complete');
      // Held from the press on: what the body takes to open is missing. On a busy computer one may be held too long, and is made again.
      const open = practice.shots.flatMap(({ openSeconds }) => openSeconds ?? []);
      for (const seconds of [2, 4])
        expect(open.filter((one) => one > seconds - 0.2 && one < seconds + 0.2)).toHaveLength(1);
      expect(record?.frames.map((frame) => frame.state)).toEqual(Array(3).fill('verified'));
      for (const { reason } of record?.setAside ?? []) expect(reason).toMatch(/^The time is /);
      expect(record?.strays).toEqual([]);
      expect({ ...practice.state }).toEqual(found);
    }));

  test('is waited for while it takes dark frames', () =>
    directly(face, async ({ link, body: practice, into }) => {
      await practice.change('noiseReduction', 'on');
      const body = await Body.meet(link);
      const { state, record, run } = await fireSet(into, { body, plan: planOf(body) });
      expect(run.error).toBe(null);
      expect(state).toBe('complete');
      expect(record?.strays).toEqual([]);
      for (const { reason } of record?.setAside ?? []) expect(reason).toMatch(/^The time is /);
    }));
});

test.each(['hidden', 'standard', 'drive-entry-leaping', 'drive-entry-walking'] as const)(
  '%s has no such frames',
  (face) =>
    directly(face, async ({ link }) => {
      const { limits } = await Body.meet(link);
      expect(limits.shutters.some(({ bulb }) => bulb)).toBe(false);
    }),
);

describe('the daemon is killed in the middle of an exposure', () => {
  const serve = async (root: string, env: Readonly<Record<string, string>>) => {
    const args = ['--body', 'usb', '--link', 'direct', '--port', '0', '--resume', 'always'];
    const daemon = start(['serve', ...args, '--into', path.join(root, 'sets')], env);
    const [, address = ''] = await daemon.until(/Panel: (http:[^\s"]+)/);
    const state = async () =>
      ((await (await fetch(`${address}/api/state`)).json()) as { state: DaemonState }).state;
    await expect.poll(async () => (await state()).body.state, { timeout: 60_000 }).toBe('ready');
    return { daemon, address, state };
  };

  test.each([
    ['amount', 'while it is still open'],
    ['pattern', 'while it is still open'],
    ['amount', 'once it is closed'],
  ] as const)(
    '%s: it ends in time, and the next one, started %s, finds its file on the card',
    async (face, when) => {
      const root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-killed-'));
      const plugged = await plugIn(face, ONE_SECOND);
      const { body: practice } = plugged;
      await practice.change('target', 'card');
      const env = { ...plugged.environment, XDG_STATE_HOME: path.join(root, 'state') };
      let last: { signal(name: NodeJS.Signals): void; ended: Promise<unknown> } | undefined;
      try {
        const first = await serve(root, env);
        last = first.daemon;
        const body = JSON.stringify({ from: 1, to: 3, step: 1, base: '1' });
        const headers = { 'content-type': 'application/json' };
        const begun = await fetch(`${first.address}/api/run`, { method: 'POST', headers, body });
        expect(begun.ok).toBe(true);
        // The second frame, of 4 s.
        await expect
          .poll(() => practice.shots.length === 1 && practice.isHeld, { timeout: 30_000, interval: 20 })
          .toBe(true);
        await new Promise((resolve) => setTimeout(resolve, 800));
        const camera = await childOf(first.daemon);
        first.daemon.signal('SIGKILL');
        await first.daemon.ended;
        expect(practice.isHeld).toBe(true);
        if (when === 'once it is closed') {
          await expect.poll(() => isAlive(camera), { timeout: 10_000 }).toBe(false);
          await expect.poll(() => practice.shots.length, { timeout: 10_000 }).toBe(2);
        }
        const second = await serve(root, env);
        last = second.daemon;
        await expect
          .poll(async () => (await second.state()).run?.endedAt ?? null, { timeout: 60_000 })
          .not.toBe(null);
        expect(isAlive(camera)).toBe(false);
        const { run } = await second.state();
        expect(run?.sentence).toMatch(/^All 3 frames are verified/);
        // 2, 4 and 8 s: none was fired twice, and the one that was open lasted as long as it should.
        const open = practice.shots.map(({ openSeconds = 0 }) => openSeconds);
        expect(open[1]).toBeGreaterThan(3.8);
        expect(open[1]).toBeLessThan(4.2);
        expect(open.filter((seconds) => seconds > 3 && seconds < 6)).toHaveLength(1);
        const [set = ''] = await readdir(path.join(root, 'sets'));
        const record = await recordIn(path.join(root, 'sets', set));
        expect(record?.frames[1]?.attempts).toBe(1);
        // The body may tell once more of the file that nobody had heard of.
        for (const { reason } of record?.setAside ?? [])
          expect(reason).toBe('It had been waiting in the camera since before this release.');
        expect(practice.state.shutter).toBe(36);
      } finally {
        last?.signal('SIGINT');
        await last?.ended;
        await plugged.remove();
        await rm(root, { recursive: true, force: true });
      }
    },
    120_000,
  );
});
