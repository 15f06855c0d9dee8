// `schedule`: works out a run on a schedule, without a body.
import type { Command } from 'commander';
import { cautionsIn } from '../../shared/cautions.js';
import { EvenrungError } from '../../shared/errors.js';
import { readSpan } from '../../shared/run-request.js';
import { parseScheduleRequest, type WrittenSchedule } from '../../shared/schedule.js';
import type { ForeseenSchedule } from '../../shared/state.js';
import { extendedMost } from '../plan/index.js';
import { foreseeSchedule, mostOfSpan, spanLimits, zoneHere } from '../series/index.js';
import {
  addExtendOption,
  addRequestOptions,
  type LimitOptions,
  type RequestOptions,
} from './options/options.js';
import {
  addScheduleOptions,
  addSpanOptions,
  endedBeforeSunrise,
  type ScheduleOptions,
  type SpanOptions,
  writtenSchedule,
  writtenSpan,
} from './options/run-options.js';
import { type OnStatedLimits, planOnStatedLimits } from './plan.js';
import { foreseenInWords } from './words/schedule-words.js';

type AskedOptions = RequestOptions & LimitOptions & ScheduleOptions & SpanOptions & { json?: boolean };

export function addSchedule(program: Command): void {
  const command = program.command('schedule').description('show when a schedule would shoot, without firing');
  for (const add of [addRequestOptions, addExtendOption, addScheduleOptions, addSpanOptions]) add(command);
  command.action((options: AskedOptions) => {
    const written = writtenSchedule(options);
    if (written === undefined)
      throw new EvenrungError(
        'malformed-request',
        'Give the interval between the sets: --every 4min, for example.',
      );
    const foreseen = foresee(written, planOnStatedLimits(options), options);
    const words = () => `${foreseenInWords(foreseen).join('\n')}\n`;
    process.stdout.write(options.json ? `${JSON.stringify(foreseen)}\n` : words());
  });
}

function foresee(
  written: WrittenSchedule,
  { plan, request, limits }: OnStatedLimits,
  options: AskedOptions,
): ForeseenSchedule {
  const asked = parseScheduleRequest(written);
  const { conditions, extend, offsets } = request;
  const follows = writtenSpan(options);
  const span = follows === undefined ? null : spanLimits(readSpan(follows), offsets.length);
  // With all frames that its sets may come to.
  const most = mostOfSpan(plan, request, { limits, conditions, span, everySeconds: asked.everySeconds });
  const { estimate } = extendedMost(most.plan, extend, limits, conditions);
  const circumstances = {
    ...{ now: new Date(), timeZone: zoneHere(), cautions: cautionsIn(plan.warnings) },
    counted: most.counted,
  };
  const foreseen = foreseeSchedule(asked, estimate, circumstances);
  const ended = options.stopBeforeSunrise ? endedBeforeSunrise(written, foreseen) : null;
  return ended === null ? foreseen : foreseeSchedule(parseScheduleRequest(ended), estimate, circumstances);
}
