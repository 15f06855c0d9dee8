// `serve`: the daemon. It is ready as soon as it listens; the body may come up after.
import { type Command, Option } from 'commander';
import type { Logger } from 'pino';
import { pageAddress } from '../../shared/pages.js';
import { type Alarm, EventLog, Station } from '../station/index.js';
import { askInTerminal } from './ask-terminal.js';
import { type LanChoice, lanPortOf, tellLan, wantsLan } from './lan.js';
import { type AlarmChoice, addAlarmOptions, alarmFrom } from './options/alarm-options.js';
import { judging } from './options/judging.js';
import {
  addNamingOptions,
  type BodyOptions,
  bodyOption,
  cameraOption,
  finderOptions,
  intoOption,
  linkOption,
  type NamingOptions,
  namingOf,
  patienceOption,
  portNumber,
} from './options/options.js';
import { notesFolder, panelFolder, stateFolder } from './options/places.js';
import { type OwnedState, takeState } from './owned-state.js';
import { ANSWERS_AGAIN, HELD, onStopSignal, STOPPED, STOPPING } from './process.js';
import { resumeWhenMet } from './resume-when-met.js';
import { ScheduleTeller } from './words/schedule-words.js';

interface ServeOptions extends BodyOptions, NamingOptions, AlarmChoice, LanChoice {
  readonly into: string;
  /** Seconds. */
  readonly patience: number;
  readonly port: number;
  readonly resume: 'always' | 'ask';
}

const DEFAULT_PORT = 4160;
const LOOK_AGAIN_MS = 5000;

export function addServe(program: Command, log: Logger): void {
  addNamingOptions(addAlarmOptions(program.command('serve').description('run Evenrung with its panel')))
    .addOption(bodyOption())
    .addOption(cameraOption())
    .addOption(linkOption())
    .addOption(patienceOption())
    .addOption(intoOption())
    .option('--port <n>', 'port of the panel; 0 for any free one', portNumber, DEFAULT_PORT)
    .option('--lan', 'listen on the network too, over TLS, for devices that are paired')
    .option('--lan-port <n>', "port on the network (usual: the one after the panel's)", portNumber)
    .option('--lan-plain', 'no encryption: anyone on the network can eavesdrop, and then fire')
    .addOption(
      new Option('--resume <when>', 'resume an interrupted set: always, or ask you first')
        .choices(['always', 'ask'])
        .default('ask'),
    )
    .action(async (options: ServeOptions) => {
      process.exitCode = await serve(options, log);
    });
}

/** @returns the exit code, once the daemon was told to stop */
async function serve(options: ServeOptions, log: Logger): Promise<number> {
  const alarm = await alarmFrom(options, log);
  const state = await takeState('serve', log);
  try {
    return await serveWith(state, alarm, options, log);
  } finally {
    state.release();
    await alarm?.close();
  }
}

async function serveWith(
  { journal, owner }: OwnedState,
  alarm: Alarm | null,
  { into, port, resume, patience, lan, lanPort, lanPlain, ...which }: ServeOptions,
  log: Logger,
): Promise<number> {
  // Loaded only here: the other commands start faster without it.
  const { startServer } = await import('../server/index.js');
  const events = new EventLog();
  const station = new Station({
    ...finderOptions(which, log),
    into,
    events,
    journal,
    ...judging(),
    patienceMs: patience * 1000,
    naming: namingOf(which),
    lookAgainMs: LOOK_AGAIN_MS,
    ...(alarm === null ? {} : { alarm }),
  });
  await station.checkFolder();
  logEvents(events, log);
  const choice: LanChoice = { lan, lanPort, lanPlain };
  const isPlain = lanPlain === true;
  const server = await startServer({
    station,
    events,
    journal,
    log,
    panel: panelFolder(),
    notes: notesFolder(),
    port,
    ...(wantsLan(choice)
      ? { lan: { port: lanPortOf(choice, port), isPlain, stateFolder: stateFolder() } }
      : {}),
  });
  log.info(`Panel: ${server.address}  (sets go to ${into}; Ctrl-C ends)`);
  await owner.announce(server.address);
  if (server.network !== null) await tellLan(server.network, isPlain, log);
  station.tellUnfinished();
  const isCutOff = station.unfinished() !== null;
  const giveUp = resume === 'always' && isCutOff ? resumeWhenMet(station, events, log) : () => undefined;
  const looked = station.look();
  void station.proveLate();
  const forget = resume === 'ask' ? askInTerminal({ station, events, looked }) : () => undefined;
  await new Promise<void>((resolve) => onStopSignal(resolve));
  forget();
  giveUp();
  log.info(station.isRunning ? STOPPING : 'Stopping.');
  await station.close();
  await server.close();
  log.info('Stopped.');
  return STOPPED;
}

function logEvents(events: EventLog, log: Logger): void {
  let told = '';
  const teller = new ScheduleTeller({ isForeseen: false });
  events.watch(({ happening }) => {
    for (const { level, line } of teller.linesOf(happening)) log[level](line);
    switch (happening.type) {
      case 'body':
        if (happening.body.state === 'absent') {
          const { sentence, next, error } = happening.body;
          log.warn({ page: pageAddress(error) }, next === null ? sentence : `${sentence} ${next}`);
        }
        if (happening.body.state === 'looking') told = '';
        // This is told at each tick and each check; only a change is worth a line.
        if (happening.body.state === 'ready' && told !== happening.body.body.model) {
          told = happening.body.body.model;
          if (happening.body.note !== null) log.info(happening.body.note);
          log.info(`Body: ${told}`);
        }
        return;
      case 'trouble': {
        const { run, trouble } = happening;
        if (trouble === null) log.info({ run }, ANSWERS_AGAIN);
        else log.warn({ run, page: pageAddress(trouble.code) }, `${trouble.sentence} ${trouble.next}`);
        return;
      }
      case 'unfinished':
        if (happening.unfinished !== null)
          log.warn(`${happening.unfinished.sentence} Do so in the panel, or start with --resume always.`);
        return;
      case 'asked':
        return;
      case 'note':
        log.warn({ run: happening.run }, happening.note);
        return;
      case 'run':
        return;
      case 'run-state': {
        const { run, state, folder, error, sentence } = happening;
        if (state === 'held') log.info({ run }, HELD);
        if (sentence === null) return;
        if (error === null) log.info({ run, folder }, sentence);
        else log.warn({ run, folder, page: pageAddress(error) }, sentence);
        return;
      }
      case 'pass':
        log.debug({ run: happening.run, pass: happening.pass }, `Pass ${happening.pass} ${happening.state}`);
        return;
      case 'frame': {
        const { frame } = happening;
        if (frame.state === 'rejected') log.warn(`Frame ${frame.number} rejected: ${frame.reason}`);
        else log.debug({ run: happening.run, frame: frame.number }, `Frame ${frame.number} ${frame.state}`);
        return;
      }
    }
  });
}
