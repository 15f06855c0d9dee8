// `npm run soak -- plan`: the planner against HiGHS on 2,100 seeded instances, 300 of each kind of body; and on 504 of the two ways
// through a pass.
import { compare, type Tally } from '../plan-compare.js';
import { KIND_NAMES } from '../plan-reference.js';
import { compareWays } from '../plan-ways-compare.js';

const INSTANCES = 300 * KIND_NAMES.length;
const WAYS_INSTANCES = 18 * 4 * KIND_NAMES.length;

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
const unproven = new Map<string, number>();
const ways = new Map<string, number>();
for (let seed = 1; seed <= WAYS_INSTANCES; seed += 1) {
  const compared = await compareWays(seed);
  if (compared === null) continue;
  const { question, isPlanned, isProven } = compared;
  if (isPlanned) ways.set(question, (ways.get(question) ?? 0) + 1);
  if (!isProven) unproven.set(question, (unproven.get(question) ?? 0) + 1);
  wrong.push(...compared.wrong);
}
for (const [question, count] of ways)
  console.log(
    `${question.padEnd(42)} ${String(count).padStart(7)} planned, ${unproven.get(question) ?? 0} not proven least`,
  );
for (const line of wrong) console.log(`WRONG  ${line}`);
console.log(`different: ${wrong.length}`);
process.exitCode = wrong.length === 0 ? 0 : 1;
