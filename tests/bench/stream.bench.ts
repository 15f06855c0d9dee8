// `npm run bench -- stream`: what watching costs, and how late it is. From a frame's event in the daemon to the painted panel in
// Chromium with 20 watchers; from the press to the first frame that is armed; and how much 200 watchers slow the same run, side by
// side with the run that nobody watches. Runs are compared on a practice body that takes no time of its own. Goals stand beside the figures.
// `npm run bench -- stream panel` or `watchers` leaves the other part out.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { attach, type Daemon, pause, startDaemon } from './stream-daemon.js';
import { Panel } from './stream-panel.js';
import { quantile } from './wire-watch.js';

const MOST_PAINT_MS = 50;
const MOST_ARM_MS = 150;
const MOST_SLOWED = 0.02;

const FEW = 20;
const MANY = 200;
const PANEL_SETS = 12;
const LIFELIKE_SETS = 8;
const PANEL_FRAMES = 9;
/** Pairs of runs, one watched and one not; which comes first changes from pair to pair. */
const PAIRS = 15;
const LAST_BUNCH_MS = 1500;
const RUN = { frames: 25, step: '1/3', base: '1/250' };

const missed: string[] = [];
function line(what: string, figure: string, goal: string, isMet: boolean): void {
  if (!isMet) missed.push(what);
  console.log(
    `${what.padEnd(58)} ${figure.padStart(12)}   goal ${goal.padEnd(10)} ${isMet ? 'ok' : 'MISSED'}`,
  );
}
const load = () =>
  os
    .loadavg()
    .map((one) => one.toFixed(1))
    .join(' ');
const ms = (value: number) => `${value.toFixed(1)} ms`;
const percent = (value: number) => `${(value * 100).toFixed(1)} %`;
const median = (values: readonly number[]) => quantile([...values], 0.5);

async function measurePanel(daemon: Daemon, sets: number): Promise<{ late: number[]; arming: number[] }> {
  const watchers = await attach(daemon.address, FEW - 1);
  const panel = await Panel.open(daemon.address);
  try {
    // The first one loads what is loaded once.
    await panel.fire(PANEL_FRAMES, '1/250');
    const before = await panel.seen();
    for (let set = 0; set < sets; set += 1) await panel.fire(PANEL_FRAMES, '1/250');
    const seen = await panel.seen();
    const events = seen.painted.slice(before.painted.length);
    const late = events.map(({ told, painted }) => painted - told);
    const heard = events.map(({ told, heard: at }) => at - told);
    const arming = seen.armed.map((armed, index) => armed - (seen.pressed[index] ?? 0)).slice(1);
    console.log(`  ${late.length} events of frames, ${FEW} watchers, ${sets} sets of ${PANEL_FRAMES} frames`);
    for (const [what, times] of [
      ['event to page', heard],
      ['event to paint', late],
    ] as const) {
      const shares = [0.5, 0.9, 0.99].map((share) => ms(quantile(times, share))).join(', ');
      console.log(`  ${what}: median, 90th, 99th percentile ${shares}`);
    }
    console.log(`  press to armed: ${arming.map((one) => one.toFixed(0)).join(', ')} ms`);
    return { late, arming };
  } finally {
    await panel.end();
    watchers.end();
  }
}

/** A body takes its time for frames, and the painting is timed then; what comes before the first one is the daemon's own. */
async function panelPart(): Promise<void> {
  console.log('a body that takes its time:');
  const { late } = await withDaemon('lifelike', (daemon) => measurePanel(daemon, LIFELIKE_SETS));
  const last = quantile(late, 0.99);
  line('event to painted panel, 99th percentile', ms(last), `< ${MOST_PAINT_MS} ms`, last < MOST_PAINT_MS);
  console.log('a body that takes none:');
  const { arming } = await withDaemon('at-once', (daemon) => measurePanel(daemon, PANEL_SETS));
  const usual = median(arming);
  line('press to first frame armed, median', ms(usual), `< ${MOST_ARM_MS} ms`, usual < MOST_ARM_MS);
}

async function measureWatchers(daemon: Daemon): Promise<void> {
  const timed = async (watched: number) => {
    const watchers = await attach(daemon.address, watched);
    const cpu = daemon.cpuMs();
    const run = await daemon.fire(RUN);
    // The last bunch may still be on its way.
    await pause(LAST_BUNCH_MS);
    const used = daemon.cpuMs() - cpu;
    const taken = watchers.taken();
    watchers.end();
    // All of them got all of it.
    if (new Set(taken).size > 1)
      throw new Error(`The watchers took ${[...new Set(taken)].join(', ')} bytes.`);
    return { took: Date.parse(run.endedAt ?? '') - Date.parse(run.startedAt), used };
  };
  await timed(0);
  await timed(MANY);
  const pairs: { alone: { took: number; used: number }; watched: { took: number; used: number } }[] = [];
  for (let pair = 0; pair < PAIRS; pair += 1) {
    if (pair % 2 === 0) {
      const alone = await timed(0);
      pairs.push({ alone, watched: await timed(MANY) });
    } else {
      const watched = await timed(MANY);
      pairs.push({ alone: await timed(0), watched });
    }
  }
  const alone = pairs.map((one) => one.alone.took);
  const watched = pairs.map((one) => one.watched.took);
  console.log(`${RUN.frames} frames, ${PAIRS} pairs of runs`);
  console.log(`  alone:   ${alone.map((one) => one.toFixed(0)).join(', ')} ms, median ${ms(median(alone))}`);
  console.log(
    `  watched: ${watched.map((one) => one.toFixed(0)).join(', ')} ms, median ${ms(median(watched))}`,
  );
  console.log(
    `  processor of the daemon: ${ms(median(pairs.map((one) => one.alone.used)))} alone, ${ms(median(pairs.map((one) => one.watched.used)))} watched`,
  );
  console.log(`  quickest: ${ms(Math.min(...alone))} alone, ${ms(Math.min(...watched))} watched`);
  const [busy = 0] = os.loadavg();
  if (busy > os.cpus().length)
    console.log('  The computer is busy with other things: single runs differ by far more than the goal.');
  const slowed = median(watched) / median(alone) - 1;
  const pairwise = median(pairs.map((one) => one.watched.took / one.alone.took - 1));
  console.log(`  median of the pairs' ratios ${percent(pairwise)}`);
  line(
    `slowed by ${MANY} watchers, of the medians`,
    percent(slowed),
    `<= ${percent(MOST_SLOWED)}`,
    slowed <= MOST_SLOWED,
  );
}

async function withDaemon<T>(
  timing: 'at-once' | 'lifelike',
  work: (daemon: Daemon) => Promise<T>,
): Promise<T> {
  const folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-stream-bench-'));
  const daemon = await startDaemon(folder, timing);
  try {
    return await work(daemon);
  } finally {
    await daemon.end();
    await rm(folder, { recursive: true, force: true });
  }
}

const PARTS = { panel: panelPart, watchers: () => withDaemon('at-once', measureWatchers) };
const asked = process.argv.slice(4);
for (const [name, part] of Object.entries(PARTS)) {
  if (asked.length > 0 && !asked.includes(name)) continue;
  console.log(`=== ${name} (${os.cpus().length} cores, load ${load()})`);
  await part();
  console.log(`load at its end ${load()}\n`);
}
console.log(missed.length === 0 ? 'All goals are met.' : `Goals missed: ${missed.length}`);
process.exitCode = missed.length === 0 ? 0 : 1;
