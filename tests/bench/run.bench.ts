// `npm run bench -- run`: what runs cost that are made to last. Each part prints its goals beside what was measured, met or
// missed, and works in a folder of its own on a real disk. `npm run bench -- run journal` leaves the other parts out.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { benchFrames } from './frames-bench.js';
import { benchJournal } from './journal-bench.js';

/** @returns the goals that were missed, a line each */
type Part = (scratch: string) => Promise<string[]>;

const PARTS: Readonly<Record<string, Part>> = { journal: benchJournal, frames: benchFrames };

const asked = process.argv.slice(4);
const load = () =>
  os
    .loadavg()
    .map((one) => one.toFixed(1))
    .join(' ');

const missed: string[] = [];
for (const [name, part] of Object.entries(PARTS)) {
  if (asked.length > 0 && !asked.includes(name)) continue;
  const scratch = await mkdtemp(path.join(os.tmpdir(), `evenrung-${name}-bench-`));
  try {
    console.log(`=== ${name} (${os.cpus().length} cores, load ${load()})`);
    missed.push(...(await part(scratch)));
    console.log(`load at its end ${load()}\n`);
  } finally {
    await rm(scratch, { recursive: true, force: true });
  }
}
console.log(missed.length === 0 ? 'All goals are met.' : `Goals missed: ${missed.length}`);
for (const what of missed) console.log(`  ${what}`);
