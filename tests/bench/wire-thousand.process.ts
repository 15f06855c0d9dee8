// A thousand frames through one camera process, for the bench `wire`: a Station in a process of its own, so that its memory is
// the daemon's and not the bench's. Fires, sends what it saw, and ends.
import { readFile } from 'node:fs/promises';
import { warmUp } from '../../src/frames/index.js';
import type { Resident, ThousandAnswer, ThousandOrder } from './wire-messages.js';
import { fireSet, removeSets, stationOn } from './wire-station.js';
import { watchLinks } from './wire-watch.js';

const SET = { frames: 10, step: 1, base: '1/60' };

/** @returns null where the system does not tell */
async function residentMiB(pid: number | undefined): Promise<number | null> {
  try {
    const status = await readFile(`/proc/${pid}/status`, 'utf8');
    return Number(/^VmRSS:\s+(\d+) kB$/m.exec(status)?.[1]) / 1024;
  } catch {
    return null;
  }
}

async function work({ frames, every, ...at }: ThousandOrder): Promise<ThousandAnswer> {
  await warmUp();
  const watch = watchLinks();
  const { station, events } = stationOn(watch, at);
  const processes = new Set<number | undefined>();
  const resident: Resident[] = [];
  const look = async (made: number) => {
    const [camera, daemon] = await Promise.all([residentMiB(watch.pid), residentMiB(process.pid)]);
    resident.push({ frames: made, camera, daemon });
  };
  try {
    await station.look();
    if (station.problem !== null) throw station.problem;
    watch.clear();
    await look(0);
    const began = performance.now();
    for (let made = SET.frames; made <= frames; made += SET.frames) {
      await fireSet(station, events, SET);
      await removeSets(at.into);
      processes.add(watch.pid);
      if (made % every === 0) await look(made);
    }
    return {
      seconds: (performance.now() - began) / 1000,
      resident,
      cameraProcesses: processes.size,
      gaps: watch.gaps,
      looks: watch.looks,
      channel: watch.channel,
    };
  } finally {
    await station.close();
  }
}

process.on('disconnect', () => process.exit());
process.once('message', (order: ThousandOrder) => {
  void work(order).then((answer) => process.send?.(answer));
});
