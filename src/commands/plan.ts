// `plan`: says how a set would be fired, without a body.
import type { Command } from 'commander';
import { parseSetRequest } from '../../shared/request.js';
import { formatEv } from '../exposure/index.js';
import { type Plan, planSet, resolveBase, toWirePlan } from '../plan/index.js';
import {
  addRequestOptions,
  counted,
  type LimitOptions,
  type RequestOptions,
  statedLimits,
  writtenRequest,
} from './options.js';

export function addPlan(program: Command): void {
  addRequestOptions(
    program.command('plan').description('work out the passes of a set, without firing'),
  ).action((options: RequestOptions & LimitOptions & { json?: boolean }) => {
    const { offsets, step, base, mode } = parseSetRequest(writtenRequest(options));
    const limits = statedLimits(options);
    const plan = planSet({ offsets, step, mode, base: resolveBase(base, limits) }, limits);
    process.stdout.write(options.json ? `${JSON.stringify(toWirePlan(plan))}\n` : inWords(plan));
  });
}

function inWords(plan: Plan): string {
  const frames = counted(plan.offsets.length, 'frame', 'frames');
  const passes = counted(plan.passes.length, 'pass', 'passes');
  const head = `${frames} in ${passes}, base ${seconds(plan.base.label)}, about ${Math.ceil(plan.estimatedSeconds)} s`;
  const lines = plan.passes.map((pass, index) => {
    const made = pass.frames.map((frame) => `${formatEv(frame.offset)} (${seconds(frame.shutter.label)})`);
    return `  pass ${index + 1}  centre ${formatEv(pass.centre).padEnd(6)} fires ${made.join(', ')}`;
  });
  const warnings = plan.warnings.map((warning) => `note: ${warning.message}`);
  return `${[head, ...lines, ...warnings].join('\n')}\n`;
}

const seconds = (label: string): string => `${label} s`;
