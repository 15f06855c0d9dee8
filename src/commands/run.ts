// `run stop`, `run hold`, `run go-on`: what a running daemon is told, for scripts and shortcuts. Nothing is waited for beyond its answer.
import type { Command } from 'commander';
import { DaemonClient } from './elsewhere/daemon-client.js';
import { sessionFor } from './elsewhere/daemon-session.js';

/** Where `serve` is when it is not told. */
export const DEFAULT_DAEMON = 'http://127.0.0.1:4160';

const TOLD = [
  [
    'stop',
    'end the run after the frame in hand, and a long bulb exposure at once',
    'Told: it stops after the frame in hand.',
  ],
  [
    'hold',
    'fire nothing more after the frame in hand, until it may go on',
    'Told: it holds after the frame in hand.',
  ],
  ['go-on', 'let a run go on that is held', 'Told: it goes on.'],
] as const;

interface ToOptions {
  readonly to: string;
  readonly json?: boolean;
}

export function addRun(program: Command): void {
  const run = program.command('run').description('tell a running daemon to stop, hold or go on');
  for (const [name, description, sentence] of TOLD) {
    run
      .command(name)
      .description(description)
      .option('--to <address>', 'address of the daemon', DEFAULT_DAEMON)
      .option('--json', 'print JSON')
      .action(async ({ to, json }: ToOptions) => {
        const address = DaemonClient.addressIn(to);
        const answer = await new DaemonClient(address, await sessionFor(address)).press(`/api/run/${name}`);
        process.stdout.write(`${json ? JSON.stringify(answer) : sentence}\n`);
      });
  }
}
