// `learn`: finds out what the wire does not tell of a body, shows it, and keeps it for later plans.
import type { Command } from 'commander';
import type { Logger } from 'pino';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { BodyProfile, DirectProfile } from '../../shared/profile.js';
import { EventLog, Station } from '../station/index.js';
import {
  type BodyOptions,
  bodyOption,
  cameraOption,
  finderOptions,
  LONGEST_WAIT_SECONDS,
  linkOption,
  secondsTo,
} from './options/options.js';
import { takeState } from './owned-state.js';
import { onStopSignal, STOPPED, STOPPING, wrapped } from './process.js';

interface LearnCommandOptions extends BodyOptions {
  readonly longest: number;
  readonly json?: boolean;
}

const LONGEST_SECONDS = 17;

export function addLearn(program: Command, log: Logger): void {
  program
    .command('learn')
    .description('find out from a short series how the camera brackets, and how long it takes')
    .addOption(bodyOption())
    .addOption(cameraOption())
    .addOption(linkOption())
    .option(
      '--longest <s>',
      'longest exposure to time, in seconds; 0 skips long exposures',
      secondsTo(LONGEST_WAIT_SECONDS),
      LONGEST_SECONDS,
    )
    .option('--json', 'print JSON')
    .action(async (options: LearnCommandOptions) => {
      process.exitCode = await learn(options, log);
    });
}

/** @returns the exit code */
async function learn(options: LearnCommandOptions, log: Logger): Promise<number> {
  const state = await takeState('learn', log);
  try {
    return await learnWith(options, log);
  } finally {
    state.release();
  }
}

async function learnWith(options: LearnCommandOptions, log: Logger): Promise<number> {
  const station = new Station({ ...finderOptions(options, log), into: '.', events: new EventLog() });
  let stopped = false;
  const forget = onStopSignal(() => {
    stopped = true;
    if (!options.json) process.stderr.write(`${STOPPING}\n`);
  });
  try {
    await station.look();
    if (station.problem !== null) throw station.problem;
    let announced = false;
    const { profile, path, trouble, notes } = await station.learn({
      longestSeconds: options.longest,
      stopping: () => stopped,
      onStep: ({ message, most }) => {
        if (options.json) return;
        if (!announced)
          process.stdout.write(`Evenrung fires at most ${most} frames, and keeps none of them.\n`);
        announced = true;
        process.stdout.write(`  ${message}\n`);
      },
    });
    process.stdout.write(
      options.json ? `${JSON.stringify({ profile, path, notes })}\n` : inWords(profile, path, notes),
    );
    if (trouble !== null) throw new EvenrungError('not-put-back', trouble);
    return 0;
  } catch (cause) {
    // Only if the body is left as it was found.
    if (stopped && asEvenrungError(cause).code === 'ending') return STOPPED;
    throw cause;
  } finally {
    await station.close();
    forget();
  }
}

function inWords(profile: BodyProfile, path: string, notes: readonly string[]): string {
  const { patterns, restarts, beyondRange, longTime, noiseReduction, timing, direct } = profile;
  const lines = [
    `${profile.model}${profile.serial === null ? '' : `, serial number ${profile.serial}`}:`,
    ...(patterns ?? []).map(
      (pattern) => `  brackets ${pattern.length} frames in the order ${pattern.map(signed).join(', ')}`,
    ),
    ...(patterns === undefined
      ? ['  has no auto-bracket over the cable: each frame is fired by itself']
      : []),
    ...(restarts === undefined
      ? []
      : [
          restarts
            ? '  restarts the bracket if it is turned off and on'
            : '  continues the bracket where it was if it is turned off and on',
        ]),
    ...(beyondRange === undefined ? [] : [`  past its shortest time: ${BEYOND[beyondRange]}`]),
    ...(longTime === undefined ? [] : [`  ${longTime.shutter} s take ${longTime.seconds} s`]),
    ...(noiseReduction ? ['  takes a dark frame after a long exposure, as long as the exposure itself'] : []),
    ...(timing === undefined
      ? []
      : [
          `  ${timing.secondsPerChange} s a change of settings${timing.secondsPerSetting > 0 ? ` and ${timing.secondsPerSetting} s a setting on the way` : ''}, ${timing.secondsPerFrame} s a frame on top of its exposure`,
        ]),
    ...(direct === undefined ? [] : directly(direct)),
    ...notes,
    `Kept in ${path}`,
  ];
  return `${lines.flatMap((line) => wrapped(line, '    ')).join('\n')}\n`;
}

function directly(direct: DirectProfile): string[] {
  const { oneRelease, mostInOneGo, pairs, sendsWhileExposing, timing } = direct;
  return [
    timing.secondsPerPiece === undefined
      ? '  can be reached directly; each file comes whole before the next release'
      : '  can be reached directly: the next frame is fired while the file of the one before is coming',
    oneRelease
      ? `  fires up to ${mostInOneGo} frames of a bracket from one release`
      : '  fires one frame from each release',
    ...(pairs ? ['  sends both files of a frame'] : []),
    ...(sendsWhileExposing === undefined
      ? []
      : [
          sendsWhileExposing
            ? '  sends files while its shutter is open'
            : '  sends nothing while its shutter is open',
        ]),
    `  ${timing.secondsPerTransfer} s for the files of a frame to come`,
  ];
}

const BEYOND: Readonly<Record<NonNullable<BodyProfile['beyondRange']>, string>> = {
  clamped: 'it repeats that time without saying so',
  refused: 'it brings no frame',
  other: 'it does something other than it was told',
};

const signed = (position: number): string => (position > 0 ? `+${position}` : String(position));
