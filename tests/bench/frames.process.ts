// Measures, in a process of its own, what the part `frames` of the bench `run` tells: sets of a run on a schedule through the real
// Station, with journal, set folders and camera process, on the practice body that takes no time; by an invented clock, so that
// nobody waits between the sets. Arguments: a folder for everything, and how many sets. Says what was measured over the channel.
import { createHash } from 'node:crypto';
import { closeSync, fsyncSync, openSync, readFileSync, writeSync } from 'node:fs';
import { mkdir, readdir, rm } from 'node:fs/promises';
import path from 'node:path';
import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import { Journal } from '../../src/journal/index.js';
import type { Sleep } from '../../src/series/index.js';
import { EventLog, Station } from '../../src/station/index.js';
import type { Clock } from '../../src/system/index.js';
import { CAMERA_PROCESS } from '../built.js';
import { cameraProcesses } from '../camera-processes.js';
import { childrenOf } from '../child-of.js';
import { FRAMES_A_SET, looksIn, type Measured, type Memory, type Took, type Work } from './frames-told.js';

const REQUEST = {
  ...{ frames: FRAMES_A_SET, step: '1/3', base: '1/60', name: 'Boathouse' },
  light: { slowest: '8', fastest: '1/4000', mostPerSet: 1 },
};

const MIB = 2 ** 20;
/** What /proc/PID/stat counts in: USER_HZ, 100 on every Linux that Node runs on. */
const TICKS_A_SECOND = 100;

/** Goes on only while somebody waits, who is told before. */
class InventedClock implements Clock {
  private at = Date.now();
  private readonly onWaiting: () => Promise<void>;

  constructor(onWaiting: () => Promise<void>) {
    this.onWaiting = onWaiting;
  }
  monotonic(): number {
    return this.at;
  }
  wall(): number {
    return this.at;
  }
  readonly sleep: Sleep = async (milliseconds, signal) => {
    if (signal?.aborted) return;
    await this.onWaiting();
    this.at += milliseconds;
  };
}

/** Adds up the program's work from one set to the next; what is done while it is paused is left out. */
class WorkMeter {
  private sum: Work = { wall: 0, own: 0, camera: 0 };
  private since: Work | undefined;
  private readonly camera: () => number;

  constructor(camera: () => number) {
    this.camera = camera;
  }

  goOn(): void {
    this.since = this.now();
  }

  pause(): void {
    const { since, sum } = this;
    if (since === undefined) return;
    const now = this.now();
    this.since = undefined;
    this.sum = {
      wall: sum.wall + now.wall - since.wall,
      own: sum.own + now.own - since.own,
      // Another process counts anew.
      camera: sum.camera + Math.max(0, now.camera - since.camera),
    };
  }

  take(): Work {
    const { sum } = this;
    this.sum = { wall: 0, own: 0, camera: 0 };
    return sum;
  }

  private now(): Work {
    const { user, system } = process.cpuUsage();
    return { wall: performance.now(), own: (user + system) / 1000, camera: this.camera() };
  }
}

function residentMiB(pid: number | undefined): number {
  if (pid === undefined) return 0;
  return Number(/^VmRSS:\s+(\d+) kB$/m.exec(readFileSync(`/proc/${pid}/status`, 'utf8'))?.[1]) / 1024;
}

function processorMs(pid: number | undefined): number {
  if (pid === undefined) return 0;
  const fields = readFileSync(`/proc/${pid}/stat`, 'utf8')
    .replace(/^.*\) /s, '')
    .split(' ');
  return ((Number(fields[11]) + Number(fields[12])) / TICKS_A_SECOND) * 1000;
}

setFlagsFromString('--expose-gc');
const collect = runInNewContext('gc') as () => void;

/** What finalisers let go of is gone after another collection. */
async function collected(): Promise<NodeJS.MemoryUsage> {
  for (let time = 0; time < 3; time += 1) {
    collect();
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
  return process.memoryUsage();
}

const HASHED = Buffer.alloc(2 * MIB, 0xa5);
const WRITES = 10;

/** Some of what a frame costs, always the same: hashing, and writes that are on disk. @returns milliseconds */
function fixedWork(file: string): number {
  const began = performance.now();
  const disk = openSync(file, 'w');
  try {
    for (let time = 0; time < WRITES; time += 1) {
      createHash('sha256').update(HASHED).digest();
      writeSync(disk, HASHED, 0, 4096);
      fsyncSync(disk);
    }
  } finally {
    closeSync(disk);
  }
  return performance.now() - began;
}

async function measure(scratch: string, sets: number): Promise<Measured> {
  const looks = looksIn(sets);
  const into = path.join(scratch, 'sets');
  const stateFolder = path.join(scratch, 'state');
  await mkdir(into);
  const memory: Memory[] = [];
  const took: Took[] = [];
  const pids = new Set<number>();
  const camera = () => {
    const [pid] = cameraProcesses(path.join(stateFolder, 'camera-home'));
    if (pid !== undefined) pids.add(pid);
    return pid;
  };
  const meter = new WorkMeter(() => processorMs(camera()));
  const events = new EventLog();
  const journal = await Journal.open(stateFolder);
  let ended = 0;
  events.watch(({ happening }) => {
    if (happening.type === 'line-set' && happening.set.endedAt !== null) ended += 1;
  });
  const waits = async () => {
    meter.pause();
    if (took.length < ended) {
      took.push({ ...meter.take(), fixed: fixedWork(path.join(scratch, 'fixed')) });
      for (const name of await readdir(into)) await rm(path.join(into, name), { recursive: true });
      if (looks.includes(ended)) {
        const { heapUsed, external, rss } = await collected();
        const megabytes = { heap: heapUsed / MIB, external: external / MIB, resident: rss / MIB };
        const [decoder] = await childrenOf(process, 'picture-process.js');
        const beside = { camera: residentMiB(camera()), pictures: residentMiB(decoder) };
        memory.push({ sets: ended, ...megabytes, ...beside });
      }
      if (ended === sets) station.stop();
    }
    meter.goOn();
  };
  const clock = new InventedClock(waits);
  const station = new Station({
    ...{ choice: 'practice', into, stateFolder, journal, events, clock, sleep: clock.sleep },
    configFolder: path.join(scratch, 'config'),
    log: (line) => console.error(line),
    link: { entry: CAMERA_PROCESS, env: { EVENRUNG_PRACTICE_TIMING: 'at-once' } },
  });
  try {
    await station.look();
    if (station.problem !== null) throw station.problem;
    meter.goOn();
    // One more than is made: it is stopped while it waits, so that both looks are at a run that goes on.
    await station.start({ ...REQUEST, schedule: { every: '1min', count: sets + 1 } });
    await station.settled();
    const { schedule } = events.state;
    if (schedule?.complete !== sets) throw new Error(`Not every set was completed: ${schedule?.sentence}`);
    return { memory, took, cameraProcesses: pids.size };
  } finally {
    await station.close();
    journal.close();
  }
}

const measured = await measure(process.argv[2] ?? '', Number(process.argv[3]));
process.send?.(measured);
process.disconnect();
