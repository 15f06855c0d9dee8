// `npm run quick`: what tells within seconds whether a change is sound: types, Biome, and all of tests/pure. It needs the
// packages and nothing else: no build, no system part. The checks run beside the tests.
import { spawn } from 'node:child_process';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

const ROOT = path.resolve(path.dirname(fileURLToPath(import.meta.url)), '..');
const began = performance.now();
const seconds = () => ((performance.now() - began) / 1000).toFixed(1);

/**
 * Runs a program of the packages, and shows what it printed once it has ended.
 * @param {string} name @param {string[]} args @param {boolean} isTold also where all is well
 * @returns {Promise<boolean>} whether all was well
 */
function run(name, args, isTold = false) {
  const program = path.join(ROOT, 'node_modules', '.bin', name);
  return new Promise((resolve) => {
    const child = spawn(program, args, { cwd: ROOT, stdio: ['ignore', 'pipe', 'pipe'] });
    /** @type {Buffer[]} */
    const printed = [];
    for (const stream of [child.stdout, child.stderr])
      stream.on('data', (/** @type {Buffer} */ part) => printed.push(part));
    child.on('error', (error) => {
      process.stdout.write(`${name}: ${error.message}\n`);
      resolve(false);
    });
    child.on('close', (code) => {
      if (code !== 0 || isTold) process.stdout.write(Buffer.concat(printed));
      if (code !== 0) process.stdout.write(`quick: ${name} ${args.join(' ')} is not well\n`);
      resolve(code === 0);
    });
  });
}

const PROJECTS = [
  ['tests', 'tests/tsconfig.json'],
  ['program', 'tsconfig.json'],
  ['panel', 'web/tsconfig.json'],
  ['worker', 'web/worker/tsconfig.json'],
];

async function checks() {
  let isWell = await run('biome', ['check', '.']);
  for (const [name, project] of PROJECTS) {
    const kept = path.join('dist', 'types', `${name}.tsbuildinfo`);
    // One checker: the tests want the other half of the machine. What has not changed is not checked anew.
    const args = ['-p', project, '--checkers', '1', '--incremental', '--tsBuildInfoFile', kept];
    isWell = (await run('tsc', args)) && isWell;
  }
  return isWell;
}

const tests = [
  'run',
  '--config',
  'tests/pure.config.ts',
  '--reporter=dot',
  '--reporter=./tests/closing-line.ts',
];
const well = await Promise.all([checks(), run('vitest', tests, true)]);
process.stdout.write(
  `quick: ${well.every(Boolean) ? 'all is well' : 'something is wrong'}, ${seconds()} s\n`,
);
process.exit(well.every(Boolean) ? 0 : 1);
