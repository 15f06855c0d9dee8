// The part `frames` of the bench `run`: whether a run that lasts stays as small and as quick as it began. It is measured in a process
// of its own (frames.process.ts): the bench's own memory is none of the program's.
import { fork } from 'node:child_process';
import { once } from 'node:events';
import { FRAMES_A_SET, type Measured, type Memory, SETS, SETS_AT_START, type Took } from './frames-told.js';
import { bundled } from './soak-bundle.js';
import { quantile } from './wire-watch.js';

/** Caches fill, and code is compiled, in these. */
const WARM_UP_SETS = 4;
const SETS_AT_END = 20;
const MOST_GROWTH_MIB = 10;
const MOST_SLOWER = 0.1;

async function measured(scratch: string): Promise<Measured> {
  const child = fork(await bundled('bench/frames.process'), [scratch]);
  const said = once(child, 'message') as Promise<[Measured]>;
  const ended = once(child, 'exit') as Promise<[number | null]>;
  const first = await Promise.race([said, ended]);
  if (typeof first[0] !== 'object' || first[0] === null)
    throw new Error(`The process that measures ended with ${first[0]}.`);
  await ended;
  return first[0];
}

const signed = (value: number) => `${value >= 0 ? '+' : ''}${value.toFixed(1)}`;

function printMemory(memory: readonly Memory[], processes: number): string[] {
  console.log(`${'MiB after'.padEnd(14)}     heap  external  resident  resident, camera process`);
  for (const { sets, heap, external, resident, camera } of memory) {
    const figures = [heap, external, resident, camera].map((one) => one.toFixed(1).padStart(9));
    console.log(`${`${sets * FRAMES_A_SET} frames`.padEnd(14)}${figures.join(' ')}`);
  }
  const growth = (memory.at(-1)?.heap ?? Number.NaN) - (memory.at(0)?.heap ?? Number.NaN);
  const isMet = growth <= MOST_GROWTH_MIB;
  console.log(
    `the heap grew by ${signed(growth)} MiB; goal: at most ${MOST_GROWTH_MIB} MiB: ${isMet ? 'met' : 'MISSED'}; camera processes: ${processes}`,
  );
  return isMet ? [] : [`frames: the heap grew by ${signed(growth)} MiB`];
}

/** Of the median set. */
const medianOf = (sets: readonly Took[], what: keyof Took): number =>
  quantile(
    sets.map((one) => one[what]),
    0.5,
  );

function printTimes(took: readonly Took[]): string[] {
  const start = took.slice(WARM_UP_SETS, WARM_UP_SETS + SETS_AT_START);
  const end = took.slice(-SETS_AT_END);
  const row = (title: string, what: keyof Took, frames: number) => {
    const [first, last] = [medianOf(start, what) / frames, medianOf(end, what) / frames];
    const change = last / first - 1;
    console.log(
      `${title.padEnd(32)} ${first.toFixed(2).padStart(12)} ${last.toFixed(2).padStart(11)} ${`${signed(change * 100)} %`.padStart(9)}`,
    );
    return change;
  };
  console.log(`\n${'ms a frame, of the median set'.padEnd(32)} at the start  at the end   change`);
  const wall = row('by the clock', 'wall', FRAMES_A_SET);
  row('processor, this process', 'own', FRAMES_A_SET);
  row('processor, camera process', 'camera', FRAMES_A_SET);
  const fixed = row('fixed work beside it, ms', 'fixed', 1);
  const against = (1 + wall) / (1 + fixed) - 1;
  const goal = `goal: at most ${MOST_SLOWER * 100} % slower by the clock`;
  if (wall <= MOST_SLOWER) {
    console.log(`${goal}: met`);
    return [];
  }
  // The machine had more to do besides at the end than at the start.
  if (against <= MOST_SLOWER) {
    console.log(`${goal}: met against the fixed work beside it, ${signed(against * 100)} %`);
    return [];
  }
  console.log(`${goal}: MISSED, also against the fixed work beside it, ${signed(against * 100)} %`);
  return [`frames: ${signed(wall * 100)} % time a frame at the end`];
}

/** @returns the goals that were missed, a line each */
export async function benchFrames(scratch: string): Promise<string[]> {
  console.log(`${SETS * FRAMES_A_SET} frames: ${SETS} sets of ${FRAMES_A_SET} at 1/3 EV`);
  const { memory, took, cameraProcesses } = await measured(scratch);
  return [...printMemory(memory, cameraProcesses), ...printTimes(took)];
}
