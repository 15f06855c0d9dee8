// `plan`: says how a set would be fired, without a body.
import type { Command } from 'commander';
import { isMetered, parseSetRequest } from '../../shared/request.js';
import {
  extendedMost,
  type MeteredAt,
  type Plan,
  placeReadings,
  planWritten,
  toWirePlan,
} from '../plan/index.js';
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

const NO_CAMERA: MeteredAt = { fNumber: null, iso: null, files: null };

/**
 * With all frames that it may be extended by.
 * @throws EvenrungError as parseSetRequest, placeReadings, limitsFromStated, resolveBase and planSet
 */
export function planOnStatedLimits(options: RequestOptions & LimitOptions): Plan {
  const limits = statedLimits(options);
  const asked = parseSetRequest(writtenRequest(options));
  const placed = isMetered(asked) ? placeReadings(asked, limits, NO_CAMERA) : asked;
  const { conditions, extend, ...wanted } = placed;
  return extendedMost(planWritten(wanted, limits, conditions), extend, limits, conditions);
}
