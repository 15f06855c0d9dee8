// Runs on schedules that meet with faults, one after another and a few at a time, for `npm run soak -- runs`. Exits with 1 where a
// print is lost, doubled or wrong.
import os from 'node:os';
import { BODIES, WAYS } from '../faults/cell.js';
import { numbers } from '../faults/table.js';
import type { Finding } from './compare-run.js';
import { driveRun, EVERY_SECONDS, FRAMES, type RunSeen } from './driven-run.js';
import { drawFaults, KINDS, type Kind } from './run-faults.js';

const SEED = 20261125;
const SETS = 200;
const SLOTS = 20;
const LANES = 3;
/** No run is begun after. */
const MOST_MS = 18 * 60_000;
/** Runs that cannot even be made are not going to tell more. */
const MOST_FAILED = 3;

/** `only` is the number of a run, which is then made alone. */
const [seed = SEED, most = SETS, only = null] = process.argv.slice(4).map(Number);
const load = () =>
  os
    .loadavg()
    .map((one) => one.toFixed(1))
    .join(' ');

const findings: Finding[] = [];
const seen: RunSeen[] = [];
const struck = new Map<Kind, number>();
const sum = (what: (one: RunSeen) => number) => seen.reduce((total, one) => total + what(one), 0);

console.log(
  `seed ${seed}: runs of ${SLOTS} slots, a set of ${FRAMES} frames every ${EVERY_SECONDS} s, until ${most} sets are made; ${LANES} runs at a time on ${os.cpus().length} cores, load ${load()}`,
);
const started = performance.now();
let begun = 0;
let failed = 0;

/** A seed for each run, so that one of them can be made alone. */
async function runNumber(number: number): Promise<void> {
  const random = numbers(seed + number);
  const body = BODIES[number % BODIES.length] ?? 'practice';
  const ways = WAYS.filter((one) => one !== 'pass' || !['standard', 'practice'].includes(body));
  const way =
    ways[((number % BODIES.length) + Math.floor(number / BODIES.length)) % ways.length] ?? 'binding';
  const overrun = random() < 0.5 ? 'skip' : 'follow';
  const faults = drawFaults(random, body, SLOTS);
  const name = `run ${String(number + 1).padStart(2)} ${body.padEnd(11)} ${way.padEnd(7)} ${overrun.padEnd(6)}`;
  try {
    const one = await driveRun({ body, way, slots: SLOTS, overrun, faults });
    seen.push(one);
    for (const [kind, times] of one.struck) struck.set(kind, (struck.get(kind) ?? 0) + times);
    const faced = [...one.struck.values()].reduce((total, times) => total + times, 0);
    console.log(
      `${name} ${one.sets} sets, ${one.complete} complete, ${one.missed} slots missed, ${faced} faults, ${one.seconds.toFixed(0)} s  ${one.findings.length === 0 ? '' : `FOUND ${one.findings.length}, see ${one.kept}`}`,
    );
    for (const finding of one.findings) {
      findings.push(finding);
      console.log(`${finding.kind.toUpperCase().padEnd(8)} ${name}: ${finding.sentence}`);
    }
  } catch (cause) {
    failed += 1;
    findings.push({ kind: 'wrong', sentence: String(cause) });
    console.log(`FAILED   ${name}: ${cause instanceof Error ? cause.message : cause}`);
  }
}

async function lane(): Promise<void> {
  const goesOn = () => failed < MOST_FAILED && performance.now() - started < MOST_MS;
  while (sum(({ sets }) => sets) < most && goesOn()) {
    begun += 1;
    await runNumber(begun - 1);
  }
}

if (only === null) {
  await Promise.all(Array.from({ length: LANES }, lane));
} else {
  begun = 1;
  await runNumber(only - 1);
}

const [sets, complete, missed] = [
  sum((one) => one.sets),
  sum((one) => one.complete),
  sum((one) => one.missed),
];
const count = (kind: Finding['kind']) => findings.filter((one) => one.kind === kind).length;
console.log(`\nfaults that took place:`);
for (const kind of KINDS) console.log(`  ${String(struck.get(kind) ?? 0).padStart(4)}  ${kind}`);
console.log(
  `${begun} runs, ${sets} sets: ${complete} complete, ${sets - complete} not, and each says why; ${missed} slots passed without a set`,
);
console.log(
  `prints lost ${count('lost')}, doubled ${count('doubled')}, wrong ${count('wrong')}; ${((performance.now() - started) / 60_000).toFixed(1)} min, load at the end ${load()}`,
);
if (sets < most && only === null) console.log(`ended before ${most} sets were made`);
process.exitCode = findings.length === 0 ? 0 : 1;
