// What every link does, whichever body is behind it: the practice body reached directly in each of its shapes, and each
// virtual body through camera process, binding and library. One suite for all, with the truth taken from the body itself.
import { mkdtemp, readdir, rm, stat } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { Body, type Link, type LinkWay } from '../../src/camera/index.js';
import {
  AT_ONCE,
  PRACTICE_SHAPES,
  PracticeBody,
  type PracticeShape,
} from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { toEv } from '../../src/exposure/index.js';
import { readRecorded, recordedTv } from '../../src/frames/index.js';
import { ASKED } from '../asked.js';
import { WAYS, withLinkedBody } from './linked-body.js';
import type { FaceName } from './ptp/plugged-body.js';

interface Subject {
  readonly link: Link;
  readonly body: PracticeBody;
  readonly into: string;
}

type WithSubject = (during: (subject: Subject) => Promise<void>) => Promise<void>;

const inHere =
  (shape: PracticeShape): WithSubject =>
  async (during) => {
    const into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-contract-'));
    try {
      const body = new PracticeBody({ shape, ...AT_ONCE });
      await during({ body, link: new PracticeLink(body), into });
    } finally {
      await rm(into, { recursive: true, force: true });
    }
  };

const wired =
  (face: FaceName, way: LinkWay): WithSubject =>
  (during) =>
    withLinkedBody(face, ({ body, link, into }) => during({ body, link, into }), { way });

const shapeOf: Readonly<Record<FaceName, PracticeShape>> = {
  amount: 'amount',
  pattern: 'pattern',
  'drive-entry': 'drive-entry',
  'drive-entry-leaping': 'drive-entry',
  'drive-entry-walking': 'drive-entry',
  hidden: 'none',
  standard: 'none',
};
const FACES = Object.keys(shapeOf) as FaceName[];

const SUBJECTS: readonly { name: string; shape: PracticeShape; withSubject: WithSubject }[] = [
  ...PRACTICE_SHAPES.map((shape) => ({ name: `practice, ${shape}`, shape, withSubject: inHere(shape) })),
  ...WAYS.flatMap((way) =>
    FACES.map((face) => ({ name: `${way}, ${face}`, shape: shapeOf[face], withSubject: wired(face, way) })),
  ),
];

const EV = 6;

describe.each(SUBJECTS)('a link to a body ($name)', ({ shape, withSubject }) => {
  it('says who the body is, and its settings by bare names, each within its choices', () =>
    withSubject(async ({ link, body }) => {
      expect(await link.identify()).toMatchObject({ model: body.model, serial: body.options.serial });
      const settings = await link.readSettings();
      expect(settings.size).toBeGreaterThan(8);
      for (const [name, setting] of settings) {
        expect(name).toMatch(/^[a-z0-9-]+$/);
        expect(setting.name).toBe(name);
      }
      // Beside those the library has settings of its own, whose values it writes otherwise than their choices.
      for (const name of ['shutterspeed', 'iso', 'exposurecompensation', 'whitebalance', 'focusmode']) {
        const { choices = [], value } = settings.get(name) ?? { value: '' };
        expect([name, choices.includes(value)]).toEqual([name, true]);
      }
      const limits = await link.readLimits();
      expect(limits.longestSeconds).toBeGreaterThanOrEqual(30);
      expect(limits.secondsPerChange).toBeGreaterThanOrEqual(0);
    }));

  it('takes what is offered, also what is set already, and refuses the rest without changing anything', () =>
    withSubject(async ({ link, body }) => {
      const before = { ...body.state };
      const offered = (await link.readSettings()).get('iso');
      const other = offered?.choices?.find((label) => label === '400') ?? '';
      expect((await link.changeSetting('iso', other)).value).toBe('400');
      expect(body.state.iso).toBe(400);
      expect((await link.changeSetting('iso', '400')).value).toBe('400');
      expect((await link.readSettings()).get('iso')?.value).toBe('400');
      await link.changeSetting('iso', '100');
      await expect(link.changeSetting('iso', '3')).rejects.toMatchObject({ code: 'choice-not-offered' });
      await expect(link.changeSetting('iso', '')).rejects.toMatchObject({ code: 'choice-not-offered' });
      await expect(link.changeSetting('no-such-setting', '1')).rejects.toMatchObject({
        code: 'unknown-setting',
      });
      // The library moves the target while it is connected.
      expect({ ...body.state, target: before.target }).toEqual(before);
    }));

  it('fires one frame, whose file records what the shutter did; nothing is fired where it could not be stored', () =>
    withSubject(async ({ link, body, into }) => {
      await expect(
        link.fire({ into: path.join(into, 'not-there'), exposureSeconds: 1 / 60 }),
      ).rejects.toMatchObject({ code: 'storing-failed' });
      expect(body.shots).toHaveLength(0);
      const fired = await link.fire({ into, exposureSeconds: 1 / 60 });
      expect(path.dirname(fired.path)).toBe(into);
      expect((await stat(fired.path)).size).toBeGreaterThan(1000);
      expect(await readdir(into)).toEqual([path.basename(fired.path)]);
      expect(body.shots).toHaveLength(1);
      const recorded = await readRecorded(fired.path);
      expect(recordedTv(recorded.exposureTime)).toBe(body.shots.map(({ tv }) => toEv(tv))[0]);
      expect(recorded).toMatchObject({ fNumber: 8, iso: 100 });
    }));

  it(`is a body of the shape ${shape}, with the limits that it has`, () =>
    withSubject(async ({ link, body }) => {
      const met = await Body.meet(link);
      const { limits } = met;
      const has = new Set(body.choices.shutter);
      expect(limits.shutters.length).toBeGreaterThan(25);
      // A time beyond them is made with bulb, which the body must have.
      for (const { tv, bulb } of limits.shutters) expect(has.has(bulb === true ? 'bulb' : tv)).toBe(true);
      const frames = (pattern: readonly number[]) => [...pattern].sort((a, b) => a - b).join();
      const offered = (inOneGo: boolean) =>
        limits.brackets
          .filter(({ isOneRelease = false }) => isOneRelease === inOneGo)
          .map(({ step, pattern }) => `${step}: ${frames(pattern)}`)
          .sort();
      expect([...new Set(offered(false))]).toEqual(offered(false));
      expect(offered(false)).toEqual(bracketsOf(body, 'each', frames).sort());
      // A whole bracket takes a link that takes release and fetch apart.
      const { apart } = await link.readLimits();
      expect(offered(true)).toEqual(apart === null ? [] : bracketsOf(body, 'all', frames).sort());
      expect(limits.compensation).toEqual({ range: 3 * EV, grid: 2 });
    }));

  it('fires a bracket turn by turn around a centre, and singly with the bracket off', () =>
    withSubject(async ({ link, body, into }) => {
      const met = await Body.meet(link);
      const before = { ...body.state };
      await met.makeReady(ASKED);
      const shutter = met.limits.shutters.find(({ tv }) => tv === 5 * EV);
      if (shutter === undefined) throw new Error('The body has no 1/30 s.');
      const centre = { by: 'shutter', shutter } as const;
      const longest = met.limits.brackets
        .filter(({ step, isOneRelease }) => step === EV && !isOneRelease)
        .sort((a, b) => b.pattern.length - a.pattern.length)[0];
      if (longest !== undefined) {
        await met.arm({ centre, shape: longest });
        for (const _ of longest.pattern) await met.fire({ into, exposureSeconds: 1 });
        const truth = body.shots.map(({ bracketPosition }) => bracketPosition);
        expect([...truth].sort()).toEqual([...longest.pattern].sort());
        expect(body.shots.map(({ tv }) => tv)).toEqual(truth.map((position) => 5 * EV - position * EV));
      }
      const fired = body.shots.length;
      await met.arm({ centre, shape: null });
      await met.fire({ into, exposureSeconds: 1 / 30 });
      expect(body.shots.slice(fired)).toEqual([{ tv: 5 * EV, bracketPosition: 0, clamped: false }]);
      await met.putBack();
      expect({ ...body.state, target: before.target }).toEqual(before);
    }));
});

/** The brackets that a body has and that are fired by a press for each frame, or by one for all of them. */
function bracketsOf(
  body: PracticeBody,
  press: 'each' | 'all',
  frames: (pattern: readonly number[]) => string,
): string[] {
  const { shape, steps, patterns } = body.options;
  switch (shape) {
    case 'none':
      return [];
    case 'drive-entry':
      return body.choices.drive.flatMap((drive) =>
        typeof drive === 'object' && drive.press === press ? [`${drive.step}: ${frames(drive.pattern)}`] : [],
      );
    default:
      return steps.flatMap((step) => patterns.map((pattern) => `${step}: ${frames(pattern)}`));
  }
}
