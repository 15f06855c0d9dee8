// The part of the program that makes a set and resumes one, over a body that lives in the process that
// started it: so the program can be killed at a moment that is found by counting, and the body stays. It says
// what it did, line by line.
//
// Instead of being killed it may find the disk of its journal full: from a counted commit on, or at that one
// alone.
//
// Arguments: the folder for everything; where it is to be killed, as what is counted and at which count; and,
// if it is not to begin a set, what to do with the existing set: `complete`, or the frames to be fired again.
import fsp from 'node:fs/promises';
import { syncBuiltinESMExports } from 'node:module';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import Sqlite from 'better-sqlite3';
import { EvenrungError } from '../../shared/errors.js';
import type {
  BringOptions,
  FiredFrame,
  FireOptions,
  Heard,
  Link,
  ListedFile,
  Piece,
  PressOptions,
  Setting,
  Settings,
} from '../../src/camera/index.js';
import { Journal } from '../../src/journal/index.js';
import { openJudge } from '../../src/light/index.js';
import { Owner } from '../../src/system/index.js';
import { stationOver } from '../harness/station.js';
import { type Answered, type Asked, HOW } from './protocol.js';

const [, , root = '', counted = '', at = '0', does = 'begin'] = process.argv;
const how = process.env[HOW];
/** This module runs as a bundle, from dist/tests/resume. */
const LIGHT_PROCESS = fileURLToPath(new URL('../../program/light-process.js', import.meta.url));
const into = path.join(root, 'sets');
const stateFolder = path.join(root, 'state');

let count = 0;
/** @param what is about to be done, or was just done */
function tick(what: string): void {
  if (counted !== what) return;
  count += 1;
  if (count === Number(at)) process.kill(process.pid, 'SIGKILL');
}
const inSets = (file: unknown): boolean => typeof file === 'string' && path.resolve(file).startsWith(into);

// Every call that changes something in the folder of sets is one operation.
const CHANGING = [
  ...(['open', 'mkdir', 'rename', 'rm', 'rmdir', 'writeFile', 'truncate'] as const),
  ...(['unlink', 'link', 'copyFile', 'utimes', 'appendFile'] as const),
];
for (const name of CHANGING) {
  const real = fsp[name] as (...args: unknown[]) => Promise<unknown>;
  Object.assign(fsp, {
    [name]: async (...args: unknown[]) => {
      const isChange = inSets(args[0]) && !(name === 'open' && args[1] === 'r');
      if (isChange) tick('file');
      return real(...args);
    },
  });
}
syncBuiltinESMExports();
{
  const handle = await fsp.open(process.execPath, 'r');
  const shape = Object.getPrototypeOf(handle) as { sync: () => Promise<void> };
  const real = shape.sync;
  shape.sync = function sync() {
    tick('file');
    return real.call(this);
  };
  await handle.close();
}
{
  const shape = Journal.prototype as unknown as { write: (work: () => unknown) => unknown };
  const real = shape.write;
  let depth = 0;
  shape.write = function write(work) {
    if (depth > 0) return real.call(this, work);
    tick('before');
    depth += 1;
    try {
      return real.call(this, work);
    } finally {
      depth -= 1;
      tick('after');
    }
  };
}

/** SQLite's own answer of a full disk to a commit. */
function refuseCommits(of: Journal): void {
  const inside = of as unknown as { transaction: (work: () => unknown) => unknown };
  const real = inside.transaction;
  let depth = 0;
  inside.transaction = (work) => {
    if (depth === 0) {
      count += 1;
      const isFull = counted === 'full' ? count >= Number(at) : count === Number(at);
      if (Number(at) > 0 && isFull) throw new Sqlite.SqliteError('database or disk is full', 'SQLITE_FULL');
    }
    depth += 1;
    try {
      return real(work);
    } finally {
      depth -= 1;
    }
  };
}

class ParentLink implements Link {
  private readonly waiting = new Map<number, (answer: Answered) => void>();
  private last = 0;

  constructor() {
    process.on('message', (answer: Answered) => {
      this.waiting.get(answer.id)?.(answer);
      this.waiting.delete(answer.id);
    });
  }

  protected async ask<T>(method: Asked['method'], ...args: unknown[]): Promise<T> {
    this.last += 1;
    const id = this.last;
    const answered = new Promise<Answered>((resolve) => this.waiting.set(id, resolve));
    process.send?.({ id, method, args } satisfies Asked);
    const answer = await answered;
    if ('error' in answer) {
      const { code, message, details } = answer.error;
      throw new EvenrungError(code, message, details);
    }
    return answer.value as T;
  }

  identify = () => this.ask<never>('identify');
  readLimits = () => this.ask<never>('readLimits');
  readSettings = () => this.ask<Settings>('readSettings');
  changeSetting = (name: string, value: string) => this.ask<Setting>('changeSetting', name, value);
  fire = (options: FireOptions) => this.ask<FiredFrame>('fire', options);
  letGo = async () => undefined;
}

class ApartParentLink extends ParentLink {
  press = (options: PressOptions) => this.ask<void>('press', options);
  unpress = () => this.ask<void>('unpress');
  listen = (ms: number) => this.ask<Heard>('listen', ms);
  bring = (options: BringOptions) => this.ask<Piece>('bring', options);
  list = () => this.ask<readonly ListedFile[]>('list');
}

function begin(): Promise<unknown> {
  const release = how === 'pass' ? 'pass' : 'frame';
  if (does === 'begin') return station.start({ frames: 9, step: 1, base: '1/60', release });
  const [set] = journal.sets({ limit: 1 });
  if (set === undefined) throw new Error('There is no set.');
  if (does === 'complete') return station.complete(set.id);
  const [, darker, brighter] = /^extend (\d+) (\d+)$/.exec(does) ?? [];
  if (darker !== undefined)
    return station.extend(set.id, { darker: Number(darker), brighter: Number(brighter) });
  return station.again(set.id, { frames: does.split(',').map(Number) });
}

const owner = await Owner.take(stateFolder, { what: 'test' });
const journal = await Journal.open(stateFolder, { onKeptAside: ({ sentence }) => console.log(sentence) });
if (counted === 'full' || counted === 'refused') refuseCommits(journal);
const link = how === 'apart' || how === 'pass' ? new ApartParentLink() : new ParentLink();
const { station, events } = stationOver(root, link, {
  into,
  stateFolder,
  journal,
  log: (line) => console.log(line),
  ...(how === 'judged' ? { openJudge: () => openJudge({ entry: LIGHT_PROCESS }) } : {}),
});
process.on('exit', () => console.log(`counted ${count}`));
// As the daemon does: files that a killed program left behind are swept.
await station.checkFolder();
station.tellUnfinished();
await station.look();
if (station.problem !== null) throw station.problem;
if (station.unfinished() === null) {
  if (counted === '') console.log('nothing-unfinished');
  else await begin();
} else {
  await station.resume();
}
await station.settled();
await station.proved();
await station.close();
if (events.state.run !== null) console.log(`${events.state.run.state}: ${events.state.run.sentence}`);
journal.close();
await owner.release();
process.disconnect();
