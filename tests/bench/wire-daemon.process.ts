// A Station as the daemon has it, in a process of its own, for the bench `wire`: what is measured of it, time or memory, is the
// daemon's and not the bench's. Does one order after another; ends when the bench is gone.
import { copyFile, mkdir, readdir, readFile, rm } from 'node:fs/promises';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import type { WrittenSetRequest } from '../../shared/request.js';
import { formatEv } from '../../src/exposure/index.js';
import { Journal } from '../../src/journal/index.js';
import { openJudge } from '../../src/light/index.js';
import { EventLog, Station } from '../../src/station/index.js';
import type { DaemonAt, DaemonOrder, Done, Failed, Fired, Planned, Resident } from './wire-messages.js';
import { watchLinks } from './wire-watch.js';

/** This module runs as a bundle, from dist/tests/bench. */
const LIGHT_PROCESS = fileURLToPath(new URL('../../dist/program/light-process.js', import.meta.url));
const DONE: Done = { type: 'done' };

const watch = watchLinks();
const events = new EventLog();
events.watch(({ happening }) => watch.told(happening));
let station: Station | undefined;
let into = '';

function met(): Station {
  if (station === undefined) throw new Error('There is no body yet.');
  return station;
}

async function meet(at: DaemonAt): Promise<Done> {
  into = at.into;
  const stateFolder = path.join(into, 'state');
  await mkdir(stateFolder);
  station = new Station({
    choice: 'usb',
    way: at.way,
    into,
    stateFolder,
    journal: at.keepsJournal ? await Journal.open(stateFolder) : undefined,
    configFolder: path.join(into, 'config'),
    events,
    log: () => undefined,
    ...(at.judges ? { openJudge: () => openJudge({ entry: LIGHT_PROCESS }) } : {}),
    link: { entry: at.cameraProcess, env: at.environment },
  });
  await station.look();
  if (station.problem !== null) throw station.problem;
  return DONE;
}

function plan(request: WrittenSetRequest): Planned {
  const { passes } = met().plan(request);
  const wanted = passes.flatMap(({ frames }) => frames.filter((frame) => frame.wanted));
  return {
    type: 'planned',
    passes: passes.map(({ centre, frames }) => `${formatEv(centre)} EV x ${frames.length}`),
    centres: passes.map(({ centre }) => centre),
    exposures: passes.flatMap(({ frames }) => frames.map(({ shutter }) => shutter.seconds)),
    frames: wanted
      .sort((a, b) => a.offset - b.offset)
      .map(({ shutter }) => ({ tv: shutter.tv, seconds: shutter.seconds, label: shutter.wire })),
  };
}

async function fire(request: WrittenSetRequest, sample?: string): Promise<Fired> {
  watch.clear();
  const began = performance.now();
  let ended = Number.NaN;
  const stop = events.watch(({ happening }) => {
    if (happening.type === 'run-state' && happening.endedAt !== null) ended = performance.now();
  });
  await met().start(request);
  await met().settled();
  stop();
  // What is written after the end is no part of the set.
  await met().proved();
  const { run } = events.state;
  if (run?.state !== 'complete') throw new Error(`A set was not completed: ${run?.sentence}`);
  const { firstFire = Number.NaN, lastInHand = Number.NaN, changes, gaps, looks, channel, calls } = watch;
  if (sample !== undefined) await copyFile(path.join(run.folder ?? '', run.frames[0]?.file ?? ''), sample);
  await removeSets();
  return {
    type: 'fired',
    seconds: (ended - began) / 1000,
    before: (firstFire - began) / 1000,
    after: (ended - lastInHand) / 1000,
    changes,
    gaps,
    looks,
    channel,
    calls: Object.fromEntries(calls),
  };
}

async function removeSets(): Promise<void> {
  for (const name of await readdir(into))
    if (name.startsWith('set-')) await rm(path.join(into, name), { recursive: true });
}

async function residentMiB(pid: number | undefined): Promise<number | null> {
  try {
    const status = await readFile(`/proc/${pid}/status`, 'utf8');
    return Number(/^VmRSS:\s+(\d+) kB$/m.exec(status)?.[1]) / 1024;
  } catch {
    return null;
  }
}

async function resident(): Promise<Resident> {
  const [camera, daemon] = await Promise.all([residentMiB(watch.pid), residentMiB(process.pid)]);
  return { type: 'resident', camera, daemon, cameraPid: watch.pid ?? null };
}

async function carryOut(order: DaemonOrder): Promise<Done | Planned | Fired | Resident> {
  switch (order.type) {
    case 'meet':
      return meet(order.at);
    case 'plan':
      return plan(order.request);
    case 'fire':
      return fire(order.request, order.sample);
    case 'resident':
      return resident();
    case 'close':
      await station?.close();
      return DONE;
  }
}

process.on('disconnect', () => process.exit());
process.on('message', (order: DaemonOrder) => {
  carryOut(order).then(
    (answer) => process.send?.(answer),
    (cause: unknown) => {
      const failed: Failed = { type: 'failed', message: String(cause) };
      process.send?.(failed);
    },
  );
});
