// What the engine does for whole sets, pinned: everything that is journalled, told, done on the link and written down, compared whole
// with what lies beside this file. Whoever changes one of the files on purpose reads the difference line by line.
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import type { Happening } from '../../shared/state.js';
import type { FiredFrame, FireOptions, Settings } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody, type PracticeOptions } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { Journal } from '../../src/journal/index.js';
import { EventLog, type Station } from '../../src/station/index.js';
import { Hands } from '../harness/hands.js';
import { cutShort, type PairOfFiles, pairOf } from '../harness/pair-link.js';
import { openStation } from '../harness/station.js';
import { inOrder, journalled, withoutChance } from './told.js';

const NINE = { frames: 9, step: 1, base: '1/60', name: 'The boathouse at dusk', viewpoint: 3 };
const THREE = { frames: 3, step: 1, base: '1/60' };

/** A body whose releases can be made to go wrong, and which waits with each until all pictures before it were looked at. */
class ToldLink extends PracticeLink {
  readonly of: PracticeBody;
  readonly did: string[] = [];
  /** How often the shutter was released. */
  count = 0;
  /** Called before a release, counted from 1: what it throws is the answer, and the shutter stays closed. */
  before: (count: number) => void | Promise<void> = () => undefined;
  /** Called with the file of a release: what it throws loses the file, what it returns comes instead. */
  after: (count: number, file: Buffer) => Buffer | undefined | Promise<Buffer | undefined> = () => undefined;
  told: (settings: Settings) => Settings = (settings) => settings;
  /** Comes back once no picture is being looked at. */
  looked: () => Promise<void> = async () => undefined;
  /** The link begins anew. */
  anew: () => void = () => undefined;

  constructor(body: PracticeBody) {
    super(body);
    this.of = body;
  }

  override async readSettings(): Promise<Settings> {
    // A clock that is read across the turn of a second seems to be a second behind.
    const intoSecond = Date.now() % 1000;
    if (intoSecond > 700) await sleep(1000 - intoSecond);
    return this.told(new Map(await super.readSettings()));
  }
  override async changeSetting(name: string, value: string) {
    if (name !== 'datetime') this.did.push(`set ${name}=${value}`);
    return super.changeSetting(name, value);
  }
  override async fire(options: FireOptions): Promise<FiredFrame> {
    await this.looked();
    this.count += 1;
    const { count } = this;
    this.did.push(`fire, the longest ${Number(options.exposureSeconds.toPrecision(6))} s`);
    await this.before(count);
    const { path: file, seconds } = await super.fire(options);
    const instead = await this.after(count, await readFile(file));
    if (instead !== undefined) await writeFile(file, instead);
    return { path: file, seconds };
  }
  kill(): void {
    this.did.push('begin anew');
    this.anew();
  }
}

/** A body that makes two files of each frame. */
class TwoToldLink extends ToldLink {
  /** Called with both files of a release, counted from 1. @returns what comes of them */
  comes: (count: number, pair: PairOfFiles) => FiredFrame | Promise<FiredFrame> = (_, { raw, jpeg }) => ({
    ...raw,
    partner: jpeg,
  });
  override async fire(options: FireOptions): Promise<FiredFrame> {
    const jpeg = await super.fire(options);
    return this.comes(this.count, await pairOf(jpeg, this.count));
  }
}

let root = '';
let journal: Journal;
let stations: Station[] = [];
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
  stations = [];
});
afterEach(async () => {
  for (const station of stations) await station.close();
  journal.close();
  await rm(root, { recursive: true, force: true });
});

interface Made<Of extends ToldLink = ToldLink> {
  readonly station: Station;
  readonly events: EventLog;
  readonly link: Of;
  readonly body: PracticeBody;
}

/** @param dies whether it never comes back: nobody closes it */
const made = (options: Partial<PracticeOptions> = {}, of?: PracticeBody, dies = false): Promise<Made> =>
  madeOver(new ToldLink(of ?? new PracticeBody({ ...AT_ONCE, ...options })), dies);

async function madeOver<Of extends ToldLink>(link: Of, dies = false): Promise<Made<Of>> {
  const { of: body } = link;
  const events = new EventLog();
  link.looked = async () => {
    while (events.state.run?.frames.some(({ state }) => state === 'stored'))
      await new Promise((resolve) => setTimeout(resolve, 2));
  };
  const clock = new Hands();
  const { station } = await openStation(root, link, { events, journal, clock, sleep: clock.sleep });
  if (!dies) stations.push(station);
  return { station, events, link, body };
}

/** What depends on the computer, or on the moment. */
const isPinned = (happening: Happening): boolean => {
  switch (happening.type) {
    case 'body':
    case 'watch':
    case 'asked':
      return false;
    case 'note':
      return !OF_COMPUTER.test(happening.note);
    default:
      return true;
  }
};
const OF_COMPUTER = /fall asleep|awake/;

const lineOf = (happening: Happening) => {
  const frame = happening.type === 'frame' ? happening.frame : null;
  return { frame: frame?.number ?? null, to: frame?.state ?? null, line: JSON.stringify(happening) };
};

/** What is told, with what a frame was before. */
function toldBy(events: EventLog): string[] {
  const before = new Map<number, string>();
  let schedule = '';
  const isNews = (happening: Happening): boolean => {
    if (happening.type !== 'schedule') return true;
    const { notes = [], ...rest } = happening.schedule ?? {};
    const said = JSON.stringify([rest, notes.filter((note) => !OF_COMPUTER.test(note))]);
    const isOther = said !== schedule;
    schedule = said;
    return isOther;
  };
  const steps = (events.since(0) ?? [])
    .map(({ happening }) => happening)
    .filter((happening) => isPinned(happening) && isNews(happening))
    .map((happening) => {
      if (happening.type === 'run')
        for (const { number, state } of happening.run.frames) before.set(number, state);
      const step = { ...lineOf(happening), from: null as string | null };
      if (step.frame !== null && step.to !== null) {
        step.from = before.get(step.frame) ?? null;
        before.set(step.frame, step.to);
      }
      return step;
    });
  return inOrder(steps);
}

/** A line for each field, and for each entry of a list. */
const partsOf = (whole: object): string[] =>
  Object.entries(whole).flatMap(([key, value]) =>
    (Array.isArray(value) ? value : [value]).map((one) => `${key}: ${JSON.stringify(one)}`),
  );

/** Everything of all runs in the journal, and of those who made them. */
async function all(parts: readonly Made[]): Promise<string> {
  const names = new Map([[root, '<root>']]);
  const lines: string[] = [];
  const runs = journal.runs().reverse();
  const transitions = journal.transitions({ limit: 100_000 });
  for (const [index, { id }] of runs.entries()) {
    names.set(id, `<run ${index + 1}>`);
    const sets = journal.sets({ run: id }).reverse();
    for (const [at, set] of sets.entries()) names.set(set.id, `<set ${index + 1}.${at + 1}>`);
    lines.push(`# journal of run ${index + 1}`, ...journalled(transitions.filter(({ run }) => run === id)));
    const { memo, ...run } = journal.run(id) ?? { memo: null };
    lines.push(JSON.stringify(run), `memo ${JSON.stringify(memo)}`);
    for (const { id: set, folder } of sets) {
      const { plan: _, ...stored } = journal.set(set) ?? { plan: null };
      lines.push(...partsOf(stored), '# set.json');
      const record = await readFile(path.join(folder ?? '', 'set.json'), 'utf8').catch(() => '{}');
      lines.push(...partsOf(JSON.parse(record)));
    }
  }
  for (const [index, { events, link, body }] of parts.entries()) {
    lines.push(`# told by program ${index + 1}`, ...toldBy(events));
    lines.push(`# done on the link by program ${index + 1}`, ...link.did);
    if (index === parts.length - 1)
      lines.push('# released', ...body.shots.map(({ tv, bracketPosition }) => `${tv} ${bracketPosition}`));
  }
  return `${lines
    .filter((line) => !/^notes: .*(?:fall asleep|awake)/.test(line))
    .map((line) => withoutChance(line, names))
    .join('\n')}\n`;
}

const pinned = async (name: string, parts: readonly Made[]) =>
  expect(await all(parts)).toMatchFileSnapshot(`./${name}.txt`);

async function fire(one: Made, request: object = NINE): Promise<void> {
  await one.station.start(request);
  await one.station.settled();
}

const lost = (code: 'frame-missing' | 'body-lost' = 'frame-missing') =>
  new EvenrungError(code, 'The shutter went, but no file came.', { released: true });
const never = () => new Promise<never>(() => undefined);
const half = (file: Buffer) => file.subarray(0, Math.floor(file.length / 2));

it('nine frames in three passes', async () => {
  const one = await made();
  await fire(one);
  await pinned('nine-frames', [one]);
});

it('nine frames of two files each; of two frames, one does not come, and one is cut short', async () => {
  const one = await madeOver(new TwoToldLink(new PracticeBody(AT_ONCE)));
  one.link.comes = async (count, { raw, jpeg }) => {
    if (count === 4) return raw;
    if (count === 6) await cutShort(jpeg);
    return { ...raw, partner: jpeg };
  };
  await fire(one);
  await pinned('nine-pairs', [one]);
});

it('nine frames singly, on a body without a bracket', async () => {
  const one = await made({ shape: 'none' });
  await fire(one);
  await pinned('nine-frames-singly', [one]);
});

it('nine frames on a body that fires from dark to light', async () => {
  const one = await made({ shape: 'pattern' });
  await one.body.change('bracketOrder', 'dark-first');
  await fire(one);
  await pinned('nine-frames-dark-first', [one]);
});

it('nine frames in aperture priority, while the light moves', async () => {
  const one = await made();
  await one.body.change('mode', 'aperture');
  one.link.before = (count) => {
    if (count === 5) one.body.moveLight(sixths(-4));
  };
  await fire(one, { ...NINE, mode: 'aperture' });
  await pinned('aperture-priority', [one]);
});

it('a file that never comes, one that is cut short, one of a wrong exposure, and a link that is lost', async () => {
  const one = await made();
  one.link.before = async (count) => {
    if (count === 5) await one.body.change('iso', 400);
    if (count === 6) await one.body.change('iso', 100);
    if (count === 8) throw new EvenrungError('body-lost', 'The cable is out.', { released: false });
  };
  one.link.after = (count, file) => {
    if (count === 2) throw lost();
    if (count === 3) return half(file);
    if (count === 11) throw lost('body-lost');
    return undefined;
  };
  await fire(one);
  await pinned('what-goes-wrong', [one]);
});

it('a frame that never comes: it is given up, and the set halts', async () => {
  const one = await made({ shape: 'none' });
  one.link.after = (count) => {
    if (count >= 4) throw lost();
    return undefined;
  };
  await fire(one);
  await pinned('given-up', [one]);
});

it('a set that is stopped, and then completed', async () => {
  const one = await made();
  one.link.after = (count) => {
    if (count === 5) one.station.stop();
    return undefined;
  };
  await fire(one);
  await one.station.complete(journal.sets()[0]?.id ?? '');
  await one.station.settled();
  await pinned('stopped-and-completed', [one]);
});

it('a set that is extended by a frame at each end', async () => {
  const one = await made();
  await fire(one);
  await one.station.extend(journal.sets()[0]?.id ?? '', { darker: 1, brighter: 1 });
  await one.station.settled();
  await pinned('extended', [one]);
});

it('a set that is held between two frames', async () => {
  const one = await made();
  one.link.after = (count) => {
    if (count === 5) one.station.hold();
    return undefined;
  };
  await one.station.start(NINE);
  await expect.poll(() => one.events.state.run?.state, { timeout: 30_000 }).toBe('held');
  one.station.letGo();
  await one.station.settled();
  await pinned('held', [one]);
});

/** Files come in the order in which they were made, the one that has waited longest first. */
function withWaiting(one: Made, waiting: Buffer[], what: 'forgotten' | 'kept' | 'told'): void {
  one.link.after = (_, file) => {
    waiting.push(file);
    return waiting.shift();
  };
  if (what === 'forgotten')
    one.link.anew = () => {
      waiting.length = 0;
    };
  if (what !== 'told') return;
  one.link.told = (settings) => {
    const value = String(waiting.length === 0 ? 0 : 0x8000 + waiting.length);
    return new Map([...settings, ['d215', { name: 'd215', kind: 'text' as const, value }]]);
  };
}

it.each([
  ['forgotten', 'amount'],
  ['kept', 'amount'],
  ['told', 'drive-entry'],
] as const)('a picture from before that waits, and is %s by another connection', async (what, shape) => {
  let older = 60_000;
  const body = new PracticeBody({ ...AT_ONCE, shape, now: () => new Date(Date.now() - older) });
  const [picture] = await body.release();
  older = 0;
  const one = await made({}, body);
  withWaiting(one, picture === undefined ? [] : [picture.content], what);
  await fire(one);
  await pinned(`late-${what}`, [one]);
});

it('a set of which frames and then a pass are fired again, one of them twice', async () => {
  const one = await made();
  await fire(one);
  const set = journal.sets()[0]?.id ?? '';
  const first = one.link.count;
  one.link.after = (count, file) => (count === first + 1 ? half(file) : undefined);
  await one.station.again(set, { frames: [3, 8] });
  await one.station.settled();
  await one.station.again(set, { pass: 2 });
  await one.station.settled();
  await pinned('fired-again', [one]);
});

it('a frame that is fired again and never comes is what it was before', async () => {
  const one = await made();
  await fire(one);
  const set = journal.sets()[0]?.id ?? '';
  one.link.after = () => {
    throw lost();
  };
  await one.station.again(set, { frames: [3] });
  await one.station.settled();
  await pinned('fired-again-in-vain', [one]);
});

/** A program that dies in the release of this number, whose file has come or not. */
async function dying(body: PracticeBody, release: number, came: boolean, request: object): Promise<Made> {
  const one = await made({}, body, true);
  const died = new Promise<void>((resolve) => {
    const die = async () => {
      resolve();
      return never();
    };
    one.link.before = (count) => (count === release && !came ? die() : undefined);
    one.link.after = (count) => (count === release && came ? die() : undefined);
  });
  await one.station.start(request);
  await died;
  await one.link.looked();
  return one;
}

it.each([
  ['before', false],
  ['after', true],
] as const)('a program that is killed %s a file has come, and another one goes on', async (when, came) => {
  const body = new PracticeBody(AT_ONCE);
  const first = await dying(body, 5, came, NINE);
  const second = await made({}, body);
  await second.station.resume();
  await second.station.settled();
  await pinned(`gone-on-with-killed-${when}`, [first, second]);
});

it('a run that was cut off is ended', async () => {
  const body = new PracticeBody(AT_ONCE);
  const first = await dying(body, 5, true, NINE);
  const second = await made({}, body);
  await second.station.endUnfinished();
  await pinned('cut-off-and-ended', [first, second]);
});

it('a schedule of three sets, one of which goes wrong', async () => {
  const one = await made({ shape: 'none' });
  one.link.after = (count) => {
    if (count >= 5 && count <= 8) throw lost();
    return undefined;
  };
  await fire(one, { ...THREE, schedule: { every: '4min', count: 3 }, name: 'Boathouse' });
  await pinned('schedule', [one]);
});

it('a schedule that is killed in its second set and gone on with', async () => {
  const body = new PracticeBody(AT_ONCE);
  const first = await dying(body, 5, false, { ...THREE, schedule: { every: '4min', count: 3 } });
  const second = await made({}, body);
  await second.station.resume();
  await second.station.settled();
  await pinned('schedule-gone-on-with', [first, second]);
});
