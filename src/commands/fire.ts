// `fire`: one set, from the request to the set folder.
import type { Command } from 'commander';
import type { Logger } from 'pino';
import { ENDED } from '../../shared/fold.js';
import { parseSetRequest, type WrittenSetRequest } from '../../shared/request.js';
import type { NumberedEvent } from '../../shared/state.js';
import { formatEv, fromEv } from '../exposure/index.js';
import { EventLog, Station } from '../run/index.js';
import {
  addRequestOptions,
  type BodyOptions,
  bodyOption,
  cameraOption,
  counted,
  finderOptions,
  type LimitOptions,
  narrowTo,
  patienceOption,
  type RequestOptions,
  writtenRequest,
} from './options.js';
import { type OwnedState, takeState } from './owned-state.js';
import { ANSWERS_AGAIN, exitCodeOf, moreAbout, onStopSignal, STOPPED, STOPPING } from './process.js';

interface FireOptions extends RequestOptions, LimitOptions, BodyOptions {
  readonly into: string;
  /** Seconds. */
  readonly patience: number;
  readonly json?: boolean;
}

export function addFire(program: Command, log: Logger): void {
  addRequestOptions(program.command('fire').description('fire one set and leave its set folder in a folder'))
    .addOption(bodyOption())
    .addOption(cameraOption())
    .addOption(patienceOption())
    .option('--into <folder>', 'folder that takes the set folder', '.')
    .action(async (options: FireOptions) => {
      process.exitCode = await fire(options, log);
    });
}

/** @returns the exit code */
async function fire(options: FireOptions, log: Logger): Promise<number> {
  const request = writtenRequest(options);
  // Before a body is looked for: what is wrong with the request itself is said at once.
  parseSetRequest(request);
  const state = await takeState('fire', log);
  try {
    return await fireWith(state, request, options, log);
  } finally {
    state.release();
  }
}

async function fireWith(
  { journal }: OwnedState,
  request: WrittenSetRequest,
  options: FireOptions,
  log: Logger,
): Promise<number> {
  const events = new EventLog();
  const station = new Station({
    ...finderOptions(options, log),
    into: options.into,
    events,
    journal,
    patienceMs: options.patience * 1000,
    narrow: narrowTo(options),
  });
  let stopped = false;
  const forget = onStopSignal(() => {
    stopped = true;
    if (!options.json) process.stderr.write(`${STOPPING}\n`);
    void station.close();
  });
  const print = options.json ? printJson : wordsPrinter();
  // The end of the run is the last line: what is told of the body after it is for those who stay.
  let isEarlier = false;
  const unwatch = events.watch((event) => {
    if (isEarlier) return;
    print(event);
    if (event.happening.type === 'run-state' && ENDED.has(event.happening.state)) unwatch();
  });
  try {
    await station.look();
    if (stopped) return STOPPED;
    if (station.problem !== null) throw station.problem;
    isEarlier = true;
    await endEarlier(station, options, log);
    isEarlier = false;
    const run = await station.start(request);
    await station.settled();
    const state = events.state.run?.state;
    if (state === 'stopped') return STOPPED;
    if (run.error === null) return 0;
    if (options.json) process.stdout.write(`${JSON.stringify(run.error.toWire())}\n`);
    return exitCodeOf(run.error);
  } finally {
    await station.close();
    forget();
  }
}

/** Whoever fires a new set is done with one that was cut off: it gets its record, and its frames stay. */
async function endEarlier(station: Station, { json }: FireOptions, log: Logger): Promise<void> {
  const unfinished = station.unfinished();
  if (unfinished === null) return;
  const { verified, frames, folder } = unfinished;
  const where = folder === null ? '' : ` Its frames stay in ${folder}.`;
  const sentence = `An earlier set was cut off after ${verified} of ${frames} frames, and is ended now.${where}`;
  if (json) log.warn(sentence);
  else process.stdout.write(`${sentence}\n`);
  await station.endUnfinished();
}

const movedWords = (ev: number | null): string =>
  ev === null ? '' : `, but the light moved: ${ev > 0 ? '+' : ''}${ev.toFixed(2)} EV`;

function printJson(event: NumberedEvent): void {
  process.stdout.write(`${JSON.stringify(event)}\n`);
}

/** A line for what a person wants to see go by: the body, each pass, each frame's fate, the end. */
function wordsPrinter(): (event: NumberedEvent) => void {
  let introduced = false;
  let passes = 0;
  let begun = '';
  const say = (line: string) => process.stdout.write(`${line}\n`);
  return ({ happening }) => {
    switch (happening.type) {
      case 'body':
        // Told anew whenever something about it changes.
        if (happening.body.state !== 'ready' || introduced) return;
        introduced = true;
        if (happening.body.note !== null) say(happening.body.note);
        if (happening.body.body.link === 'practice')
          say('Practice body: nothing is photographed, the scene is invented.');
        else say(`Body: ${happening.body.body.model}`);
        return;
      case 'run': {
        if (happening.run.id === begun) return;
        begun = happening.run.id;
        const { plan, frames } = happening.run;
        passes = plan.passes.length;
        say(
          `${counted(frames.length, 'frame', 'frames')} in ${counted(passes, 'pass', 'passes')}, about ${Math.ceil(plan.estimate.seconds)} s`,
        );
        return;
      }
      case 'pass':
        if (happening.state === 'firing') say(`Pass ${happening.pass} of ${passes}`);
        return;
      case 'frame': {
        const { frame } = happening;
        const name = `  frame ${String(frame.number).padStart(2)}  ${formatEv(fromEv(frame.offset)).padStart(6)} EV  ${`${frame.shutter} s`.padEnd(9)}`;
        if (frame.state === 'verified') say(`${name} verified${movedWords(frame.baseMoved)}`);
        if (frame.state === 'rejected') say(`${name} rejected: ${frame.reason}`);
        return;
      }
      case 'trouble':
        if (happening.trouble === null) say(ANSWERS_AGAIN);
        else say(`${happening.trouble.sentence} ${happening.trouble.next}`);
        return;
      case 'note':
        say(happening.note);
        return;
      case 'run-state':
        if (happening.state === 'making-up') say('Making up what is missing, singly');
        if (!ENDED.has(happening.state)) return;
        say(happening.sentence ?? happening.state);
        if (happening.error !== null) say(moreAbout(happening.error));
        if (happening.folder !== null) say(`Set folder: ${happening.folder}`);
        return;
    }
  };
}
