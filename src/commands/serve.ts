// `serve`: the daemon. It is ready as soon as it listens; the body may come up after.
import type { Command } from 'commander';
import type { Logger } from 'pino';
import { EventLog, Station } from '../run/index.js';
import { type BodyOptions, bodyOption, cameraOption, finderOptions, portNumber } from './options.js';
import { defaultInto, panelFolder } from './places.js';
import { onStopSignal, STOPPED, STOPPING } from './process.js';

interface ServeOptions extends BodyOptions {
  readonly into: string;
  readonly port: number;
}

const DEFAULT_PORT = 4160;

export function addServe(program: Command, log: Logger): void {
  program
    .command('serve')
    .description('run the daemon with its panel')
    .addOption(bodyOption())
    .addOption(cameraOption())
    .option('--into <folder>', 'folder that takes the set folders', defaultInto())
    .option('--port <n>', 'port of the panel; 0 takes any free one', portNumber, DEFAULT_PORT)
    .action(async (options: ServeOptions) => {
      process.exitCode = await serve(options, log);
    });
}

/** @returns the exit code, once the daemon was told to stop */
async function serve({ into, port, ...which }: ServeOptions, log: Logger): Promise<number> {
  // Loaded only here: the other commands start faster without it.
  const { startServer } = await import('../server/index.js');
  const events = new EventLog();
  const station = new Station({
    ...finderOptions(which, log),
    into,
    events,
  });
  await station.checkFolder();
  logEvents(events, log);
  const server = await startServer({ station, events, log, panel: panelFolder(), port });
  log.info(`Panel: ${server.address}  (sets go to ${into}; Ctrl-C stops)`);
  void station.look();
  await new Promise<void>((resolve) => onStopSignal(resolve));
  log.info(station.isRunning ? STOPPING : 'Stopping.');
  await station.close();
  await server.close();
  return STOPPED;
}

function logEvents(events: EventLog, log: Logger): void {
  let told = '';
  events.watch(({ happening }) => {
    switch (happening.type) {
      case 'body':
        if (happening.body.state === 'absent') log.warn(happening.body.sentence);
        if (happening.body.state === 'looking') told = '';
        // Told anew at each tick and each check: only what changed is worth a line.
        if (happening.body.state === 'ready' && told !== happening.body.body.model) {
          told = happening.body.body.model;
          if (happening.body.note !== null) log.info(happening.body.note);
          log.info(`Body: ${told}`);
        }
        return;
      case 'note':
        log.warn({ run: happening.run }, happening.note);
        return;
      case 'run':
        return;
      case 'run-state':
        if (happening.sentence !== null)
          log.info({ run: happening.run, folder: happening.folder }, happening.sentence);
        return;
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
