// `fire`: one set, from the request to the set folder; or the same set again and again, until its schedule is over.
import type { Command } from 'commander';
import type { Logger } from 'pino';
import { EvenrungError } from '../../shared/errors.js';
import { ENDED } from '../../shared/fold.js';
import { LONGEST_DELAY_SECONDS } from '../../shared/request.js';
import { parseRunRequest, type WrittenRunRequest } from '../../shared/run-request.js';
import type { ForeseenSchedule, Happening, ScheduleView } from '../../shared/state.js';
import { type Alarm, EventLog, Station } from '../station/index.js';
import { fireAt } from './fire-at.js';
import { type AlarmChoice, addAlarmOptions, alarmFrom } from './options/alarm-options.js';
import { addressIn } from './options/daemon-at.js';
import { judging } from './options/judging.js';
import {
  addExtendOption,
  addNamingOptions,
  addRequestOptions,
  type BodyOptions,
  bodyOption,
  cameraOption,
  finderOptions,
  intoOption,
  type LimitOptions,
  linkOption,
  type NamingOptions,
  namingOf,
  narrowTo,
  patienceOption,
  type RequestOptions,
  secondsTo,
} from './options/options.js';
import {
  addLabelOptions,
  addLightOptions,
  addScheduleOptions,
  addSpanOptions,
  type DelayOptions,
  endedBeforeSunrise,
  type LabelOptions,
  type LightOptions,
  type ScheduleOptions,
  type SpanOptions,
  writtenRunRequest,
} from './options/run-options.js';
import { type OwnedState, takeState } from './owned-state.js';
import { exitCodeOf, onStopSignal, STOPPED, STOPPING } from './process.js';
import { printJson, wordsPrinter } from './words/fire-words.js';
import { foreseenInWords, isOver } from './words/schedule-words.js';

interface FireOptions
  extends RequestOptions,
    LimitOptions,
    BodyOptions,
    ScheduleOptions,
    LabelOptions,
    LightOptions,
    SpanOptions,
    NamingOptions,
    DelayOptions,
    AlarmChoice {
  readonly into: string;
  /** Seconds. */
  readonly patience: number;
  readonly json?: boolean;
}

export function addFire(program: Command, log: Logger): void {
  const command = program.command('fire').description('shoot one set, or the same set on a schedule');
  for (const add of [
    addRequestOptions,
    addExtendOption,
    addLabelOptions,
    addScheduleOptions,
    addLightOptions,
    addSpanOptions,
    addNamingOptions,
    addAlarmOptions,
  ])
    add(command);
  command
    .addOption(bodyOption())
    .addOption(cameraOption())
    .addOption(linkOption())
    .addOption(patienceOption())
    .addOption(intoOption())
    .option('--delay <s>', 'seconds to wait before the first frame', secondsTo(LONGEST_DELAY_SECONDS))
    .option('--at <address>', 'address of the Evenrung that fires it, on this computer or another');
  // Formerly the address was given with --to, as the brightest frame is; the form of the value shows which is
  // meant.
  command.options
    .find(({ long }) => long === '--to')
    ?.argParser((text, before: To = {}) =>
      isAddress(text) ? { ...before, address: text } : { ...before, ev: text },
    );
  command.action(async ({ to, at, ...others }: Omit<FireOptions, 'to'> & { to?: To; at?: string }) => {
    const options: FireOptions = { ...others, ...(to?.ev === undefined ? {} : { to: to.ev }) };
    const address = addressIn({
      ...(at === undefined ? {} : { at }),
      ...(to?.address === undefined ? {} : { to: to.address }),
    });
    if (address === undefined) process.exitCode = await fire(options, log);
    else {
      mustBeForDaemon(command);
      process.exitCode = await fireThere(address, options);
    }
  });
}

interface To {
  readonly ev?: string;
  readonly address?: string;
}

const isAddress = (text: string): boolean => text.includes('://');

/** Options that a daemon decides by itself. */
const NOT_FOR_DAEMON = [
  ...['into', 'body', 'camera', 'patience', 'frameName', 'setName', 'onHalt', 'webhook'],
  ...['maxFrames', 'bodySteps', 'compRange', 'shutterRange', 'inOneGo'],
];

/** @throws EvenrungError malformed-request */
function mustBeForDaemon(command: Command): void {
  const given = NOT_FOR_DAEMON.find((name) => command.getOptionValueSource(name) === 'cli');
  if (given === undefined) return;
  const option = command.options.find((one) => one.attributeName() === given)?.long ?? given;
  throw new EvenrungError(
    'malformed-request',
    `${option} is set where that Evenrung was started, not here: leave it out.`,
  );
}

/** @returns the exit code */
async function fireThere(address: string, options: FireOptions): Promise<number> {
  const request = writtenRunRequest(options);
  parseRunRequest(request);
  return fireAt({
    address,
    json: options.json === true,
    foreseen: (foresee) => foreseen(foresee, request, options),
    endOfSchedule: (schedule, stopped) => endOfSchedule(schedule, stopped, options),
  });
}

/** @returns the exit code */
async function fire(options: FireOptions, log: Logger): Promise<number> {
  const request = writtenRunRequest(options);
  // Before a body is looked for, so that errors in the request itself are reported at once.
  parseRunRequest(request);
  const alarm = await alarmFrom(options, log);
  const state = await takeState('fire', log);
  try {
    return await fireWith(state, alarm, request, options, log);
  } finally {
    state.release();
    await alarm?.close();
  }
}

async function fireWith(
  { journal }: OwnedState,
  alarm: Alarm | null,
  request: WrittenRunRequest,
  options: FireOptions,
  log: Logger,
): Promise<number> {
  const events = new EventLog();
  const station = new Station({
    ...finderOptions(options, log),
    into: options.into,
    events,
    journal,
    ...judging(),
    patienceMs: options.patience * 1000,
    narrow: narrowTo(options),
    naming: namingOf(options),
    ...(alarm === null ? {} : { alarm }),
  });
  let stopped = false;
  const forget = onStopSignal(() => {
    stopped = true;
    if (!options.json) process.stderr.write(`${STOPPING}\n`);
    void station.close();
  });
  const print = options.json ? printJson : wordsPrinter();
  // After the end of the run only its light is told; events about the body are for clients that stay.
  let isEarlier = false;
  let isOver = false;
  events.watch((event) => {
    const { happening } = event;
    if (isEarlier || (isOver && happening.type !== 'light')) return;
    print(event);
    isOver ||= isEnd(happening, request.schedule !== undefined);
  });
  try {
    await station.look();
    if (stopped) return STOPPED;
    if (station.problem !== null) throw station.problem;
    isEarlier = true;
    await endEarlier(station, options, log);
    isEarlier = false;
    const run = await station.start(await foreseen((asked) => station.foresee(asked), request, options));
    await station.settled();
    if (!stopped) await station.proved();
    isEarlier = true;
    if (!stopped) await proveEarlier(station, options, log);
    if (request.schedule !== undefined) return endOfSchedule(events.state.schedule, stopped, options);
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

/** Proofs of earlier sets that are made before the command ends, at the most. */
const PROVED_LATE = 3;

/** Earlier sets whose program ended before their proof was written get it now: nothing waits for it, and nothing is fired. */
async function proveEarlier(station: Station, { json }: FireOptions, log: Logger): Promise<void> {
  const missing = Math.min(PROVED_LATE, await station.proofsMissing());
  if (missing === 0) return;
  const what =
    missing === 1
      ? 'Writing the proof that an earlier set lacks.'
      : `Writing the proofs that ${missing} earlier sets lack.`;
  const sentence = `${what} Press Ctrl-C to leave that for another time.`;
  if (json) log.warn(sentence);
  else process.stdout.write(`${sentence}\n`);
  await station.proveLate(PROVED_LATE);
}

/** @returns the request to begin: with another end, if a schedule was to end before sunrise */
async function foreseen(
  foresee: (asked: WrittenRunRequest) => Promise<ForeseenSchedule>,
  request: WrittenRunRequest,
  { stopBeforeSunrise, json }: FireOptions,
): Promise<WrittenRunRequest> {
  if (request.schedule === undefined) return request;
  const asked = await foresee(request);
  const ended = stopBeforeSunrise ? endedBeforeSunrise(request.schedule, asked) : null;
  const begun = ended === null ? request : { ...request, schedule: ended };
  if (json) return begun;
  const lines = foreseenInWords(ended === null ? asked : await foresee(begun));
  process.stdout.write(`${lines.join('\n')}\n`);
  return begun;
}

/** Whether this is the last event about the run that was begun. */
function isEnd(happening: Happening, isScheduled: boolean): boolean {
  if (isScheduled)
    return happening.type === 'schedule' && happening.schedule !== null && isOver(happening.schedule.state);
  return happening.type === 'run-state' && ENDED.has(happening.state);
}

/** @returns the exit code */
function endOfSchedule(schedule: ScheduleView | null, stopped: boolean, { json }: FireOptions): number {
  // Gone through to its end; where sets halted, or there was no camera, scripts have to know.
  if (schedule?.state === 'complete' && schedule.error === null) return 0;
  if (schedule?.state === 'stopped' && stopped) return STOPPED;
  if (json && schedule?.error != null)
    process.stdout.write(
      `${JSON.stringify(new EvenrungError(schedule.error, schedule.sentence ?? schedule.state).toWire())}\n`,
    );
  return 1;
}

/**
 * Somebody who fires a new set is done with one that was cut off: that set gets its record, and its frames
 * stay.
 */
async function endEarlier(station: Station, { json }: FireOptions, log: Logger): Promise<void> {
  const unfinished = station.unfinished();
  if (unfinished === null) return;
  const { verified, frames, folder } = unfinished;
  const where = folder === null ? '' : ` Its frames stay in ${folder}.`;
  const what =
    frames === 0
      ? 'An earlier schedule was interrupted between two sets'
      : `An earlier set was interrupted after ${verified} of ${frames} frames`;
  const sentence = `${what}, and is ended now.${where}`;
  if (json) log.warn(sentence);
  else process.stdout.write(`${sentence}\n`);
  await station.endUnfinished();
}
