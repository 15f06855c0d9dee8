// Whom to call when a run ends early: options of the commands that fire, or the config file.
import type { Command } from 'commander';
import type { Logger } from 'pino';
import { Alarm } from '../../station/index.js';
import { readConfig } from './config.js';

export interface AlarmChoice {
  readonly onHalt?: string;
  readonly webhook?: string;
}

export const addAlarmOptions = (command: Command): Command =>
  command
    .option('--on-halt <command>', 'command to run if shooting ends early')
    .option('--webhook <url>', 'web address to notify if shooting ends early');

/**
 * @returns null if nobody is to be called
 * @throws EvenrungError config-unreadable, alarm-unusable
 */
export async function alarmFrom(choice: AlarmChoice, log: Logger): Promise<Alarm | null> {
  const config = await readConfig();
  const command = choice.onHalt ?? config.onHalt;
  const webhook = choice.webhook ?? config.webhook;
  if (command === undefined && webhook === undefined) return null;
  return new Alarm({ command, webhook, log: (level, line) => log[level](line) });
}
