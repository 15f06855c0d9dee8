// `plan`: says how a set would be fired, without a body.
import type { Command } from 'commander';
import { isMetered, parseSetRequest, type SetRequest } from '../../shared/request.js';
import type { BodyLimits } from '../exposure/index.js';
import { type MeteredAt, type Plan, placeReadings, planWritten, toWirePlan } from '../plan/index.js';
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
    program.command('plan').description('show how a set would be shot, without firing'),
  ).action((options: RequestOptions & LimitOptions & { json?: boolean }) => {
    const { plan } = planOnStatedLimits(options);
    process.stdout.write(options.json ? `${JSON.stringify(toWirePlan(plan))}\n` : planInWords(plan));
  });
}

const NO_CAMERA: MeteredAt = { fNumber: null, iso: null, files: null };

/** A set on limits that somebody stated. */
export interface OnStatedLimits {
  readonly plan: Plan;
  readonly request: SetRequest;
  readonly limits: BodyLimits;
}

/** @throws EvenrungError as parseSetRequest, placeReadings, limitsFromStated, resolveBase and planSet */
export function planOnStatedLimits(options: RequestOptions & LimitOptions): OnStatedLimits {
  const limits = statedLimits(options);
  const asked = parseSetRequest(writtenRequest(options));
  const request = isMetered(asked) ? placeReadings(asked, limits, NO_CAMERA) : asked;
  const { conditions, extend: _, ...wanted } = request;
  return { plan: planWritten(wanted, limits, conditions), request, limits };
}
