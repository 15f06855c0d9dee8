// Before any test: the program and the panel are built as they stand now (tests start them as processes), and so is the
// virtual USB port.
import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { buildPort } from './wire/build-port.js';

export default function setup(): void {
  const prepare = fileURLToPath(new URL('../src/set-up/prepare.mjs', import.meta.url));
  const built = spawnSync(process.execPath, [prepare, 'build'], { stdio: 'inherit' });
  if (built.status !== 0) throw new Error('The program does not build.');
  buildPort();
}
