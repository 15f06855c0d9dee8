// The command line as a whole: every command, put together.
import { Command } from 'commander';
import type { Logger } from 'pino';
import { addBodies } from './bodies.js';
import { addDevices } from './devices.js';
import { addFire } from './fire.js';
import { arrangeHelp, beginHelp } from './help.js';
import { addLearn } from './learn.js';
import { addPair } from './pair.js';
import { addPlan } from './plan.js';
import { addRun } from './run.js';
import { addSchedule } from './schedule.js';
import { addServe } from './serve.js';
import { addSets } from './sets.js';
import { addSound } from './sound.js';

/** @returns the program, to be parsed: its errors come as exceptions, and it writes none of them itself */
export function newProgram(log: Logger): Command {
  const program = new Command('evenrung').description(
    'Shoot, verify and hand over bracketed sets from a tethered camera.',
  );
  beginHelp(program);
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
  arrangeHelp(program);
  quiet(program);
  return program;
}

/** The errors of subcommands come as exceptions too. */
function quiet(command: Command): void {
  command.exitOverride().configureOutput({ writeErr: () => undefined });
  command.commands.forEach(quiet);
}
