// Options that several commands have in common, and how their words become a request and limits.
import { type Command, InvalidArgumentError, Option } from 'commander';
import type { Logger } from 'pino';
import { EvenrungError } from '../../../shared/errors.js';
import { listed, shortened } from '../../../shared/plain-words.js';
import {
  FASTEST_LIGHT_EV_PER_MINUTE,
  LARGEST_FILE_BYTES,
  LONGEST_SETTLE_SECONDS,
  leastSchema,
  MOST_FOCAL_LENGTH_MM,
  MOST_FRAMES,
  releaseSchema,
  type WrittenConditions,
  type WrittenSetRequest,
} from '../../../shared/request.js';
import { BODY_CHOICES, type BodyChoice, WAY_CHOICES, type WayChoice } from '../../bodies/index.js';
import type { BodyLimits } from '../../exposure/index.js';
import {
  DEFAULT_FRAME_TEMPLATE,
  DEFAULT_SET_TEMPLATE,
  defaultNaming,
  type Naming,
  parseTemplate,
  type Template,
} from '../../frames/index.js';
import { limitsFromStated, readInOneGo, STATED_DEFAULTS, type StatedLimits } from '../../plan/index.js';
import { configFolder, defaultInto, stateFolder } from './places.js';
import { addReadingOptions, type ReadingOptions, writtenReadings } from './reading-options.js';

export interface RequestOptions extends ReadingOptions {
  readonly frames?: string;
  readonly from?: string;
  readonly to?: string;
  readonly span?: string;
  readonly step?: string;
  readonly base?: string;
  readonly mode: string;
  readonly settle?: number;
  readonly release?: string;
  readonly least?: string;
  readonly extend?: number;
  readonly handHeld?: number;
  readonly mains?: string;
  readonly lightRate?: number;
  readonly noiseReduction?: boolean;
  readonly fileSize?: number;
}

export type LimitOptions = Partial<StatedLimits>;

export function addRequestOptions(command: Command): Command {
  command
    .option('--frames <n>', 'number of frames; an odd number is centred on the base exposure')
    .option('--from <ev>', 'darkest frame, such as -4')
    .option('--to <ev>', 'brightest frame, such as 4')
    .option('--span <ev>', 'EV from the darkest to the brightest frame, centred on the base exposure')
    .option('--step <ev>', 'EV between neighbouring frames: 1, 0.5, 2/3, "1 1/3"');
  return addReadingOptions(command)
    .option('--base <time>', 'shutter time of the base exposure (usual: 1/60)')
    .addOption(
      new Option('--mode <mode>', 'how the exposure changes: by shutter (manual) or compensation (aperture)')
        .choices(['manual', 'aperture'])
        .default('manual'),
    )
    .option(
      '--max-frames <n>',
      `frames that the camera can bracket: 3, or 3,5,7 (without a camera: ${STATED_DEFAULTS.maxFrames})`,
    )
    .option(
      '--body-steps <ev>',
      'bracket steps that the camera has: 1/3,1/2,1,2 (without a camera: thirds up to 3)',
    )
    .option(
      '--comp-range <ev>',
      `how far exposure compensation goes (without a camera: ${STATED_DEFAULTS.compRange})`,
    )
    .option(
      '--shutter-range <times>',
      `longest and shortest time (without a camera: ${STATED_DEFAULTS.shutterRange})`,
    )
    .option(
      '--in-one-go <n>',
      `most frames that one release may fire (without a camera: ${STATED_DEFAULTS.inOneGo})`,
    )
    .addOption(
      new Option(
        '--release <what>',
        "what one release fires: a frame, verified before the next; or a pass at the camera's own speed, verified as its files come",
      ).choices(releaseSchema.options),
    )
    .addOption(
      new Option(
        '--least <what>',
        'keep short the time of the set, or its spread, from the first opening of the shutter to the last closing (usual: time)',
      ).choices(leastSchema.options),
    )
    .option('--settle <s>', 'seconds to wait before each pass', secondsTo(LONGEST_SETTLE_SECONDS))
    .option(
      '--hand-held <mm>',
      'held by hand: the focal length, 35 mm equivalent',
      numberFrom(1, MOST_FOCAL_LENGTH_MM, 'mm'),
    )
    .addOption(new Option('--mains <hz>', 'mains light falls on the scene').choices(['50', '60']))
    .option(
      '--light-rate <ev>',
      'how fast the light changes, in EV a minute',
      numberFrom(0, FASTEST_LIGHT_EV_PER_MINUTE, 'EV a minute'),
    )
    .option('--noise-reduction', 'the camera has long-exposure noise reduction on')
    .option(
      '--file-size <mb>',
      'megabytes of one file, to estimate storage',
      numberFrom(0, LARGEST_FILE_BYTES / 1e6, 'megabytes'),
    )
    .option('--json', 'print JSON');
}

/** For what fires a set, or foresees it. */
export const addExtendOption = (command: Command): Command =>
  command.option(
    '--extend <n>',
    'add up to so many frames at each end if the set loses highlights or shadows there (usual: 0)',
    framesTo(MOST_FRAMES - 1),
  );

/** @returns what reads a number of frames, which may be none */
export const framesTo =
  (most: number): ((text: string) => number) =>
  (text) => {
    if (/^\d{1,9}$/.test(text.trim()) && Number(text) <= most) return Number(text);
    throw new InvalidArgumentError(`give 0 to ${most} frames.`);
  };

export function bodyOption(): Option {
  return new Option(
    '--body <kind>',
    'practice, usb, or auto: a camera if there is one, else the practice camera',
  )
    .argParser((value): BodyChoice => {
      const choice = BODY_CHOICES.find((candidate) => candidate === value);
      if (choice !== undefined) return choice;
      throw new EvenrungError(
        'unknown-body',
        `--body cannot be '${shortened(value)}': give ${listed(BODY_CHOICES)}.`,
      );
    })
    .default('auto');
}

export function linkOption(): Option {
  return new Option(
    '--link <way>',
    'how cameras are reached: binding (the usual way), direct (quicker, once learnt), or auto (as each was learnt)',
  )
    .choices(WAY_CHOICES)
    .default('auto');
}

export function cameraOption(): Option {
  return new Option('--camera <which>', 'serial number or model of the camera, if several are connected');
}

/** One folder for all that fires, unless another is named. */
export function intoOption(): Option {
  return new Option('--into <folder>', 'folder that takes the set folders').default(defaultInto());
}

export function patienceOption(): Option {
  return new Option(
    '--patience <s>',
    'seconds to wait for a camera that is gone or busy, before the set fails',
  )
    .argParser(secondsTo(LONGEST_WAIT_SECONDS))
    .default(60);
}

/** Judged as they are read: a name that does not work must not come up when frames come. */
export interface NamingOptions {
  readonly frameName?: Template;
  readonly setName?: Template;
}

/** @throws EvenrungError template-unusable, when the command line is parsed */
export const addNamingOptions = (command: Command): Command =>
  command
    .addOption(
      new Option(
        '--frame-name <template>',
        `names of frame files, such as {name}_{frame}_{offset}EV (usual: ${DEFAULT_FRAME_TEMPLATE})`,
      ).argParser((text) => parseTemplate(text, 'frame')),
    )
    .addOption(
      new Option(
        '--set-name <template>',
        `names of set folders, such as {date}_{name}_{set} (usual: ${DEFAULT_SET_TEMPLATE})`,
      ).argParser((text) => parseTemplate(text, 'set')),
    );

export const namingOf = ({ frameName, setName }: NamingOptions): Naming => {
  const { frame, set } = defaultNaming();
  return { frame: frameName ?? frame, set: setName ?? set };
};

export interface BodyOptions {
  readonly body: BodyChoice;
  readonly camera?: string;
  readonly link: WayChoice;
}

/** The options that every command which looks for bodies passes on. */
export const finderOptions = ({ body, camera, link }: BodyOptions, log: Logger) => ({
  choice: body,
  way: link,
  camera,
  stateFolder: stateFolder(),
  configFolder: configFolder(),
  log: (line: string) => log.warn(line),
  logAt: (level: 'debug' | 'warn', line: string) => log[level]({ from: 'camera process' }, line),
});

/**
 * @returns the request as it is written on the wire; mistakes in it are found where every request is parsed
 */
export function writtenRequest(options: RequestOptions): WrittenSetRequest {
  const { frames, from, to, span, step, base, mode, settle, release, least, extend } = options;
  const readings = writtenReadings(options);
  if (step === undefined)
    throw new EvenrungError('malformed-request', 'Give the step between frames: --step 1, for example.');
  return {
    step,
    mode: mode === 'aperture' ? 'aperture' : 'manual',
    ...(frames === undefined ? {} : { frames: wholeNumber(frames) }),
    ...(span === undefined ? {} : { span }),
    ...(from === undefined ? {} : { from }),
    ...(to === undefined ? {} : { to }),
    ...(readings === undefined ? {} : { readings }),
    ...(base === undefined ? {} : { base }),
    ...(settle === undefined ? {} : { settle }),
    ...(release === undefined ? {} : { release: releaseSchema.parse(release) }),
    ...(least === undefined ? {} : { least: leastSchema.parse(least) }),
    ...(extend === undefined ? {} : { extend }),
    conditions: writtenConditions(options),
  };
}

function writtenConditions(options: RequestOptions): WrittenConditions {
  const { handHeld, mains, lightRate, noiseReduction, fileSize } = options;
  return {
    ...(handHeld === undefined ? {} : { handHeldMm: handHeld }),
    ...(mains === undefined ? {} : { mainsHz: mains === '60' ? 60 : 50 }),
    ...(lightRate === undefined ? {} : { lightEvPerMinute: lightRate }),
    ...(noiseReduction === undefined ? {} : { noiseReduction }),
    ...(fileSize === undefined ? {} : { fileBytes: Math.max(1, Math.round(fileSize * 1e6)) }),
  };
}

/** A longer time is a typing mistake. */
export const LONGEST_WAIT_SECONDS = 9999;

/** @returns a function that reads a number of this unit, and names both ends if it is not one */
export function numberFrom(least: number, most: number, unit: string): (text: string) => number {
  return (text) => {
    const value = /^\d{1,9}(?:\.\d{1,9})?$/.test(text.trim()) ? Number(text) : Number.NaN;
    if (value >= least && value <= most) return value;
    throw new InvalidArgumentError(`give ${least} to ${most} ${unit}.`);
  };
}

export const secondsTo = (most: number): ((text: string) => number) => numberFrom(0, most, 'seconds');

function wholeNumber(text: string): number {
  if (/^[+-]?\d{1,9}$/.test(text.trim())) return Number(text);
  throw new EvenrungError(
    'frames-out-of-range',
    `'${shortened(text)}' is not a number of frames: give a whole number from 1 to ${MOST_FRAMES}.`,
  );
}

export const statedLimits = (options: LimitOptions): BodyLimits =>
  limitsFromStated({
    maxFrames: options.maxFrames ?? STATED_DEFAULTS.maxFrames,
    bodySteps: options.bodySteps ?? STATED_DEFAULTS.bodySteps,
    compRange: options.compRange ?? STATED_DEFAULTS.compRange,
    shutterRange: options.shutterRange ?? STATED_DEFAULTS.shutterRange,
    inOneGo: options.inOneGo ?? STATED_DEFAULTS.inOneGo,
  });

/**
 * If options state limits, a body may do only what both it and they allow.
 * @throws EvenrungError limits-contradict if nothing is left
 */
export function narrowTo(options: LimitOptions): (limits: BodyLimits) => BodyLimits {
  const stated = statedLimits(options);
  return (limits) => {
    const counts = new Set(stated.brackets.map((shape) => shape.pattern.length));
    const steps = new Set(stated.brackets.map((shape) => shape.step));
    const times = new Set(stated.shutters.map((setting) => setting.tv));
    const narrowed: BodyLimits = {
      ...limits,
      ...inOneGo(limits, options.inOneGo),
      brackets: limits.brackets.filter(
        ({ pattern, step }) =>
          (options.maxFrames === undefined || counts.has(pattern.length)) &&
          (options.bodySteps === undefined || steps.has(step)),
      ),
      shutters:
        options.shutterRange === undefined
          ? limits.shutters
          : limits.shutters.filter(({ tv }) => times.has(tv)),
    };
    const asked = options.maxFrames !== undefined && counts.size > 0;
    if (asked && limits.brackets.length > 0 && narrowed.brackets.length === 0) {
      const offered = [...new Set(limits.brackets.map((shape) => shape.pattern.length))].join(', ');
      throw new EvenrungError(
        'limits-contradict',
        `This camera brackets ${offered} frames, not ${options.maxFrames}: leave --max-frames out, or change it.`,
      );
    }
    return narrowed;
  };
}

function inOneGo({ apart }: BodyLimits, written: string | undefined): Pick<BodyLimits, 'apart'> {
  if (apart === undefined || written === undefined) return {};
  const most = apart.mostInOneGo ?? Number.POSITIVE_INFINITY;
  return { apart: { ...apart, mostInOneGo: Math.min(most, readInOneGo(written)) } };
}

export function portNumber(text: string): number {
  const port = /^\d{1,5}$/.test(text) ? Number(text) : Number.NaN;
  if (!(port <= 65_535)) throw new InvalidArgumentError('give a number from 0 to 65535.');
  return port;
}

/** @returns `1 pass`, `3 passes` */
export const counted = (count: number, one: string, many: string): string =>
  `${count} ${count === 1 ? one : many}`;
