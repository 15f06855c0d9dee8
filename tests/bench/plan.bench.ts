// `npm run bench -- plan`: medians of the planner from 9 to 61 offsets, beside an independent solver (HiGHS) on the same
// instances in the same run.
import { sixths } from '../../shared/ev.js';
import { limitsFromStated, planSet, resolveBase, STATED_DEFAULTS, toWirePlan } from '../../src/plan/index.js';
import { referenceCost } from '../plan-reference.js';

interface Row {
  readonly name: string;
  readonly frames: number;
  readonly step: number;
  readonly base: string;
  readonly maxFrames: string;
}

// 61 offsets in thirds are 20 EV: the whole of a wide shutter range.
const ROWS: readonly Row[] = [
  { name: '9 offsets, 1 EV, three frames', frames: 9, step: 6, base: '1/60', maxFrames: '3' },
  { name: '9 offsets, 1 EV, three to nine', frames: 9, step: 6, base: '1/60', maxFrames: '3,5,7,9' },
  { name: '21 offsets, 1/3 EV, three frames', frames: 21, step: 2, base: '1/60', maxFrames: '3' },
  { name: '41 offsets, 1/3 EV, three frames', frames: 41, step: 2, base: '1/15', maxFrames: '3' },
  { name: '61 offsets, 1/3 EV, three frames', frames: 61, step: 2, base: '1/30', maxFrames: '3' },
  { name: '61 offsets, 1/3 EV, three to nine', frames: 61, step: 2, base: '1/30', maxFrames: '3,5,7,9' },
];

const median = (values: readonly number[]) =>
  [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)] ?? 0;

async function timed(rounds: number, work: () => unknown): Promise<number> {
  const times: number[] = [];
  for (let round = 0; round < rounds; round += 1) {
    const began = performance.now();
    await work();
    times.push(performance.now() - began);
  }
  return median(times);
}

const results: { name: string; frames: number; ours: number }[] = [];
console.log(`${'instance'.padEnd(36)}  planner ms    HiGHS ms   ratio   passes`);
for (const { name, frames, step, base: written, maxFrames } of ROWS) {
  const limits = limitsFromStated({ ...STATED_DEFAULTS, maxFrames, shutterRange: '30..1/32000' });
  const base = resolveBase(written, limits);
  const below = Math.floor((frames - 1) / 2);
  const offsets = Array.from({ length: frames }, (_, index) => sixths((index - below) * step));
  const request = { offsets, step: sixths(step), base, mode: 'manual' as const };
  const rounds = frames > 30 ? 15 : 60;
  await timed(rounds, () => planSet(request, limits));
  const ours = await timed(rounds, () => planSet(request, limits));
  const theirs = await timed(5, () => referenceCost({ kind: name, request, limits }));
  const passes = toWirePlan(planSet(request, limits)).passes.length;
  results.push({ name, frames, ours });
  console.log(
    `${name.padEnd(36)}  ${ours.toFixed(2).padStart(10)}  ${theirs.toFixed(2).padStart(10)}  ${(theirs / ours).toFixed(1).padStart(6)}   ${String(passes).padStart(6)}`,
  );
}
const nine = results.find(({ frames }) => frames === 9)?.ours ?? 1;
const all = results.filter(({ frames }) => frames === 61).map(({ ours }) => (ours / nine).toFixed(1));
console.log(`growth from 9 to 61 offsets: ${all.join(' and ')} times (6.8 times as many offsets)`);
