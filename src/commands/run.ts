// `run stop`, `run pause`, `run resume`: commands to a running daemon, for scripts and shortcuts. Nothing is
// waited for beyond its answer.
import type { Command } from 'commander';
import { DaemonClient } from './elsewhere/daemon-client.js';
import { sessionFor } from './elsewhere/daemon-session.js';
import { type AtOptions, addAtOption, addressIn } from './options/daemon-at.js';

/** The address of `serve` if no other is given. */
export const DEFAULT_DAEMON = 'http://127.0.0.1:4160';

const TOLD = [
  {
    name: 'stop',
    route: 'stop',
    description: 'stop after the current frame, and a long bulb exposure at once',
    sentence: 'Stopping after the current frame.',
  },
  {
    name: 'pause',
    route: 'hold',
    description: 'pause after the current frame, until you resume',
    sentence: 'Pausing after the current frame.',
  },
  {
    name: 'resume',
    route: 'go-on',
    description: 'resume after a pause (for an interrupted set: `serve --resume`)',
    sentence: 'Resuming.',
  },
] as const;

interface RunOptions extends AtOptions {
  readonly json?: boolean;
}

export function addRun(program: Command): void {
  const run = program.command('run').description('tell a running Evenrung to stop, pause or resume');
  for (const { name, route, description, sentence } of TOLD) {
    const command = run.command(name).description(description);
    // The command's former name is the one that the daemon's route has.
    if (route !== name) command.alias(route);
    addAtOption(command, `address of that Evenrung (usual: ${DEFAULT_DAEMON})`)
      .option('--json', 'print JSON')
      .action(async ({ json, ...where }: RunOptions) => {
        const address = DaemonClient.addressIn(addressIn(where) ?? DEFAULT_DAEMON);
        const answer = await new DaemonClient(address, await sessionFor(address)).press(`/api/run/${route}`);
        process.stdout.write(`${json ? JSON.stringify(answer) : sentence}\n`);
      });
  }
}
