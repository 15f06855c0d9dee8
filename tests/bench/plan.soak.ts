// `npm run soak -- plan`: the planner against HiGHS on 2,100 seeded instances, 300 of each kind of body.
import { compare, type Tally } from '../plan-compare.js';
import { KIND_NAMES } from '../plan-reference.js';

const INSTANCES = 300 * KIND_NAMES.length;

const median = (values: readonly number[]) =>
  [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)] ?? 0;
const ms = (value: number) => value.toFixed(value < 10 ? 2 : 0).padStart(8);

const tally: Tally = new Map();
const wrong: string[] = [];
for (let seed = 1; seed <= INSTANCES; seed += 1) wrong.push(...(await compare(seed, tally)));

console.log(`seeds 1 to ${INSTANCES}`);
console.log(`${'kind'.padEnd(42)} planned refused  median ms     max ms  HiGHS median`);
for (const [kind, { planned, impossible, ours, theirs }] of tally) {
  console.log(
    `${kind.padEnd(42)} ${String(planned).padStart(7)} ${String(impossible).padStart(7)}   ${ms(median(ours))}   ${ms(Math.max(...ours))}      ${ms(median(theirs))}`,
  );
}
for (const line of wrong) console.log(`WRONG  ${line}`);
console.log(`different: ${wrong.length}`);
process.exitCode = wrong.length === 0 ? 0 : 1;
