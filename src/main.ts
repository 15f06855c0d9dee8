#!/usr/bin/env node
// Entry: reads the command line and hands over to a command.
import pino from 'pino';
import about from '../package.json' with { type: 'json' };
import { outliveReaders, tellError } from './commands/process.js';
import { newProgram } from './commands/program.js';

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

const program = newProgram(log).version(about.version);

outliveReaders();

try {
  await program.parseAsync();
} catch (cause) {
  process.exitCode = tellError(cause, process.argv.includes('--json'), program.helpInformation());
}
