// `npm run bench -- wire`: what a set costs over the wire, on a virtual body of each dialect, under two timing tables that are
// printed beside the results: seconds, beside what no program can beat and beside the bare binding in the same run; changes
// and transactions; the daemon's own cost a frame; memory over a thousand frames. Everything is real from the Station down to
// libgphoto2. Daemon, body and bare binding have a process each, as the camera process is one anyway: none of them pays for
// another, nor for the bench.
// Nine frames by each way that there is to a body come first (wire-ways.ts).
// `npm run bench -- wire amount standard` leaves the other bodies out, `wire pipelined` everything but that way.
import { spawnSync } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { warmUp } from '../../src/frames/index.js';
import type { FaceName } from '../wire/ptp/plugged-body.js';
import type { Fired } from './wire-messages.js';
import { writePictures } from './wire-pictures.js';
import { buildProcesses, ROOT, startBody, startDaemon } from './wire-processes.js';
import {
  type Bench,
  type MeasuredByDaemon,
  type MeasuredSet,
  measureBare,
  measureDaemon,
  total,
} from './wire-sets.js';
import { stagesOf } from './wire-stages.js';
import { inWords, LIKE_A_REAL_BODY, type TimingTable, ZERO } from './wire-timing.js';
import { type Change, quantile } from './wire-watch.js';
import { measureWays, WAYS, type Way } from './wire-ways.js';

const DIALECTS: readonly (readonly [FaceName, string])[] = [
  ['amount', 'A'],
  ['pattern', 'B'],
  ['drive-entry-walking', 'C walking'],
  ['standard', 'D'],
  ['drive-entry', 'C'],
];
const asked = process.argv.slice(4);
/** @returns those that were asked for; all if none was */
function ofAsked<Name extends string>(names: readonly Name[]): readonly Name[] {
  const some = names.filter((name) => asked.includes(name));
  return some.length > 0 ? some : names;
}
const FACES = ofAsked(DIALECTS.map(([face]) => face));
const isWaysOnly = WAYS.some((way) => asked.includes(way));
/** Where the shutter does not move between passes, a body that walks is as quick as one that leaps. */
const FACES_BY_WAY = DIALECTS.filter(
  ([face]) => FACES.includes(face) && (face !== 'drive-entry-walking' || asked.includes(face)),
);
const dialect = (face: FaceName) => new Map(DIALECTS).get(face) ?? face;

/** Settings changes that a set may need beside one a pass: the bracket on and off. */
const CHANGES_BESIDE_PASSES = 2;
/** What fires the passes; any other setting only has to stand right while they are fired. */
const MOVED = /^(shutterspeed2?|aeb|bracketing|capturemode)$/;
const THERE_AND_BACK = 2;

/** The daemon's own cost a frame. */
const MOST_MS = 5;

const MEMORY_FRAMES = 1000;
const MEMORY_EVERY = 250;
const MEMORY_SET = { frames: 10, step: 1, base: '1/60' };
/** The one that takes least time a frame at zero. */
const MEMORY_FACE: FaceName = 'standard';

/** Both tables have the same changes: each goal once. */
const missed = new Set<string>();
function goal(isMet: boolean, what: string): string {
  if (isMet) return 'ok';
  missed.add(what);
  return 'MISSED';
}

const INDENT = ' '.repeat(11);
const right = (text: string | number, width: number) => String(text).padStart(width);
const seconds = (value: number) => right(value.toFixed(2), 8);
const ms = (value: number) => right(value.toFixed(1), 8);
const hex = (code: string) => `0x${Number(code).toString(16).padStart(4, '0')}`;
const load = () =>
  os
    .loadavg()
    .map((one) => one.toFixed(1))
    .join(' ');

function counted(names: readonly string[]): string {
  const counts = new Map<string, number>();
  for (const name of names) counts.set(name, (counts.get(name) ?? 0) + 1);
  return [...counts].map(([name, count]) => `${name} ${count}`).join(', ');
}

// --- sets

function printTiming(timing: TimingTable): void {
  console.log(
    `\n=== ${timing.name} (${timing.rounds === 1 ? 'each set once' : `medians of ${timing.rounds}`})`,
  );
  for (const line of inWords(timing)) console.log(`    ${line}`);
  console.log(
    "\nlimit: the exposures, the body's own cycle and the transfer; bare: shutter and frame, one after another, by the binding alone\n" +
      '(bare/run above 1: the run is quicker); changes: calls of the link; written: what reached the wire',
  );
  console.log(
    `\n${'dialect'.padEnd(10)} ${'set'.padEnd(11)} ${'seconds    limit  x limit     bare  bare/run   passes  changes  written  (bare)   PTP/frame  (bare)    goal'}`,
  );
}

/** @returns of the changes those that were made once and taken back, and neither switch the bracket nor move the shutter */
function stoodOtherwise(changes: readonly string[]): string[] {
  return changes.filter(
    (name) => !MOVED.test(name) && changes.filter((other) => other === name).length <= THERE_AND_BACK,
  );
}

/** @returns the median milliseconds of a change, setting by setting */
function timesOf(changes: readonly Change[]): string {
  const names = [...new Set(changes.map(({ name }) => name))];
  return names
    .map((name) => {
      const times = changes.filter((change) => change.name === name);
      return `${name} ${quantile(
        times.map(({ milliseconds }) => milliseconds),
        0.5,
      ).toFixed(0)}`;
    })
    .join(', ');
}

function printSet({ face, set, planned, limit, made, bare, fired }: MeasuredSet): void {
  const { passes } = planned;
  const frames = planned.frames.length;
  const most = passes.length + CHANGES_BESIDE_PASSES;
  const names = fired.changes.map(({ name }) => name);
  const otherwise = stoodOtherwise(names);
  const rest = names.filter((name) => !otherwise.includes(name));
  const verdict = goal(
    rest.length <= most,
    `${dialect(face)}, ${set}: ${rest.length} changes where ${most} is the goal: ${counted(rest)}`,
  );
  console.log(
    [
      dialect(face).padEnd(10),
      set.padEnd(11),
      right(made.seconds.toFixed(2), 7),
      limit.total === 0 ? right('-', 8) : seconds(limit.total),
      right(limit.total === 0 ? '-' : (made.seconds / limit.total).toFixed(2), 8),
      seconds(bare.seconds),
      right((bare.seconds / made.seconds).toFixed(2), 9),
      right(passes.length, 8),
      right(names.length, 8),
      right(total(made.writes), 8),
      right(`(${total(bare.writes)})`, 7),
      right((made.transactions / frames).toFixed(1), 11),
      right(`(${(bare.transactions / frames).toFixed(1)})`, 7),
      right(`${rest.length}/${most}`, 7),
      verdict,
    ].join(' '),
  );
  console.log(`${INDENT}passes: ${passes.join(', ')}`);
  console.log(
    `${INDENT}changed: ${counted(rest)}${otherwise.length === 0 ? '' : `; stood otherwise, there and back: ${counted(otherwise)}`}`,
  );
  console.log(`${INDENT}a change through the link, ms: ${timesOf(fired.changes)}`);
  const codes = Object.entries(made.writes).map(([code, count]) => `${hex(code)} ${count}`);
  console.log(`${INDENT}written, by property: ${codes.join(', ')}`);
  if (bare.wrong > 0)
    console.log(
      `${INDENT}bare: ${bare.wrong} of ${frames} frames are wrong: fired before the change was made`,
    );
}

/** Where the seconds beyond the limit go. */
function printShares(timing: TimingTable, sets: readonly MeasuredSet[]): void {
  const beyond = '     lag  changes     wire     rest';
  console.log(
    '\nSeconds: what the limit is made of; what is beyond it, in a run; of it, whatever it is spent on, before the first frame,\n' +
      "after the last, and as the daemon's own cost between frames; what is beyond it by the bare binding\n" +
      `${'dialect'.padEnd(10)} ${'set'.padEnd(11)} exposure    cycle transfer  | ${beyond}  |   before    after      own  | ${beyond}`,
  );
  for (const { face, set, planned, limit, made, bare, fired } of sets) {
    const [inRun, byBare] = [made, bare].map(({ seconds: all, writes, waited: wire }) => {
      const lag = planned.frames.length * timing.body.releaseLag;
      const changing = total(writes) * timing.body.change;
      const rest = all - limit.total - lag - changing - wire;
      return [lag, changing, wire, rest].map(seconds).join(' ');
    });
    const parts = [limit.exposures, limit.cycle, limit.transfer].map(seconds).join(' ');
    const between = fired.gaps.filter(({ next }) => next !== 'put-back');
    const cost = between.reduce((sum, gap) => sum + gap.total, 0) / 1000;
    const own = [fired.before, fired.after, cost].map(seconds).join(' ');
    console.log([`${dialect(face).padEnd(10)} ${set.padEnd(11)} ${parts}`, inRun, own, byBare].join('  | '));
  }
  const waits = sets.flatMap(({ made, bare }) => [made, bare]);
  const meanWait =
    waits.reduce((sum, { waited }) => sum + waited, 0) /
    waits.reduce((sum, { transactions }) => sum + transactions, 0);
  console.log(
    'changes: what was written, at the time that the body takes for one; wire: the waits of the transactions, which came out at\n' +
      `${(meanWait * 1000).toFixed(1)} ms each; rest: everything else, waits of the link and the library among it, less what went on side by side`,
  );
}

interface MeasuredTable {
  readonly fired: readonly Fired[];
  readonly sample: string;
}

async function measureTable(bench: Bench, timing: TimingTable): Promise<MeasuredTable> {
  printTiming(timing);
  const byDaemon: MeasuredByDaemon[] = [];
  const sets: MeasuredSet[] = [];
  for (const face of FACES) {
    const measured = await measureDaemon(bench, face, timing);
    byDaemon.push(measured);
    for (const set of await measureBare(bench, measured)) {
      printSet(set);
      sets.push(set);
    }
  }
  if (timing.transactionSeconds > 0) printShares(timing, sets);
  return { fired: byDaemon.flatMap(({ fired }) => fired), sample: byDaemon[0]?.sample ?? '' };
}

// --- the daemon's own cost

function printGaps(what: string, fired: readonly Fired[]): void {
  const gaps = fired.flatMap((set) => set.gaps);
  const row = (name: string, times: readonly number[], verdict = '') =>
    console.log(
      `${what.padEnd(24)} ${name.padEnd(38)} ${right(times.length, 6)} ${ms(quantile(times, 0.5))} ${ms(quantile(times, 0.99))} ${ms(quantile(times, 1))}  ${verdict}`,
    );
  const between = gaps.filter(({ next }) => next !== 'put-back');
  const all = between.map(({ total }) => total);
  const p99 = quantile(all, 0.99);
  row(
    'a frame in hand, until the next call',
    all,
    goal(
      p99 < MOST_MS,
      `the daemon's own cost a frame, ${what}: ${p99.toFixed(1)} ms at the 99th percentile`,
    ),
  );
  row(
    '  read and judged',
    between.map(({ reading }) => reading),
  );
  for (const next of ['frame', 'change'] as const)
    row(
      `  from then to the next ${next}`,
      between.filter((gap) => gap.next === next).map(({ calling }) => calling),
    );
  row(
    'the last frame, until put back',
    gaps.filter(({ next }) => next === 'put-back').map(({ total }) => total),
  );
  row(
    'until verified, side by side',
    fired.flatMap(({ looks }) => looks),
  );
  row(
    'the channel',
    fired.flatMap(({ channel }) => channel),
  );
}

async function printStages(
  what: string,
  sample: string,
  scratch: string,
  { rounds, rest }: { rounds: number; rest: number },
): Promise<void> {
  for (const { name, times } of await stagesOf(sample, scratch, rounds, rest)) {
    console.log(
      `${what.padEnd(24)} ${name.padEnd(45)} ${ms(quantile(times, 0.5))} ${ms(quantile(times, 0.99))} ${ms(quantile(times, 1))}`,
    );
  }
}

// --- memory

async function thousandFrames({ scratch, pictures }: Bench): Promise<Fired[]> {
  const body = await startBody(MEMORY_FACE, ZERO, pictures);
  try {
    const into = await mkdtemp(path.join(scratch, 'memory-'));
    const { environment } = body;
    const daemon = await startDaemon({ environment, way: 'binding', keepsJournal: false, into });
    const all: Fired[] = [];
    const pids = new Set<number | null>();
    const look = async (frames: number) => {
      const { camera, daemon: own, cameraPid } = await daemon.resident();
      const mib = (value: number | null) => value?.toFixed(0) ?? '?';
      console.log(`${right(frames, 6)}  ${right(mib(camera), 14)}  ${right(mib(own), 6)}`);
      pids.add(cameraPid);
    };
    console.log(
      `\n=== ${MEMORY_FRAMES} frames through one camera process (dialect ${dialect(MEMORY_FACE)}, zero), resident MiB\nframes  camera process  daemon`,
    );
    const started = performance.now();
    await look(0);
    for (let frames = MEMORY_SET.frames; frames <= MEMORY_FRAMES; frames += MEMORY_SET.frames) {
      all.push(await daemon.fire(MEMORY_SET));
      if (frames % MEMORY_EVERY === 0) await look(frames);
    }
    const took = (performance.now() - started) / 1000;
    console.log(
      `${took.toFixed(0)} s, ${(MEMORY_FRAMES / took).toFixed(1)} frames a second, camera processes at these looks: ${pids.size}`,
    );
    await daemon.end();
    return all;
  } finally {
    await body.end();
  }
}

/** What the daemon does beyond what body and cable ask of it, over the binding. */
async function measureTables(bench: Bench): Promise<void> {
  const zero = await measureTable(bench, ZERO);
  const real = await measureTable(bench, LIKE_A_REAL_BODY);
  const thousand = await thousandFrames(bench);

  console.log(
    `\n=== the daemon's own cost a frame, ms: from the file in hand to its next call of the link (goal: under ${MOST_MS})\n` +
      `${'files'.padEnd(24)} ${''.padEnd(38)} frames   median      p99     most`,
  );
  printGaps('zero, 1 MP', [...zero.fired, ...thousand]);
  printGaps('like a real body, 24 MP', real.fired);
  console.log(
    'the channel: what a frame takes from call to answer beside what the camera process reckons\n\n' +
      `${'Its stages, each alone, ms'.padEnd(70)}   median      p99     most`,
  );
  await printStages('1 MP', zero.sample, bench.scratch, { rounds: 100, rest: 0 });
  await printStages('24 MP, after 0.5 s', real.sample, bench.scratch, { rounds: 12, rest: 500 });
}

// --- all of it

const prepare = path.join(ROOT, 'src/set-up/prepare.mjs');
const prepared = spawnSync(process.execPath, [prepare, 'build'], { stdio: 'inherit' });
if (prepared.status !== 0) throw new Error('The program does not build.');
const began = performance.now();
const scratch = await mkdtemp(path.join(os.tmpdir(), 'evenrung-wire-bench-'));
try {
  await buildProcesses();
  await warmUp();
  const bench: Bench = { scratch, pictures: await writePictures(scratch) };
  console.log(`${os.cpus().length} cores, load ${load()}`);

  const ways = ofAsked<Way>(WAYS);
  await measureWays(bench, { faces: FACES_BY_WAY, ways, timing: LIKE_A_REAL_BODY, goal });
  if (!isWaysOnly) await measureTables(bench);

  console.log(`\n${((performance.now() - began) / 60_000).toFixed(1)} minutes, load ${load()}`);
  console.log(missed.size === 0 ? 'All goals are met.' : `Goals missed: ${missed.size}`);
  for (const what of missed) console.log(`  ${what}`);
} finally {
  await rm(scratch, { recursive: true, force: true });
}
