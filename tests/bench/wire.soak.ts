// `npm run soak -- wire`: 5,000 seeded mutations of the containers of a body, between it and the real library, other seeds than
// the test has, half of them over each way; within an hour. `npm run soak -- wire FROM COUNT WAY` does those that are said. Prints seeds and outcomes, and
// exits with 1 where a call did not end as it must, more than one camera process was alive, or one is left.
import type * as FuzzRun from '../wire/ptp/fuzz-run.js';
import { runBundled } from './soak-bundle.js';

const FROM = 1001;
const COUNT = 5000;
const MOST_MS = 3_600_000;
/** Between two lines of counts. */
const LINE_EVERY = 250;

const { counted, fuzz } = await runBundled<typeof FuzzRun>('wire/ptp/fuzz-run');

const strays: string[] = [];
process.on('unhandledRejection', (cause) => strays.push(`unhandled: ${String(cause)}`));
process.on('uncaughtException', (cause) => strays.push(`uncaught: ${String(cause)}`));

const [from = FROM, count = COUNT] = process.argv.slice(4, 6).map(Number);
const ways =
  process.argv[6] === undefined
    ? (['binding', 'direct'] as const)
    : [process.argv[6] as 'binding' | 'direct'];
const until = performance.now() + MOST_MS;
const done: FuzzRun.Fuzzed[] = [];
console.log(`seeds ${from} to ${from + count - 1}`);
const tell = (one: FuzzRun.Fuzzed) => {
  done.push(one);
  for (const what of one.wrong) console.log(`WRONG  seed ${one.seed}, ${one.face}: ${what}`);
  if (one.outcome === 'crashed') {
    console.log(`seed ${one.seed}, ${one.face}, ${one.mutation} at ${one.place}: ${one.how}`);
  }
  if (done.length % LINE_EVERY === 0) console.log(counted(done));
};
const fuzzed: FuzzRun.Fuzzed[] = [];
let left = 0;
for (const [index, way] of ways.entries()) {
  const share = Math.floor(count / ways.length);
  console.log(`over the way '${way}'`);
  const report = await fuzz({
    way,
    from: from + index * share,
    count: share,
    tell,
    mayGoOn: () => performance.now() < until,
  });
  fuzzed.push(...report.fuzzed);
  left += report.left;
}

const mutations = [...new Set(fuzzed.map(({ mutation }) => mutation))].sort();
for (const mutation of mutations) {
  console.log(
    `${mutation.padEnd(24)} ${counted(fuzzed.filter((one) => one.mutation === mutation && one.isHit))}`,
  );
}
for (const stray of strays) console.log(`WRONG  ${stray}`);
if (left > 0) console.log(`WRONG  ${left} camera processes are left`);
if (fuzzed.length < count) console.log(`ended after an hour, before seed ${from + fuzzed.length}`);
console.log(counted(fuzzed));
const isRight = strays.length === 0 && left === 0 && fuzzed.every(({ wrong }) => wrong.length === 0);
process.exitCode = isRight ? 0 : 1;
