// A schedule on the command line: worked out without a body, fired to its end, stopped, halted; who is called then; and the question
// about a run that was cut off, at the terminal of the daemon.
import { mkdir, mkdtemp, readdir, readFile, rename, rm, writeFile } from 'node:fs/promises';
import http from 'node:http';
import type { AddressInfo } from 'node:net';
import os from 'node:os';
import path from 'node:path';
import { PassThrough } from 'node:stream';
import { setTimeout as pause } from 'node:timers/promises';
import { afterEach, beforeEach, describe, expect, it, onTestFinished } from 'vitest';
import { alarmSchema } from '../../shared/alarm.js';
import { EvenrungError } from '../../shared/errors.js';
import { parseRunRequest } from '../../shared/run-request.js';
import { readSetRecord } from '../../shared/set-record.js';
import {
  eventSchema,
  type ForeseenSchedule,
  foreseenScheduleSchema,
  type LineSet,
  type NumberedEvent,
  type ScheduleView,
  type Unfinished,
} from '../../shared/state.js';
import type { Watch, WatchMark } from '../../shared/watch.js';
import { ask } from '../../src/commands/ask-terminal.js';
import { readConfig } from '../../src/commands/options/config.js';
import { endedBeforeSunrise, writtenRunRequest } from '../../src/commands/options/run-options.js';
import { foreseenInWords, ScheduleTeller } from '../../src/commands/words/schedule-words.js';
import { EventLog } from '../../src/station/index.js';
import { run, type Started, start } from '../built.js';
import { PACED, pace } from '../pace.js';

let folder = '';
let into = '';
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  into = path.join(folder, 'sets');
});
afterEach(async () => {
  await rm(folder, { recursive: true, force: true });
});

/** A state and a config of its own. */
const own = (config: object | null = null) => {
  const env = { XDG_STATE_HOME: path.join(folder, 'state'), XDG_CONFIG_HOME: path.join(folder, 'config') };
  const file = path.join(env.XDG_CONFIG_HOME, 'evenrung', 'config.json');
  return mkdir(path.dirname(file), { recursive: true })
    .then(() => (config === null ? undefined : writeFile(file, JSON.stringify(config))))
    .then(() => env);
};

const codeOf = (work: () => unknown): string | null => {
  try {
    work();
    return null;
  } catch (cause) {
    return cause instanceof EvenrungError ? cause.code : String(cause);
  }
};

const NINE = { frames: '9', step: '1', base: '1/60', mode: 'manual' };
const LATER = '2026-06-21T21:36:00.000Z';

const FORESEEN: ForeseenSchedule = {
  schedule: {
    ...{ start: LATER, everySeconds: 240, count: 60, end: null, overrun: 'skip' },
    ...{ setSeconds: 7, place: null },
  },
  words: '60 sets, one every 4 min, from 2026-06-21 21:36 to about 2026-06-22 01:33.',
  estimate: { sets: 60, ends: '2026-06-22T01:33:00.000Z', actuations: 540, bytes: 12.96e9 },
  cautions: [{ sentence: `This schedule crosses sunrise. ${'It burns. '.repeat(12).trim()}`, until: null }],
};

const VIEW: ScheduleView = {
  ...FORESEEN,
  ...{ run: 'night', state: 'waiting', next: { index: 0, at: LATER }, begun: 0, complete: 0, missed: 0 },
  ...{ notes: [], sentence: null, error: null, endedAt: null, early: false },
};

describe('options', () => {
  it('become a request as it is written on the wire', () => {
    const written = writtenRunRequest({
      ...NINE,
      ...{ name: 'Boathouse', note: 'Dusk', viewpoint: '3' },
      ...{ every: '4min', until: 'sunrise-20min', start: 'sunset', place: '-33.9,151.2', overrun: 'follow' },
      ...{ maySleep: true, followLight: true, slowest: '8', fastest: '1/4000' },
      ...{ isoLeast: '100', isoMost: '3200', mostShift: '2/3' },
      ...{ followSpan: true, framesFewest: '5', framesMost: '15', framesChange: '1' },
    });
    expect(written).toMatchObject({
      ...{ frames: 9, name: 'Boathouse', note: 'Dusk', viewpoint: 3, maySleep: true },
      schedule: {
        ...{ every: '4min', until: 'sunrise-20min', start: 'sunset', place: '-33.9,151.2' },
        overrun: 'follow',
      },
      light: { slowest: '8', fastest: '1/4000', isoLeast: 100, isoMost: 3200, mostPerSet: '2/3' },
      followSpan: { fewestFrames: 5, mostFrames: 15, mostPerSet: 1 },
    });
    expect(parseRunRequest(written)).toMatchObject({
      schedule: { everySeconds: 240, place: { latitude: -33.9, longitude: 151.2 } },
      light: { isoMost: 3200, mostPerSet: 4 },
      followSpan: { fewestFrames: 5, mostFrames: 15, mostPerSet: 1 },
      labels: { viewpoint: '3' },
    });
    // A single set stays what it was.
    const single = writtenRunRequest(NINE);
    expect(Object.keys(single)).not.toContain('schedule');
    expect(parseRunRequest(single)).toMatchObject({ schedule: null, light: null, followSpan: null });
    // What is left out follows from the first set.
    expect(
      parseRunRequest(writtenRunRequest({ ...NINE, every: '4min', count: '3', followSpan: true })),
    ).toMatchObject({ followSpan: { fewestFrames: null, mostFrames: null, mostPerSet: 2 } });
  });

  it.each([
    [{ count: '3' }, 'malformed-request'],
    [{ until: 'dawn' }, 'malformed-request'],
    [{ start: 'dusk' }, 'malformed-request'],
    [{ place: '47.5N 8.5E' }, 'malformed-request'],
    [{ overrun: 'skip' }, 'malformed-request'],
    [{ stopBeforeSunrise: true }, 'malformed-request'],
    [{ maySleep: true }, 'malformed-request'],
    [{ followLight: true }, 'malformed-request'],
    [{ followSpan: true }, 'malformed-request'],
    [{ every: '4min', count: '3', framesMost: '13' }, 'malformed-request'],
    [{ every: '4min', count: '3', followSpan: true, framesMost: 'all' }, 'malformed-request'],
    [{ every: '4min', count: '3', followSpan: true, framesMost: '62' }, 'malformed-request'],
    [{ every: '4min', count: '3', followSpan: true, framesChange: '0' }, 'malformed-request'],
    [
      { every: '4min', count: '3', followSpan: true, framesFewest: '5', framesMost: '4' },
      'malformed-request',
    ],
    [{ every: '4min' }, 'unreadable-schedule'],
    [{ every: '4min', count: '3', until: 'dawn' }, 'unreadable-schedule'],
    [{ every: 'often', count: '3' }, 'unreadable-schedule'],
    [{ every: '4min', count: 'many' }, 'unreadable-schedule'],
    [{ every: '4min', count: '0' }, 'unreadable-schedule'],
    [{ every: '4min', until: 'soon' }, 'unreadable-schedule'],
    [{ every: '4min', count: '3', start: 'noonish' }, 'unreadable-schedule'],
    [{ every: '4min', count: '3', place: 'here' }, 'unreadable-schedule'],
    [{ every: '4min', count: '3', overrun: 'wait' }, 'unreadable-schedule'],
    [{ every: '4min', count: '3', stopBeforeSunrise: true }, 'schedule-impossible'],
    [{ every: '4min', count: '3', slowest: '8' }, 'malformed-request'],
    [{ every: '4min', count: '3', isoMost: '800' }, 'malformed-request'],
    [{ every: '4min', count: '3', followLight: true, isoMost: 'high' }, 'malformed-request'],
    [{ every: '4min', count: '3', followLight: true, isoLeast: '0' }, 'malformed-request'],
    [{ every: '4min', count: '3', followLight: true, isoLeast: '800', isoMost: '100' }, 'malformed-request'],
    [{ every: '4min', count: '3', followLight: true, mostShift: '9' }, 'malformed-request'],
    [{ every: '4min', count: '3', followLight: true, mode: 'aperture' }, 'malformed-request'],
    [{ viewpoint: 'west door' }, 'malformed-request'],
    [{ viewpoint: '0' }, 'malformed-request'],
    [{ name: 'x'.repeat(301) }, 'malformed-request'],
  ])('%j: %s', (more, code) => {
    expect(codeOf(() => parseRunRequest(writtenRunRequest({ ...NINE, ...more })))).toBe(code);
  });

  it('--stop-before-sunrise takes the end that the caution offers, in place of a count', () => {
    const written = { every: '4min', count: 60, place: '47.5N 8.5E' };
    const place = { latitude: 47.5, longitude: 8.5 };
    // 21 June: the sun comes up there at 03:29 UTC (suncalc's sunrise, as sun.test.ts checks it against tables).
    const night = { ...FORESEEN.schedule, place, everySeconds: 600 };
    const offered = { sentence: 'It crosses sunrise.', until: 'sunrise-20min' };
    expect(endedBeforeSunrise(written, { ...FORESEEN, schedule: night, cautions: [offered] })).toEqual({
      ...{ every: '4min', place: '47.5N 8.5E', until: 'sunrise-20min' },
    });
    const evening = { ...night, count: 3 };
    expect(endedBeforeSunrise(written, { ...FORESEEN, schedule: evening, cautions: [] })).toBeNull();
    // Ten minutes before it there is no end that would do.
    const dawn = { ...night, start: '2026-06-22T03:19:00.000Z' };
    const none = { sentence: 'It crosses sunrise.', until: null };
    expect(codeOf(() => endedBeforeSunrise(written, { ...FORESEEN, schedule: dawn, cautions: [none] }))).toBe(
      'schedule-impossible',
    );
  });
});

describe('in words', () => {
  it('what is foreseen is told in lines of 80 columns', () => {
    const lines = foreseenInWords(FORESEEN);
    expect(lines[0]).toBe(FORESEEN.words);
    expect(lines[1]).toBe('540 shutter releases, 12960 MB');
    expect(lines[2]).toMatch(/^caution: This schedule crosses sunrise\./);
    expect(lines.length).toBeGreaterThan(3);
    for (const line of lines) expect(line.length).toBeLessThanOrEqual(80);
  });

  const now = new Date(LATER);
  const told = (teller: ScheduleTeller, view: Partial<ScheduleView>) =>
    teller.linesOf({ type: 'schedule', schedule: { ...VIEW, ...view } }, now).map(({ line }) => line);

  it('only what is new is told, and nothing twice', () => {
    const teller = new ScheduleTeller({ isForeseen: false });
    const first = told(teller, {});
    expect(first).toEqual([
      FORESEEN.words,
      FORESEEN.cautions[0]?.sentence,
      expect.stringMatching(/^Next set at \d\d:\d\d:00 \(1 of 60\)$/),
    ]);
    expect(told(teller, {})).toEqual([]);
    expect(told(teller, { notes: ['One.'] })).toEqual(['One.']);
    expect(told(teller, { notes: ['One.', 'Two.', 'One.'] })).toEqual(['Two.', 'One.']);
    // The oldest was left out by then.
    expect(told(teller, { notes: ['Two.', 'One.', 'Three.'] })).toEqual(['Three.']);
    expect(told(teller, { notes: ['Two.', 'One.', 'Three.'], state: 'firing', next: null })).toEqual([]);
    const ended: Partial<ScheduleView> = {
      ...{ notes: ['Two.', 'One.', 'Three.'], next: null, state: 'halted' },
    };
    expect(told(teller, { ...ended, sentence: 'Halted.' })).toEqual(['Halted.']);
    expect(told(teller, { ...ended, sentence: 'Halted.' })).toEqual([]);
    expect(told(new ScheduleTeller({ isForeseen: true }), {})).toHaveLength(1);
  });

  it('a set is told with its base, and what moved it', () => {
    const teller = new ScheduleTeller({ isForeseen: true });
    told(teller, {});
    const set: LineSet = {
      ...{ set: 'a', ordinal: 3, slot: 2, startedAt: LATER, endedAt: null, state: 'preparing' },
      ...{ verified: 0, frames: 9, shutter: '1/60', iso: '100', shift: 1 / 3, sentence: null },
    };
    const line = (more: Partial<LineSet>) =>
      teller.linesOf({ type: 'line-set', run: 'night', set: { ...set, ...more } }).map((said) => said.line);
    expect(line({})).toEqual(['Set 3 of 60, base exposure 1/60 s, ISO 100, moved +1/3 EV']);
    expect(line({ slot: 4, iso: null, shift: 0 })).toEqual(['Set 3, in slot 5 of 60, base exposure 1/60 s']);
    expect(line({ endedAt: LATER, state: 'complete' })).toEqual([]);
  });

  it('what runs low is told once, and by the notes of a schedule while one goes on', () => {
    const watch = (mark: WatchMark): { type: 'watch'; watch: Watch } => ({
      type: 'watch',
      watch: {
        disk: null,
        card: { mark, framesLeft: 20, setsLeft: 2, sentence: 'The card lasts for 2 sets.' },
        battery: null,
      },
    });
    const teller = new ScheduleTeller({ isForeseen: false });
    const lines = (mark: WatchMark) => teller.linesOf(watch(mark));
    expect(lines('fine')).toEqual([]);
    expect(lines('low')).toEqual([{ level: 'warn', line: 'The card lasts for 2 sets.' }]);
    expect(lines('low')).toEqual([]);
    told(teller, {});
    expect(lines('too-low')).toEqual([]);
    expect(lines('fine')).toEqual([]);
    expect(lines('low')).toEqual([]);
  });
});

describe('the config file', () => {
  it('may be missing, or leave things out', async () => {
    expect(await readConfig(path.join(folder, 'nowhere'))).toEqual({});
    const { XDG_CONFIG_HOME: config } = await own({ webhook: 'https://example.org/a' });
    expect(await readConfig(path.join(config, 'evenrung'))).toEqual({ webhook: 'https://example.org/a' });
  });

  it.each([
    ['{"onHalt": "true"', /it is not JSON/],
    ['{"onHalt": ["rm", "-rf"]}', /onHalt: /],
    ['{"webhook": "https://example.org/secret", "onhalt": "true"}', /onhalt/],
    ['[]', /it must be an object/],
    ['', /it is not JSON/],
  ])('%s: said to be not understood, and no secret of it', async (text, why) => {
    const { XDG_CONFIG_HOME } = await own();
    const inConfig = path.join(XDG_CONFIG_HOME, 'evenrung');
    await writeFile(path.join(inConfig, 'config.json'), text);
    const failure = await readConfig(inConfig).then(
      () => null,
      (cause: unknown) => cause as EvenrungError,
    );
    expect(failure).toMatchObject({ code: 'config-unreadable' });
    expect(failure?.message).toMatch(why);
    expect(failure?.message).toContain(path.join(inConfig, 'config.json'));
    expect(failure?.message).not.toContain('secret');
  });

  it('that is a folder is said to be', async () => {
    await mkdir(path.join(folder, 'config.json'));
    await expect(readConfig(folder)).rejects.toMatchObject({
      code: 'config-unreadable',
      message: expect.stringMatching(/it is a folder/),
    });
  });

  it.each(['fire', 'serve'])(
    '%s with one that is not understood: exit 2, nothing is begun',
    async (command) => {
      const env = await own({ onHalt: 7 });
      const request = command === 'fire' ? ['--frames', '3', '--step', '1'] : ['--port', '0'];
      const ended = await run([command, '--body', 'practice', '--into', into, ...request], env);
      expect([ended.code, ended.stdout]).toEqual([2, '']);
      expect(ended.stderr).toMatch(/^The config file .*config\.json is not understood \(onHalt: /);
      await expect(readdir(into)).rejects.toMatchObject({ code: 'ENOENT' });
    },
  );
});

describe('schedule', () => {
  const schedule = ['schedule', '--frames', '9', '--step', '1'];

  it('in words tells the sets, what they take, and what to be careful of', async () => {
    const { code, stdout, stderr } = await run([
      ...schedule,
      '--every',
      '4min',
      '--count',
      '60',
      '--file-size',
      '24',
    ]);
    expect([code, stderr]).toEqual([0, '']);
    expect(stdout).toMatch(/^60 sets, one every 4 min, from .* to about .*\.$/m);
    expect(stdout).toMatch(/540 shutter releases, 12960 MB$/m);
    expect(Math.max(...stdout.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80);
  });

  it('counts with the most frames that a span may come to which follows, and says so', async () => {
    const asked = [...schedule, '--every', '4min', '--count', '60', '--follow-span'];
    const { code, stdout } = await run(asked);
    expect(code).toBe(0);
    // Four more than nine.
    expect(stdout.replace(/\s+/g, ' ')).toMatch(
      /^60 sets, one every 4 min, .*\. The span follows the scene, so this counts 13 frames a set, the most allowed\. 780 shutter releases/,
    );
    expect(Math.max(...stdout.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80);
    const limited = await run([...asked, '--frames-most', '11', '--json']);
    expect(foreseenScheduleSchema.parse(JSON.parse(limited.stdout)).estimate.actuations).toBe(660);
    const refused = await run([...asked, '--frames-most', '7', '--json']);
    expect(refused.code).toBe(2);
    expect(JSON.parse(refused.stdout)).toMatchObject({
      error: { code: 'malformed-request', field: 'mostFrames' },
    });
  });

  it('--json prints one object that fits the schema; the sets take what `plan` says', async () => {
    const plan = await run(['plan', ...schedule.slice(1), '--json']);
    const { code, stdout } = await run([...schedule, '--every', '4min', '--count', '60', '--json']);
    expect(code).toBe(0);
    const foreseen = foreseenScheduleSchema.parse(JSON.parse(stdout));
    const { seconds } = (JSON.parse(plan.stdout) as { estimate: { seconds: number } }).estimate;
    expect(foreseen.schedule).toMatchObject({ everySeconds: 240, count: 60, end: null, setSeconds: seconds });
    const { start: first } = foreseen.schedule;
    expect(Date.parse(foreseen.estimate.ends) - Date.parse(first)).toBeCloseTo(
      (59 * 240 + seconds) * 1000,
      -1,
    );
  });

  it('--stop-before-sunrise ends it in time', async () => {
    // On the equator, where it is about six in the evening now: the sun comes up in about twelve hours.
    const hours = new Date().getUTCHours() + new Date().getUTCMinutes() / 60;
    const longitude = (((((18 - hours) * 15 + 180) % 360) + 360) % 360) - 180;
    const place = ['--place', `0 ${longitude.toFixed(2)}`];
    const night = ['--every', '10min', '--count', '120', ...place, '--json'];
    const whole = foreseenScheduleSchema.parse(JSON.parse((await run([...schedule, ...night])).stdout));
    expect(whole.cautions.map(({ until }) => until)).toEqual(['sunrise-20min']);
    const { code, stdout } = await run([...schedule, ...night, '--stop-before-sunrise']);
    expect(code).toBe(0);
    const ended = foreseenScheduleSchema.parse(JSON.parse(stdout));
    expect(ended.cautions).toEqual([]);
    const lasts = (Date.parse(ended.schedule.end ?? '') - Date.parse(ended.schedule.start)) / 3_600_000;
    // 20 min before; by the equation of time the sun is up to 17 min early or late.
    expect(Math.abs(lasts - (12 - 1 / 3))).toBeLessThan(0.5);
    expect(ended.schedule.count).toBeLessThan(72);
  });

  it.each([
    [[], 'malformed-request'],
    [['--count', '3'], 'malformed-request'],
    [['--every', '4min'], 'unreadable-schedule'],
    [['--every', 'often', '--count', '3'], 'unreadable-schedule'],
    [['--every', '5s', '--count', '3', '--base', '1/4'], 'schedule-impossible'],
    [['--every', '4min', '--until', 'dawn'], 'schedule-impossible'],
    [['--every', '4min', '--until', '2020-01-01T05:00'], 'schedule-past'],
    [['--every', '4min', '--count', '3', '--step', '0.5'], 'step-not-offered'],
    [['--every', '4min', '--count', '3', '--stop-before-sunrise'], 'schedule-impossible'],
  ])('%j: exit 2, one sentence, %s', async (more, code) => {
    const { code: exit, stdout, stderr } = await run([...schedule, ...more, '--json']);
    expect(exit).toBe(2);
    const [sentence] = stderr.split('\n');
    expect(JSON.parse(stdout)).toMatchObject({ error: { code, message: sentence } });
  });
});

describe('fire on a schedule', () => {
  const three = (...more: string[]) => [
    ...['fire', '--frames', '3', '--step', '1', '--base', '1/60', '--body', 'practice', '--into', into],
    // Long enough that a busy machine is not late for a slot.
    ...['--every', '10s', ...more],
  ];
  const records = async (where = into) =>
    Promise.all(
      (await readdir(where)).sort().map(async (name) => {
        const text = await readFile(path.join(where, name, 'set.json'), 'utf8');
        return readSetRecord(text).record;
      }),
    );
  const eventsIn = (text: string): NumberedEvent[] =>
    text
      .trim()
      .split('\n')
      .map((line) => eventSchema.parse(JSON.parse(line)));

  it(
    '--json prints the events to the end of the schedule; each set has its folder; exit 0',
    PACED,
    async () => {
      const { code, stdout, stderr } = await run(
        three('--count', '2', '--json', '--name', 'Boathouse', '--viewpoint', '2'),
        await own(),
      );
      expect([code, stderr]).toEqual([0, '']);
      const events = eventsIn(stdout);
      expect(events.at(-1)?.happening).toMatchObject({
        type: 'schedule',
        schedule: { state: 'complete', complete: 2, begun: 2, missed: 0 },
      });
      expect(events.filter(({ happening }) => happening.type === 'line-set')).toHaveLength(4);
      const made = await records();
      expect(made.map(({ complete, name, viewpoint }) => ({ complete, name, viewpoint }))).toEqual(
        Array(2).fill({ complete: true, name: 'Boathouse', viewpoint: '2' }),
      );
      const [first, second] = made.map(({ startedAt }) => Date.parse(startedAt));
      const apart = ((second ?? 0) - (first ?? 0)) / 1000;
      expect(apart).toBeGreaterThan(9);
      pace('two sets, 10 s apart, begin', apart, 's', 11.5);
    },
  );

  it('in words: what is foreseen, each set, and when the next one begins', async () => {
    const { code, stdout } = await run(three('--count', '2'), await own());
    expect(code).toBe(0);
    expect(stdout).toMatch(
      /^2 sets, one every 10 s, from .* to about [-\d]+ \d\d:\d\d\.\n6 shutter releases$/m,
    );
    expect(stdout).toMatch(/^Set 1 of 2, base exposure 1\/60 s.*\n3 frames in 1 pass, /m);
    expect(stdout).toMatch(/Set folder: .*\nNext set at \d\d:\d\d:\d\d \(2 of 2\)\nSet 2 of 2, /);
    expect(stdout.match(/^ {2}frame .* verified$/gm)).toHaveLength(6);
    expect(stdout.match(/^2 sets, one every/gm)).toHaveLength(1);
    expect(stdout).toMatch(/\nBoth sets are complete\.\n$/);
  });

  it.each(['between two sets', 'in a set'])('Ctrl-C %s stops it cleanly: exit 130', async (when) => {
    const env = { ...(await own()), EVENRUNG_PRACTICE_TIMING: 'lifelike' };
    // In a set of two passes there is time to stop it.
    const more = when === 'in a set' ? ['--frames', '5', '--base', '1/4'] : [];
    const firing = start(three('--every', '1min', '--count', '9', ...more), env);
    onTestFinished(() => firing.signal('SIGKILL'));
    await firing.until(when === 'in a set' ? /frame {2}3 .* verified/ : /\(2 of 9\)/);
    const began = performance.now();
    firing.signal('SIGINT');
    const { code, stdout } = await firing.ended;
    expect([code, performance.now() - began < 30_000]).toEqual([130, true]);
    expect(stdout).toMatch(/\nStopped\. \d of 9 sets (?:is|are) complete\..*\n$/);
    const [record, ...others] = await records();
    expect([others.length, record?.complete, record?.notPutBack]).toEqual([0, when !== 'in a set', []]);
  });

  it('sets that go wrong one after another halt it: exit 1, and who is to be called is called', async () => {
    const called = path.join(folder, 'called');
    const firing = start(
      three('--count', '20', '--json', '--on-halt', `printenv EVENRUNG_STATE EVENRUNG_ERROR >> ${called}`),
      await own(),
    );
    onTestFinished(() => firing.signal('SIGKILL'));
    await firing.until(/"type":"line-set".*"state":"complete"/);
    await rename(into, `${into}-aside`);
    await writeFile(into, 'no folder any more');
    const { code, stdout } = await firing.ended;
    expect(code).toBe(1);
    const lines = stdout.trim().split('\n');
    expect(JSON.parse(lines.at(-1) ?? '')).toMatchObject({ error: { code: 'folder-not-writable' } });
    expect(eventSchema.parse(JSON.parse(lines.at(-2) ?? '')).happening).toMatchObject({
      type: 'schedule',
      schedule: { state: 'halted', error: 'folder-not-writable', complete: 1 },
    });
    expect(await readFile(called, 'utf8')).toBe('halted\nfolder-not-writable\n');
    expect((await records(`${into}-aside`)).map(({ complete }) => complete)).toEqual([true]);
  });

  it.each([
    [['--count', '3', '--until', 'dawn'], 'unreadable-schedule'],
    [['--count', '3', '--base', '4'], 'schedule-impossible'],
    [['--until', 'dawn'], 'schedule-impossible'],
    [['--count', '3', '--follow-light', '--mode', 'aperture'], 'malformed-request'],
    [['--count', '3', '--follow-span', '--frames-most', '2'], 'malformed-request'],
    // As these tests are run, nobody judges pictures.
    [['--count', '3', '--follow-span'], 'light-not-judged'],
  ])('%j: exit 2, nothing is fired', async (more, code) => {
    const { code: exit, stdout } = await run(three(...more, '--json'), await own());
    expect(exit).toBe(2);
    expect(JSON.parse(stdout.trim().split('\n').at(-1) ?? '')).toMatchObject({ error: { code } });
    expect(await readdir(into).catch(() => [])).toEqual([]);
  });
});

describe('who is called when a set halts', () => {
  const halting = () => [
    ...['fire', '--frames', '3', '--step', '1', '--body', 'practice', '--into', into],
    // The practice camera's dial is on manual: the set is refused when it begins.
    ...['--mode', 'aperture'],
  ];

  it('a command, and an address of the config file; what is given by hand counts more', async () => {
    const told: unknown[] = [];
    const receiver = http.createServer((request, answer) => {
      let text = '';
      request.setEncoding('utf8').on('data', (part: string) => {
        text += part;
      });
      request.on('end', () => {
        told.push(JSON.parse(text));
        answer.end();
      });
    });
    await new Promise<void>((resolve) => receiver.listen(0, '127.0.0.1', resolve));
    onTestFinished(() => void receiver.close());
    const { port } = receiver.address() as AddressInfo;
    const wrong = path.join(folder, 'wrong');
    const right = path.join(folder, 'right');
    const env = await own({ onHalt: `touch ${wrong}`, webhook: `http://127.0.0.1:${port}/` });
    const { code } = await run([...halting(), '--on-halt', `printenv EVENRUNG_ERROR > ${right}`], env);
    expect(code).toBe(1);
    expect(await readFile(right, 'utf8')).toBe('body-not-ready\n');
    expect(await readdir(folder)).not.toContain('wrong');
    expect(told.map((notice) => alarmSchema.parse(notice))).toMatchObject([
      { state: 'halted', error: 'body-not-ready', verified: 0, frames: 3 },
    ]);
  });

  it('a set that comes to its end calls nobody', async () => {
    const called = path.join(folder, 'called');
    const { code } = await run(
      [...halting(), '--mode', 'manual', '--on-halt', `touch ${called}`],
      await own(),
    );
    expect(code).toBe(0);
    expect(await readdir(folder)).not.toContain('called');
  });

  it.each([
    ['--webhook', 'ftp://example.org'],
    ['--webhook', 'example'],
    ['--on-halt', ' '],
  ])('%s %j: exit 2', async (option, value) => {
    for (const command of [halting(), ['serve', '--body', 'practice', '--port', '0', '--into', into]]) {
      const { code, stderr } = await run([...command, option, value], await own());
      expect(code).toBe(2);
      expect(stderr).toMatch(/^The alarm's .* cannot be used/);
    }
  });
});

describe('serve', () => {
  async function serve(...more: string[]): Promise<{ daemon: Started; address: string }> {
    const env = await own();
    const daemon = start(['serve', '--body', 'practice', '--port', '0', '--into', into, ...more], env);
    onTestFinished(() => daemon.signal('SIGKILL'));
    const [, address = ''] = await daemon.until(/Panel: (http:\S+?)[ "]/);
    await daemon.until(/Body: Practice body/);
    return { daemon, address };
  }
  const post = (to: string, body: object) =>
    fetch(to, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify(body),
    });
  const logged = ({ said }: Started) =>
    said.stderr
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line) as { level: number; msg: string });

  it('logs that a schedule begins, when its sets are made, and how it ends', async () => {
    const { daemon, address } = await serve();
    // Stopped in the pause after the first set, which is long enough also on a busy machine.
    const schedule = { every: '1min', count: 3 };
    expect((await post(`${address}/api/run`, { frames: 3, step: 1, schedule })).status).toBe(202);
    await daemon.until(/\(2 of 3\)/);
    expect((await post(`${address}/api/run/stop`, {})).status).toBe(202);
    await daemon.until(/Stopped\. 1 of 3 sets/);
    daemon.signal('SIGTERM');
    expect((await daemon.ended).code).toBe(130);
    const lines = logged(daemon).map(({ level, msg }) => [level, msg]);
    expect(lines).toEqual(
      expect.arrayContaining([
        [30, expect.stringMatching(/^3 sets, one every 1 min, from /)],
        [30, expect.stringMatching(/^Next set at .* \(1 of 3\)$/)],
        [30, expect.stringMatching(/^Set 1 of 3, base exposure 1\/60 s/)],
        [30, 'All 3 frames are verified.'],
        [40, expect.stringMatching(/^Stopped\. 1 of 3 sets is complete\./)],
      ]),
    );
  });

  it('hands out the sets that it has fired', async () => {
    const { daemon, address } = await serve();
    expect((await post(`${address}/api/run`, { frames: 3, step: 1, name: 'Boathouse' })).status).toBe(202);
    await daemon.until(/All 3 frames are verified/);
    const { sets } = (await (await fetch(`${address}/api/sets`)).json()) as { sets: { id: string }[] };
    expect(sets).toMatchObject([{ name: 'Boathouse', verified: 3, practice: true }]);
    const picture = await fetch(`${address}/api/sets/${sets[0]?.id}/frames/1/picture`);
    expect([picture.status, picture.headers.get('content-type')]).toEqual([200, 'image/jpeg']);
    daemon.signal('SIGTERM');
    expect((await daemon.ended).code).toBe(130);
  });

  it('elsewhere than at a terminal asks nobody: a line in the log says what can be done', async () => {
    const { daemon, address } = await serve();
    await post(`${address}/api/run`, { frames: 9, step: 1, base: '1/2' });
    await pause(300);
    daemon.signal('SIGKILL');
    await daemon.ended;
    const { daemon: next } = await serve();
    await next.until(/Do so in the panel, or start with --resume always\./);
    await pause(300);
    expect(next.said.stderr).not.toContain('Type resume, end or later');
    next.signal('SIGTERM');
    expect((await next.ended).code).toBe(130);
  });
});

describe('the question at the terminal', () => {
  const UNFINISHED: Unfinished = {
    ...{ run: 'night', startedAt: LATER, verified: 4, frames: 9, folder: null, scheduled: false },
    ...{ set: null, sentence: 'A set was cut off.' },
  };

  /** @param refuses how often going on fails */
  function asked(refuses = 0) {
    const events = new EventLog();
    events.tell({ type: 'unfinished', unfinished: UNFINISHED });
    const did: string[] = [];
    const over = () => events.tell({ type: 'unfinished', unfinished: null });
    const station = {
      unfinished: () => events.state.unfinished,
      resume: async () => {
        did.push('go');
        refuses -= 1;
        if (refuses >= 0) throw new EvenrungError('no-body', 'No body is connected yet.');
        over();
        return { id: 'night', error: null };
      },
      endUnfinished: async () => {
        did.push('end');
        over();
      },
    };
    const input = new PassThrough();
    const output = new PassThrough().setEncoding('utf8');
    let said = '';
    output.on('data', (text: string) => {
      said += text;
    });
    let look = () => {};
    const looked = new Promise<void>((resolve) => {
      look = resolve;
    });
    const forget = ask({ station, events, looked }, { input, output });
    onTestFinished(forget);
    const answer = async (line: string) => {
      input.write(`${line}\n`);
      await pause(20);
    };
    return { did, over, input, look, forget, answer, said: () => said };
  }
  const times = (text: string) => text.match(/Type resume, end or later:/g)?.length ?? 0;

  it('is one line, once it is known which camera is there', async () => {
    const { said, look } = asked();
    await pause(20);
    expect(said()).toBe('');
    look();
    await pause(20);
    expect(said()).toBe('Resume it, end it, or decide later? Type resume, end or later:\n');
  });

  it.each([
    ['go', ['go']],
    [' END ', ['end']],
    ['later', []],
  ])('%j is done, and then nothing is asked any more', async (word, done) => {
    const { did, answer, look, said } = asked();
    look();
    await answer(word);
    expect(did).toEqual(done);
    await answer('go');
    expect([did, times(said())]).toEqual([done, 1]);
  });

  it('asks again after anything else, and where going on is refused', async () => {
    const { did, answer, look, said } = asked(1);
    look();
    await answer('perhaps');
    expect([did, times(said())]).toEqual([[], 2]);
    await answer('go');
    expect([did, times(said())]).toEqual([['go'], 3]);
    expect(said()).toContain('No body is connected yet.\n');
    await answer('go');
    expect([did, times(said())]).toEqual([['go', 'go'], 3]);
  });

  it('goes away where the panel has answered', async () => {
    const { did, over, answer, look, said } = asked();
    over();
    look();
    await answer('go');
    expect([did, said()]).toEqual([[], '']);
  });

  it.each(['is closed', 'fails'])('a terminal that %s harms nothing', async (how) => {
    const { did, input, look, said } = asked();
    look();
    await pause(20);
    if (how === 'fails') input.destroy(new Error('EIO'));
    else input.end();
    await pause(20);
    expect([did, times(said())]).toEqual([[], 1]);
  });

  it('taken back, it hears nothing', async () => {
    const { did, forget, answer, look } = asked();
    look();
    await answer('');
    forget();
    await answer('end');
    expect(did).toEqual([]);
  });
});
