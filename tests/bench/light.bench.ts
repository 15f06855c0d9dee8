// `npm run bench -- light`: how near what is told of pictures comes to what is known of the practice scene, and what it costs. Goals are
// printed beside; processor time is counted, not time on a clock, since other things may run. `npm run bench -- light 100` looks at fewer frames for
// false marks; `npm run bench -- light judged set-ratio` prints some of the lines. `npm run bench -- light resident` prints what the daemon has resident after
// 10,000 frames, which takes half an hour; `npm run bench -- light resident 500` the same after fewer.
import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { performance } from 'node:perf_hooks';
import sharp from 'sharp';
import { bodySetting } from '../../src/exposure/index.js';
import type { Grey } from '../../src/light/copy.js';
import { HeldProcess } from '../../src/light/held-process.js';
import { judgeOn } from '../../src/light/judge.js';
import { openCv } from '../../src/light/process/opencv.js';
import { Merging } from '../../src/light/radiance/merge.js';
import { recoveredResponse } from '../../src/light/radiance/response.js';
import { compared } from '../../src/light/steady/compare.js';
import { marksOf } from '../../src/light/steady/marks.js';
import { copiesOf, copyOf, NINE, SCALE, shoot, tvOf } from '../light/practice-frames.js';
import { at, errorsOf } from '../light/radiance-error.js';
import { benchResident } from './frames-bench.js';
import { setRatio } from './light-set-ratio.js';
import { soundings } from './light-soundings.js';

const PROCESS = path.resolve('dist/program/light-process.js');
const built = spawnSync(process.execPath, ['src/set-up/prepare.mjs', 'build'], { stdio: 'inherit' });
if (built.status !== 0) throw new Error('The program does not build.');

const words = process.argv.slice(4);
const number = Number(words.find((word) => /^\d+$/.test(word)) ?? Number.NaN);
const lines = words.filter((word) => !/^\d+$/.test(word));
/** Frames that are looked at for false marks. */
const asked = Number.isNaN(number) ? 1000 : number;
/** Frames after which memory is looked at: the line names 10,000. */
const fired = lines.includes('resident') && !Number.isNaN(number) ? number : 10_000;
const PERCENT = 100;
const MIB = 2 ** 20;
const folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-light-bench-'));
const PROOF = path.join(folder, 'radiance.hdr');

const held = new HeldProcess({ entry: PROCESS, idleMs: 500 });

/** What /proc/PID/stat counts in: USER_HZ, 100 on every Linux that Node runs on. */
const TICK_MS = 10;

function processorMs(): number {
  const { user, system } = process.cpuUsage();
  const stat = held.pid === undefined ? '' : readFileSync(`/proc/${held.pid}/stat`, 'utf8');
  const fields = stat.replace(/^.*\) /s, '').split(' ');
  return (user + system) / 1000 + (Number(fields[11] ?? 0) + Number(fields[12] ?? 0)) * TICK_MS;
}

/** @returns milliseconds of processor time, here and in the process, and what came of it */
async function cost<Result>(work: () => Promise<Result>): Promise<{ ms: number; result: Result }> {
  const before = processorMs();
  const result = await work();
  return { ms: processorMs() - before, result };
}

/** @returns milliseconds that the main thread has had of a processor (Linux, proc(5): schedstat) */
const workedMs = (): number =>
  Number(readFileSync(`/proc/self/task/${process.pid}/schedstat`, 'utf8').split(' ')[0]) / 1e6;

/** @returns MiB that the process takes by itself: what it shares with others, such as libraries, counts by its part */
async function residentMiB(): Promise<number> {
  if (held.pid === undefined) return 0;
  const rollup = await readFile(`/proc/${held.pid}/smaps_rollup`, 'utf8').catch(() => '');
  return Number(/^Pss:\s+(\d+) kB$/m.exec(rollup)?.[1] ?? 0) / 1024;
}

const smallest = (values: readonly number[]): number => Math.min(...values);

async function radiance(): Promise<void> {
  const { cv } = await openCv();
  const jpegs = await Promise.all(NINE.map((offset) => shoot({ offset, seed: offset })));
  const fulls = await Promise.all(jpegs.map((jpeg) => copyOf(jpeg, 1200)));
  const smalls = await Promise.all(jpegs.map(async (jpeg) => (await copiesOf(jpeg)).small));
  const nominal = NINE.map((offset) =>
    Math.log2((bodySetting(tvOf({ offset }), '')?.nominalSeconds ?? Number.NaN) * 64),
  );
  const errors = [];
  for (const evs of [NINE, nominal]) {
    const response = recoveredResponse(
      cv,
      smalls.map((copy, index) => ({ offsetEv: evs[index] as number, copy })),
    );
    if (response === null) throw new Error('There is no response.');
    const merging = new Merging(response);
    for (const [index, copy] of fulls.entries()) merging.add(evs[index] as number, copy);
    const merged = merging.end();
    if (merged !== null) errors.push(await errorsOf(merged, fulls));
  }
  const [exact = [], labels = []] = errors;
  const share = (sorted: readonly number[], part: number) => (at(sorted, part) * PERCENT).toFixed(2);
  console.log(
    `light radiance median ${share(exact, 0.5)} p95 ${share(exact, 0.95)} nominal-p95 ${share(labels, 0.95)} (per cent of the known light; nominal-median ${share(labels, 0.5)}; goals: median 3, p95 8)`,
  );
}

async function shifts(): Promise<void> {
  const { cv } = await openCv();
  const greyOf = async (shot: Parameters<typeof shoot>[0]): Promise<Grey> =>
    (await copiesOf(await shoot(shot))).grey;
  let worst = 0;
  for (const offset of [-4, -2, 0, 2, 3])
    for (const shift of [0, 0.5, 2, 8]) {
      const first = await greyOf({ offset, seed: 1 });
      const second = await greyOf({ offset: offset + 1, right: shift * SCALE, light: 0.1, seed: 2 });
      const found = compared(cv, { first, second, firstIsDarker: true });
      const { right = Number.NaN, down = Number.NaN } = found?.shift ?? {};
      worst = Math.max(worst, Math.hypot(right - shift, down));
    }
  let marked = 0;
  let before = await greyOf({ offset: -4, seed: 1 });
  const began = performance.now();
  // Up and down the set, so that each frame has its neighbour before it.
  const way = [...NINE, ...NINE.toReversed().slice(1, -1)];
  for (let frame = 1; frame <= asked; frame += 1) {
    const [offset = 0, last = 0] = [way[frame % way.length], way[(frame - 1) % way.length]];
    const light = frame % 2 === 0 ? 0.1 : 0;
    const next = await greyOf({ offset, seed: 1000 + frame, light });
    const found = compared(cv, { first: before, second: next, firstIsDarker: last < offset });
    if (found === null || marksOf(found, { number: 2, against: 1, scale: SCALE }).length > 0) {
      marked += 1;
      console.log(`  marked: frame ${frame}, from ${last} to ${offset} EV: ${JSON.stringify(found)}`);
    }
    before = next;
  }
  const seconds = (performance.now() - began) / 1000;
  console.log(
    `light shift worst ${worst.toFixed(3)} false-marks ${marked} of ${asked} (pixels of a 1,024 px copy, goal 0.2; goal no mark; ${seconds.toFixed(0)} s)`,
  );
}

async function fileOf(name: string, bytes: Buffer): Promise<{ file: string; kind: string }> {
  const file = path.join(folder, `${name}.jpg`);
  await writeFile(file, bytes);
  return { file, kind: 'jpg' };
}

async function judging(): Promise<void> {
  const large = async (offset: number) =>
    sharp(await shoot({ offset, seed: offset }))
      .resize(6000, 4000)
      .jpeg({ quality: 92 })
      .toBuffer();
  const [dark, light] = [await fileOf('0', await large(0)), await fileOf('1', await large(1))];
  const one = judgeOn(held);
  await one.frame({ number: 1, offsetEv: 0, picture: dark });
  const times: number[] = [];
  for (let time = 0; time < 7; time += 1) {
    const { ms, result } = await cost(async () => {
      const seen = await one.frame({ number: 2, offsetEv: 1, picture: light });
      await one.coverage();
      return seen;
    });
    if (!result.isRead || result.steadiness === null) throw new Error('It was not judged.');
    times.push(ms);
  }
  await one.close();
  console.log(
    `light judged ${smallest(times.slice(2)).toFixed(0)} (ms of one core for a JPEG of 24 megapixels: coverage, shift, sharpness; best of five, goal 600; the worst was ${Math.max(...times.slice(2)).toFixed(0)}, the first with a cold process ${(times[0] ?? 0).toFixed(0)})`,
  );
}

/** All files of a set come at once, as from a burst: it is the clock on the wall that counts. */
async function burst(): Promise<void> {
  const pictures = await Promise.all(
    NINE.map(async (offset) => {
      const jpeg = await sharp(await shoot({ offset, seed: offset }))
        .resize(6000, 4000)
        .jpeg({ quality: 92 })
        .toBuffer();
      return { offset, picture: await fileOf(`b${offset}`, jpeg) };
    }),
  );
  const seconds: number[] = [];
  for (let time = 0; time < 4; time += 1) {
    const one = judgeOn(held);
    const began = performance.now();
    const seen = pictures.map(({ offset, picture }, index) =>
      one.frame({ number: index + 1, offsetEv: offset, picture }),
    );
    const all = await Promise.all(seen);
    const { coverage } = await one.coverage();
    seconds.push((performance.now() - began) / 1000);
    if (coverage === null || !all.every(({ isRead }) => isRead)) throw new Error('It was not judged.');
    await one.close();
  }
  const [cold = Number.NaN, ...warm] = seconds;
  console.log(
    `light burst ${smallest(warm).toFixed(2)} (s by the clock until nine JPEG files of 24 megapixels that come at once are judged; best of three, goal 3; with a cold process ${cold.toFixed(2)}; load ${os.loadavg()[0]?.toFixed(1)})`,
  );
}

async function merging(): Promise<void> {
  const one = judgeOn(held);
  for (const [index, offset] of NINE.entries())
    await one.frame({
      number: index + 1,
      offsetEv: offset,
      picture: await fileOf(`m${index}`, await shoot({ offset, seed: offset })),
    });
  const first = await cost(() => one.merge({ file: PROOF, side: 1024 }));
  if (!first.result.isMerged) throw new Error(first.result.sentence);
  const { response } = first.result;
  const times: number[] = [];
  for (let time = 0; time < 5; time += 1)
    times.push((await cost(() => one.merge({ file: PROOF, response, side: 1024 }))).ms);
  await one.close();
  console.log(
    `light merged ${smallest(times).toFixed(0)} (ms of one core for nine frames at 1,024 px with a known response; best of five, goal 2000; with the response recovered ${first.ms.toFixed(0)})`,
  );
}

async function memory(): Promise<void> {
  const frame = await fileOf(
    '61',
    await sharp(await shoot({ offset: 0 }))
      .resize(6000, 4000)
      .jpeg()
      .toBuffer(),
  );
  const own = judgeOn(held);
  const before = process.memoryUsage().rss;
  const beginning = workedMs();
  held.begun();
  const begun = workedMs() - beginning;
  let most = 0;
  const beat = { last: performance.now(), longest: 0, worked: workedMs(), most: 0 };
  const watch = setInterval(() => {
    const [now, worked] = [performance.now(), workedMs()];
    beat.longest = Math.max(beat.longest, now - beat.last);
    beat.most = Math.max(beat.most, worked - beat.worked);
    [beat.last, beat.worked] = [now, worked];
  }, 2);
  const look = async () => {
    const there = await residentMiB();
    most = Math.max(most, (process.memoryUsage.rss() - before) / MIB + there);
  };
  const looks = setInterval(() => void look(), 100);
  const loop = performance.eventLoopUtilization();
  for (let number = 1; number <= 61; number += 1)
    await own.frame({ number, offsetEv: (number - 31) / 3, picture: frame });
  await look();
  const judged = most;
  await own.coverage();
  const merged = await own.merge({ file: PROOF, response: LINE });
  const busy = performance.eventLoopUtilization(loop).utilization;
  clearInterval(watch);
  clearInterval(looks);
  await own.close();
  while (held.isRunning) await new Promise((resolve) => setTimeout(resolve, 50));
  const after = (process.memoryUsage().rss - before) / MIB;
  console.log(
    `light memory ${most.toFixed(0)} (MiB more at the most, here and in the process: 61 frames of 24 megapixels judged, ${judged.toFixed(0)}, and merged at ${merged.isMerged ? merged.size.width : 0} px; goal 300; ${after.toFixed(0)} more once the process has ended)`,
  );
  console.log(
    `light held ${beat.most.toFixed(1)} (ms that the caller's loop worked at the most between two beats 2 ms apart, goal 10; by the clock ${beat.longest.toFixed(1)}, with what else the machine did; beginning the process ${begun.toFixed(1)}, once; it was busy for ${(busy * PERCENT).toFixed(1)} % of the time; load ${os.loadavg()[0]?.toFixed(1)} on ${os.cpus().length} cores)`,
  );
}

/** A response for frames that are all the same picture, from which none can be recovered. */
const LEVELS = Array.from({ length: 256 }, (_, level) => 2.2 * Math.log2(Math.max(1, level) / 128));
const LINE: readonly [number[], number[], number[]] = [LEVELS, LEVELS, LEVELS];

try {
  const all = {
    ...{ memory, judged: judging, burst, merged: merging, radiance },
    soundings: () => soundings(PROCESS),
    ...{ shift: shifts, 'set-ratio': setRatio },
    resident: () => benchResident(folder, fired),
  };
  for (const [name, line] of Object.entries(all))
    if (lines.length === 0 || lines.includes(name)) await line();
} finally {
  await rm(folder, { recursive: true, force: true });
}
