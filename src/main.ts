#!/usr/bin/env node
// Entry: reads the command line and hands over to a command.
import { Command } from 'commander';
import pino from 'pino';
import about from '../package.json' with { type: 'json' };
import { addBodies } from './commands/bodies.js';
import { addDevices } from './commands/devices.js';
import { addFire } from './commands/fire.js';
import { addLearn } from './commands/learn.js';
import { addPair } from './commands/pair.js';
import { addPlan } from './commands/plan.js';
import { outliveReaders, tellError } from './commands/process.js';
import { addRun } from './commands/run.js';
import { addSchedule } from './commands/schedule.js';
import { addServe } from './commands/serve.js';
import { addSets } from './commands/sets.js';
import { addSound } from './commands/sound.js';

// Logs go to standard error: standard output belongs to what a command was asked for. EVENRUNG_LOG sets the level.
const level = process.env.EVENRUNG_LOG ?? 'info';
const log = process.stderr.isTTY
  ? pino({ level }, await forPeople())
  : pino({ level }, pino.destination({ dest: 2, sync: true }));

/** Loaded only at a terminal: it costs a tenth of the start. */
async function forPeople() {
  const { default: pretty } = await import('pino-pretty');
  return pretty({ destination: 2, sync: true, ignore: 'pid,hostname', translateTime: 'SYS:HH:MM:ss' });
}

const program = new Command('evenrung')
  .description('Bracketed sets from a tethered camera: planned, fired, proved and handed over.')
  .version(about.version)
  .exitOverride()
  .configureOutput({ writeErr: () => undefined });

addServe(program, log);
addPlan(program);
addSchedule(program);
addFire(program, log);
addBodies(program, log);
addLearn(program, log);
addSound(program, log);
addSets(program, log);
addRun(program);
addDevices(program);
addPair(program);

// The errors of subcommands come as exceptions too.
const quiet = (command: Command): void => {
  command.exitOverride().configureOutput({ writeErr: () => undefined });
  command.commands.forEach(quiet);
};
program.commands.forEach(quiet);

outliveReaders();

try {
  await program.parseAsync();
} catch (cause) {
  process.exitCode = tellError(cause, process.argv.includes('--json'), program.helpInformation());
}
