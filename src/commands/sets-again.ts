// `sets reshoot`, `sets complete`, `sets extend` and `sets fetch`: a set that has ended is taken up again in its own folder. They own the state folder and use a
// body, as `fire` does.
import path from 'node:path';
import { type Command, InvalidArgumentError } from 'commander';
import type { Logger } from 'pino';
import { EvenrungError } from '../../shared/errors.js';
import { ENDED } from '../../shared/fold.js';
import { type Again, type Extend, extendSchema } from '../../shared/kept.js';
import { MOST_FRAMES } from '../../shared/request.js';
import { findSet } from '../journal/index.js';
import type { Run } from '../set/index.js';
import { EventLog, Station, type Wanted } from '../station/index.js';
import { judging } from './options/judging.js';
import {
  type BodyOptions,
  bodyOption,
  cameraOption,
  finderOptions,
  framesTo,
  linkOption,
  patienceOption,
} from './options/options.js';
import { type OwnedState, takeState } from './owned-state.js';
import { exitCodeOf, onStopSignal, STOPPED, STOPPING } from './process.js';
import { type OtherWords, printJson, wordsPrinter } from './words/fire-words.js';

interface TakeUpAgainOptions extends BodyOptions {
  /** Seconds. */
  readonly patience: number;
  readonly json?: boolean;
}

interface ChosenOptions {
  readonly frames?: readonly number[];
  readonly pass?: number;
}

export function addAgain(sets: Command, log: Logger): void {
  const command = sets
    .command('reshoot')
    .alias('again')
    .description('reshoot frames of a finished set, and keep both')
    .option('--frames <numbers>', 'which frames by their numbers, such as 3,4', frameNumbers)
    .option('--pass <n>', 'all frames of one pass, fired as a bracket', passNumber);
  withBody(command).action(async (id: string, _: unknown, self: Command) => {
    const options: TakeUpAgainOptions & ChosenOptions = self.optsWithGlobals();
    process.exitCode = await takeUpAgain(id, chosenBy(options), options, log);
  });
}

export function addComplete(sets: Command, log: Logger): void {
  const command = sets.command('complete').description('shoot the missing frames of a finished set');
  withBody(command).action(async (id: string, _: unknown, self: Command) => {
    process.exitCode = await takeUpAgain(id, 'complete', self.optsWithGlobals(), log);
  });
}

export function addExtend(sets: Command, log: Logger): void {
  const command = sets
    .command('extend')
    .description(
      'add darker or brighter frames to a finished set, and shoot missing ones; without a number, as many as it needs where it has lost highlights or shadows',
    )
    .option('--darker <n>', 'how many darker frames', framesTo(MOST_FRAMES - 1))
    .option('--brighter <n>', 'how many brighter frames', framesTo(MOST_FRAMES - 1));
  withBody(command).action(async (id: string, _: unknown, self: Command) => {
    const options: TakeUpAgainOptions & Extend = self.optsWithGlobals();
    process.exitCode = await takeUpAgain(id, { extend: extensionBy(options) }, options, log);
  });
}

/** @throws EvenrungError malformed-request */
function extensionBy({ darker, brighter }: Extend): Extend {
  const extend = {
    ...(darker === undefined ? {} : { darker }),
    ...(brighter === undefined ? {} : { brighter }),
  };
  if (extendSchema.safeParse(extend).success) return extend;
  throw new EvenrungError(
    'malformed-request',
    'No frame would be added: give --darker 1 or --brighter 2, for example, or neither.',
  );
}

export function addFetch(sets: Command, log: Logger): void {
  const command = sets
    .command('fetch')
    .description('fetch files of a finished set that are still in the camera; nothing is fired');
  withBody(command).action(async (id: string, _: unknown, self: Command) => {
    process.exitCode = await takeUpAgain(id, 'fetch', self.optsWithGlobals(), log);
  });
}

const withBody = (command: Command): Command =>
  command
    .argument('<id>', 'id of the set, or the beginning of it')
    .addOption(bodyOption())
    .addOption(cameraOption())
    .addOption(linkOption())
    .addOption(patienceOption())
    .option('--json', 'print JSON, an event a line');

/** @throws EvenrungError malformed-request */
function chosenBy({ frames, pass }: ChosenOptions): Again {
  if (frames !== undefined && pass === undefined) return { frames: [...frames] };
  if (pass !== undefined && frames === undefined) return { pass };
  throw new EvenrungError(
    'malformed-request',
    'Say what to reshoot: --frames 3,4 for some frames, or --pass 2 for a whole pass.',
  );
}

/** @returns the exit code */
async function takeUpAgain(
  id: string,
  wanted: Wanted,
  options: TakeUpAgainOptions,
  log: Logger,
): Promise<number> {
  const state = await takeState('sets', log);
  try {
    return await takeUpAgainWith(state, id, wanted, options, log);
  } finally {
    state.release();
  }
}

async function takeUpAgainWith(
  { journal }: OwnedState,
  id: string,
  wanted: Wanted,
  options: TakeUpAgainOptions,
  log: Logger,
): Promise<number> {
  // Before a body is looked for: a slip in the id is said at once.
  const set = findSet(journal, id);
  const events = new EventLog();
  const station = new Station({
    ...finderOptions(options, log),
    into: path.dirname(set.folder ?? '.'),
    events,
    journal,
    ...judging(),
    patienceMs: options.patience * 1000,
  });
  let stopped = false;
  const forget = onStopSignal(() => {
    stopped = true;
    if (!options.json) process.stderr.write(`${STOPPING}\n`);
    void station.close();
  });
  const print = options.json ? printJson : wordsPrinter(wordsFor(wanted));
  let isOver = false;
  events.watch((event) => {
    const { happening } = event;
    if (isOver && happening.type !== 'light') return;
    print(event);
    isOver ||= happening.type === 'run-state' && ENDED.has(happening.state);
  });
  try {
    await station.look();
    if (stopped) return STOPPED;
    if (station.problem !== null) throw station.problem;
    const run = await begin(station, set.id, wanted);
    await station.settled();
    if (!stopped) await station.proved();
    // A set may be complete although it was stopped.
    if (stopped) return STOPPED;
    if (run.error === null) return 0;
    if (options.json) process.stdout.write(`${JSON.stringify(run.error.toWire())}\n`);
    return exitCodeOf(run.error);
  } finally {
    await station.close();
    forget();
  }
}

function begin(station: Station, id: string, wanted: Wanted): Promise<Run> {
  if (wanted === 'fetch') return station.fetch(id);
  if (wanted === 'complete') return station.complete(id);
  return 'extend' in wanted ? station.extend(id, wanted.extend) : station.again(id, wanted);
}

function wordsFor(wanted: Wanted): OtherWords {
  if (wanted === 'fetch') return { begins: () => 'Looking in the camera for missing files', singly: '' };
  if (wanted === 'complete' || 'extend' in wanted)
    return {
      begins: ({ frames }) =>
        `To be shot: ${listed(frames.flatMap(({ number, state }) => (state === 'verified' ? [] : [number])))} of ${frames.length}`,
      singly: 'Shooting missing frames one at a time',
    };
  return {
    begins: ({ frames, plan }) =>
      'pass' in wanted
        ? `Reshooting pass ${wanted.pass} of ${plan.passes.length}`
        : `Reshooting ${listed(wanted.frames)} of ${frames.length}`,
    singly: 'One at a time, with the bracket off',
  };
}

const listed = (numbers: readonly number[]): string =>
  `${numbers.length === 1 ? 'frame' : 'frames'} ${numbers.join(', ')}`;

function frameNumbers(text: string): number[] {
  if (/^\s*\d{1,3}(\s*,\s*\d{1,3})*\s*$/.test(text)) return text.split(',').map(Number);
  throw new InvalidArgumentError('give the numbers of frames, such as 3,4.');
}

function passNumber(text: string): number {
  if (/^\d{1,3}$/.test(text)) return Number(text);
  throw new InvalidArgumentError('give the number of a pass, such as 2.');
}
