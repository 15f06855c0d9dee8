// How long a set takes with its pictures judged, beside the same set without: everything is real from the station down to libgphoto2, on a
// virtual body with the timing of a real one and pictures of 24 megapixels. Each has a body and a daemon of its own, and they fire in turn.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { writePictures } from './wire-pictures.js';
import { buildProcesses, startBody, startDaemon } from './wire-processes.js';
import { LIKE_A_REAL_BODY } from './wire-timing.js';
import { quantile } from './wire-watch.js';

const SET = { frames: 9, step: 1, base: '1/60' } as const;
const ROUNDS = 7;
const MOST = 1.02;

export async function setRatio(): Promise<void> {
  const scratch = await mkdtemp(path.join(os.tmpdir(), 'evenrung-set-ratio-'));
  try {
    await buildProcesses();
    const pictures = await writePictures(scratch);
    const made = [];
    for (const judges of [true, false]) {
      const body = await startBody('amount', LIKE_A_REAL_BODY, pictures);
      const into = await mkdtemp(path.join(scratch, 'daemon-'));
      const { environment } = body;
      const daemon = await startDaemon({ environment, way: 'direct', keepsJournal: true, into, judges });
      made.push({ body, daemon, seconds: [] as number[] });
    }
    // The first of each only warms up.
    for (let round = 0; round <= ROUNDS; round += 1)
      for (const { daemon, seconds } of made) {
        const fired = await daemon.fire(SET);
        if (round > 0) seconds.push(fired.seconds);
      }
    for (const { body, daemon } of made) {
      await daemon.end();
      await body.end();
    }
    const [judged = Number.NaN, unjudged = Number.NaN] = made.map(({ seconds }) => quantile(seconds, 0.5));
    const all = made.map(({ seconds }) => seconds.map((one) => one.toFixed(2)).join(' '));
    console.log(
      `light set-ratio ${(judged / unjudged).toFixed(3)} (nine frames of 24 megapixels over a virtual cable: ${judged.toFixed(2)} s judged, ${unjudged.toFixed(2)} s not, medians of ${ROUNDS} in turn, goal ${MOST}; load ${os.loadavg()[0]?.toFixed(1)})`,
    );
    console.log(`  judged ${all[0]}\n  not    ${all[1]}`);
  } finally {
    await rm(scratch, { recursive: true, force: true });
  }
}
