// `schedule`: says what a run on a schedule comes to, without a body.
import type { Command } from 'commander';
import { cautionsIn } from '../../shared/cautions.js';
import { EvenrungError } from '../../shared/errors.js';
import { parseScheduleRequest, type WrittenSchedule } from '../../shared/schedule.js';
import type { ForeseenSchedule } from '../../shared/state.js';
import type { Plan } from '../plan/index.js';
import { foreseeSchedule, zoneHere } from '../series/index.js';
import {
  addExtendOption,
  addRequestOptions,
  type LimitOptions,
  type RequestOptions,
} from './options/options.js';
import {
  addScheduleOptions,
  endedBeforeSunrise,
  type ScheduleOptions,
  writtenSchedule,
} from './options/run-options.js';
import { planOnStatedLimits } from './plan.js';
import { foreseenInWords } from './words/schedule-words.js';

export function addSchedule(program: Command): void {
  addScheduleOptions(
    addExtendOption(
      addRequestOptions(
        program
          .command('schedule')
          .description('work out when the sets of a schedule are made, without firing'),
      ),
    ),
  ).action((options: RequestOptions & LimitOptions & ScheduleOptions & { json?: boolean }) => {
    const written = writtenSchedule(options);
    if (written === undefined)
      throw new EvenrungError(
        'malformed-request',
        'Give the interval between the sets: --every 4min, for example.',
      );
    const foreseen = foresee(written, planOnStatedLimits(options), options.stopBeforeSunrise ?? false);
    const words = () => `${foreseenInWords(foreseen).join('\n')}\n`;
    process.stdout.write(options.json ? `${JSON.stringify(foreseen)}\n` : words());
  });
}

function foresee(written: WrittenSchedule, plan: Plan, stopBeforeSunrise: boolean): ForeseenSchedule {
  const circumstances = { now: new Date(), timeZone: zoneHere(), cautions: cautionsIn(plan.warnings) };
  const foreseen = foreseeSchedule(parseScheduleRequest(written), plan.estimate, circumstances);
  const ended = stopBeforeSunrise ? endedBeforeSunrise(written, foreseen) : null;
  return ended === null
    ? foreseen
    : foreseeSchedule(parseScheduleRequest(ended), plan.estimate, circumstances);
}
