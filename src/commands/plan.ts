// `plan`: says how a set would be fired, without a body.
import type { Command } from 'commander';
import { parseSetRequest } from '../../shared/request.js';
import { extendedMost, type Plan, planWritten, toWirePlan } from '../plan/index.js';
import {
  addRequestOptions,
  type LimitOptions,
  type RequestOptions,
  statedLimits,
  writtenRequest,
} from './options/options.js';
import { planInWords } from './words/plan-words.js';

export function addPlan(program: Command): void {
  addRequestOptions(
    program.command('plan').description('work out the passes of a set, without firing'),
  ).action((options: RequestOptions & LimitOptions & { json?: boolean }) => {
    const plan = planOnStatedLimits(options);
    process.stdout.write(options.json ? `${JSON.stringify(toWirePlan(plan))}\n` : planInWords(plan));
  });
}

/** With all frames that it may be extended by. @throws EvenrungError as parseSetRequest, limitsFromStated, resolveBase and planSet */
export function planOnStatedLimits(options: RequestOptions & LimitOptions): Plan {
  const { conditions, extend, ...wanted } = parseSetRequest(writtenRequest(options));
  const limits = statedLimits(options);
  return extendedMost(planWritten(wanted, limits, conditions), extend, limits, conditions);
}
