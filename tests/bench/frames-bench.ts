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
/** Of the daemon, at each look. */
const MOST_RESIDENT_MIB = 350;
const MOST_SLOWER = 0.1;

async function measured(scratch: string, sets: number): Promise<Measured> {
  const child = fork(await bundled('bench/frames.process'), [scratch, String(sets)]);
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
  console.log(
    `${'MiB after'.padEnd(14)}     heap  external  resident  resident, camera process, and the one that decodes pictures`,
  );
  for (const { sets, heap, external, resident, camera, pictures } of memory) {
    const figures = [heap, external, resident, camera, pictures].map((one) => one.toFixed(1).padStart(9));
    console.log(`${`${sets * FRAMES_A_SET} frames`.padEnd(14)}${figures.join(' ')}`);
  }
  const held = ({ heap, external }: Memory) => heap + external;
  const [first, last] = [memory.at(0), memory.at(-1)];
  const growth = first === undefined || last === undefined ? Number.NaN : held(last) - held(first);
  const isMet = growth <= MOST_GROWTH_MIB;
  console.log(
    `heap and buffers grew by ${signed(growth)} MiB; goal: at most ${MOST_GROWTH_MIB} MiB: ${isMet ? 'met' : 'MISSED'}; camera processes: ${processes}`,
  );
  return isMet ? [] : [`frames: heap and buffers grew by ${signed(growth)} MiB`];
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
  const { memory, took, cameraProcesses } = await measured(scratch, SETS);
  return [...printMemory(memory, cameraProcesses), ...printTimes(took)];
}

/**
 * Prints one line: what the daemon has resident at the end of so many frames. The bench's own processes and the daemon's children are not in it.
 * @returns whether it never had more than it may
 */
export async function benchResident(scratch: string, frames: number): Promise<boolean> {
  const sets = Math.max(1, Math.round(frames / FRAMES_A_SET));
  const { memory } = await measured(scratch, sets);
  const last = memory.at(-1);
  if (last === undefined) throw new Error('Nothing was measured.');
  const looks = memory.map((one) => `${one.resident.toFixed(0)} after ${one.sets * FRAMES_A_SET}`);
  const most = Math.max(...memory.map(({ resident }) => resident));
  console.log(
    `light resident ${last.resident.toFixed(0)} after ${sets * FRAMES_A_SET} frames (MiB of the daemon, whose children are not in it: the process that decodes pictures had ${last.pictures.toFixed(0)}, the camera process, in which the practice body draws, ${last.camera.toFixed(0)}; ${looks.join(', ')}; goal ${MOST_RESIDENT_MIB} at each: ${most <= MOST_RESIDENT_MIB ? 'met' : 'MISSED'})`,
  );
  return most <= MOST_RESIDENT_MIB;
}
