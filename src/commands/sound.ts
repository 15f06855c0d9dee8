// `sound`: a few test frames, and the set that holds all of the scene's light; by itself, or by a daemon that runs somewhere.
import type { Command } from 'commander';
import { Option } from 'commander';
import type { Logger } from 'pino';
import { ERRORS } from '../../shared/error-codes.js';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { parseSoundRequest, type SoundingView, type WrittenSoundRequest } from '../../shared/sounding.js';
import { EventLog, Station } from '../station/index.js';
import { type AtOptions, addAtOption, addressIn } from './options/daemon-at.js';
import { type BodyOptions, bodyOption, cameraOption, finderOptions, linkOption } from './options/options.js';
import { takeState } from './owned-state.js';
import { onStopSignal, STOPPED, STOPPING } from './process.js';
import { soundAt } from './sound-at.js';
import { proposalInWords, soundingPrinter } from './words/sounding-words.js';

interface SoundOptions extends BodyOptions, AtOptions {
  readonly step: string;
  readonly from?: string;
  readonly mode: 'manual' | 'aperture';
  readonly despiteSun?: boolean;
  readonly json?: boolean;
}

export function addSound(program: Command, log: Logger): void {
  const command = program
    .command('sound')
    .description('fire a few test frames, and propose a set that holds all the light of the scene')
    .option('--step <ev>', 'EV between the frames of the set: 1, 0.5, 2/3, "1 1/3"', '1')
    .option('--from <time>', "shutter time of the first test frame (usual: the camera's own)")
    .addOption(
      new Option('--mode <mode>', 'how the exposure changes: by shutter (manual) or compensation (aperture)')
        .choices(['manual', 'aperture'])
        .default('manual'),
    )
    .option('--despite-sun', 'go on if the sun seems to be in the frame')
    .addOption(bodyOption())
    .addOption(cameraOption())
    .addOption(linkOption())
    .option('--json', 'print JSON');
  addAtOption(command, 'address of the Evenrung that fires them, on this computer or another');
  command.action(async (options: SoundOptions) => {
    const address = addressIn(options);
    if (address === undefined) process.exitCode = await sound(options, log);
    else {
      mustBeForDaemon(command);
      const view = await soundAt({ address, request: requestOf(options), ...told(options) });
      process.exitCode = endOf(view, null, options);
    }
  });
}

/** @throws EvenrungError malformed-request */
function mustBeForDaemon(command: Command): void {
  const given = ['body', 'camera', 'link'].find((name) => command.getOptionValueSource(name) === 'cli');
  if (given === undefined) return;
  throw new EvenrungError(
    'malformed-request',
    `--${given} is set where that Evenrung was started, not here: leave it out.`,
  );
}

/** @throws EvenrungError as parseSoundRequest */
function requestOf({ step, from, mode, despiteSun }: SoundOptions): WrittenSoundRequest {
  const request = {
    ...{ step, mode },
    ...(from === undefined ? {} : { from }),
    ...(despiteSun === true ? { despiteSun } : {}),
  };
  // Before a body is looked for, so that errors in the request itself are reported at once.
  parseSoundRequest(request);
  return request;
}

/** Lines while the sounding lasts; JSON is printed at its end. */
function told({ json }: SoundOptions): {
  readonly tell: (view: SoundingView) => void;
  readonly stopping: () => void;
} {
  return {
    tell: json ? () => undefined : soundingPrinter((line) => process.stdout.write(`${line}\n`)),
    stopping: () => {
      if (!json) process.stderr.write(`${STOPPING}\n`);
    },
  };
}

/** @returns the exit code */
async function sound(options: SoundOptions, log: Logger): Promise<number> {
  const request = requestOf(options);
  const state = await takeState('sound', log);
  try {
    return await soundWith(request, options, log);
  } finally {
    state.release();
  }
}

async function soundWith(request: WrittenSoundRequest, options: SoundOptions, log: Logger): Promise<number> {
  const events = new EventLog();
  const station = new Station({ ...finderOptions(options, log), into: '.', events });
  const { tell, stopping } = told(options);
  let stopped = false;
  const forget = onStopSignal(() => {
    stopped = true;
    stopping();
    void station.close();
  });
  events.watch(({ happening }) => {
    if (happening.type === 'sounding' && happening.sounding !== null) tell(happening.sounding);
  });
  try {
    await station.look();
    if (stopped) return STOPPED;
    if (station.problem !== null) throw station.problem;
    const { body } = events.state;
    if (!options.json && body.state === 'ready' && body.body.link === 'practice')
      process.stdout.write('Practice camera: nothing is photographed, the scene is invented.\n');
    const begun = station.sound(request);
    return endOf(await begun.ended, begun.problem(), options);
  } finally {
    await station.close();
    forget();
  }
}

/** @returns the exit code @throws EvenrungError why nothing is proposed */
function endOf(view: SoundingView, problem: EvenrungError | null, { json }: SoundOptions): number {
  const { state, proposal, sentence, error } = view;
  if (state === 'stopped') return STOPPED;
  if (proposal === null) {
    if (problem !== null) throw asEvenrungError(problem);
    const more = error === 'sun-in-frame' ? ' To fire all the same: --despite-sun.' : '';
    throw new EvenrungError(error ?? 'internal', `${sentence ?? 'Nothing is proposed.'}${more}`);
  }
  process.stdout.write(json ? `${JSON.stringify(view)}\n` : proposalInWords(proposal));
  return proposal.darkest.isHeld && proposal.brightest.isHeld ? 0 : ERRORS['not-sounded'].exit;
}
