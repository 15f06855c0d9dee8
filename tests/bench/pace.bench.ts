// `npm run bench -- pace`: how long what somebody waits for takes on this machine, and how much memory attacks leave behind. Prints the
// figures with their bounds, and ends with 1 if one is out of them. Nothing else should run meanwhile.
import { spawnSync } from 'node:child_process';
import os from 'node:os';
import path from 'node:path';

const load = () => os.loadavg()[0]?.toFixed(1);
console.log(`${os.cpus().length} cores, load ${load()}`);
const vitest = path.resolve('node_modules/.bin/vitest');
const { status } = spawnSync(
  vitest,
  ['run', '--config', 'tests/pace.config.ts', '--tags-filter=pace', ...process.argv.slice(4)],
  {
    stdio: 'inherit',
  },
);
console.log(`load at its end ${load()}`);
process.exitCode = status === 0 ? 0 : 1;
