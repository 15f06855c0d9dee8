// Sets up a bare clone: system parts, packages, builds. Plain JavaScript with Node's own modules only, because it runs
// before anything is installed. It must know nothing of what the program does.
//
//   node src/set-up/prepare.mjs run     what `npm start` needs; what is missing for USB cameras is said, and ends nothing
//   node src/set-up/prepare.mjs test    what `npm test` needs; a missing part ends it with exit 1 and one clear line
//   node src/set-up/prepare.mjs build   only the builds
//
// Each step is skipped when nothing that it depends on has changed, so that a second start costs well under a second.
import { spawn } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { APT_INSTALL, browserPath, howToInstall, LIBRARY, missingParts } from './system-parts.mjs';

const root = path.resolve(path.dirname(fileURLToPath(import.meta.url)), '..', '..');
const purpose = process.argv[2] ?? 'run';

const say = (/** @type {string} */ text) => process.stderr.write(`set-up: ${text}\n`);

/** @type {(text: string) => never} */
function giveUp(text) {
  say(text);
  process.exit(1);
}

/** Whoever waits is told so often that it goes on. */
const STILL_MS = 20_000;

/**
 * Runs a command and shows what it printed only when it failed.
 * @param {string} command @param {string[]} args @param {NodeJS.ProcessEnv} [env]
 * @returns {Promise<boolean>} whether it ended with 0
 */
function quietly(command, args, env = process.env) {
  const began = performance.now();
  const still = setInterval(
    () => say(`still at it, ${Math.round((performance.now() - began) / 1000)} s ...`),
    STILL_MS,
  );
  return new Promise((resolve) => {
    const child = spawn(command, args, { cwd: root, env, stdio: ['ignore', 'pipe', 'pipe'] });
    /** @type {Buffer[]} */
    const printed = [];
    for (const stream of [child.stdout, child.stderr])
      stream.on('data', (/** @type {Buffer} */ part) => printed.push(part));
    /** @param {boolean} isWell @param {Error} [error] */
    const end = (isWell, error) => {
      clearInterval(still);
      if (!isWell) process.stderr.write(Buffer.concat(printed));
      if (error !== undefined) say(`${command}: ${error.message}`);
      resolve(isWell);
    };
    child.on('error', (error) => end(false, error));
    child.on('close', (code) => end(code === 0));
  });
}

function checkNode() {
  const [major = 0, minor = 0] = process.versions.node.split('.').map(Number);
  if (major < 20 || (major === 20 && minor < 19)) {
    giveUp(`Node ${process.versions.node} is too old: Evenrung needs Node 20.19 or newer.`);
  }
}

/** @typedef {import('./system-parts.mjs').Part} Part */

/** @param {readonly Part[]} parts */
const namesOf = (parts) => parts.map((part) => part.name).join(', ');

const mayInstall = process.getuid?.() === 0 && existsSync('/usr/bin/apt-get');

/** @param {readonly Part[]} parts @returns {Promise<boolean>} whether apt-get installed them */
async function install(parts) {
  say(`installing ${namesOf(parts)} with apt-get ...`);
  const env = { ...process.env, DEBIAN_FRONTEND: 'noninteractive' };
  // Without a fresh list the install may not find anything; a failing update is no reason not to try.
  await quietly('apt-get', ['update', '-qq'], env);
  return quietly('apt-get', [...APT_INSTALL, ...parts.map((part) => part.apt)], env);
}

/** System parts come before packages: an optional package that fails to build vanishes without a word. */
async function systemParts() {
  let missing = missingParts(purpose === 'test');
  if (missing.length === 0) return;
  if (purpose === 'test') {
    if (mayInstall) await install(missing);
    missing = missingParts(true);
    if (missing.length > 0)
      giveUp(`the tests need ${namesOf(missing)}. Install with: ${howToInstall(missing)}`);
    return;
  }
  // Nobody is made to have a compiler who can do without one.
  if (LIBRARY.there()) return;
  if (mayInstall) {
    await install(missing);
    if (!LIBRARY.there()) await install([LIBRARY]);
    if (LIBRARY.there()) return;
  }
  say(
    `no USB camera yet: ${LIBRARY.name} is missing. To use a camera, install it: ${howToInstall([LIBRARY])} - then start again. Until then you have the practice camera.`,
  );
}

/**
 * @param {string} name of a stamp @param {string} key what the step is done for
 * @param {() => Promise<string | void>} step returns another key where it came to be done for something else
 */
async function onceFor(name, key, step) {
  const stamp = path.join(root, 'node_modules', '.evenrung', name);
  if (existsSync(stamp) && readFileSync(stamp, 'utf8') === key) return;
  const done = (await step()) ?? key;
  mkdirSync(path.dirname(stamp), { recursive: true });
  writeFileSync(stamp, done);
}

/** @param {Iterable<string | Buffer>} parts */
function digest(parts) {
  const hash = createHash('sha256');
  for (const part of parts) hash.update(part);
  return hash.digest('hex');
}

/** @param {string} name of a package */
function isLaid(name) {
  try {
    createRequire(path.join(root, 'package.json')).resolve(name);
    return true;
  } catch {
    return false;
  }
}

const usbBindingLoads = () =>
  isLaid('gphoto2') && existsSync(path.join(root, 'node_modules/gphoto2/build/Release/gphoto2.node'));

/** What packages are laid for. */
const keyOfPackages = () =>
  digest([
    readFileSync(path.join(root, 'package-lock.json')),
    process.versions.modules,
    String(missingParts(false).length === 0),
  ]);

/**
 * The binding's own install fails without libgphoto2, so whether the system parts for it are there is part of the key:
 * once they are, the packages are laid anew and the binding gets its second chance.
 */
async function packages() {
  await onceFor('packages', keyOfPackages(), async () => {
    say('installing packages, which takes a few minutes the first time ...');
    if (await layPackages()) return undefined;
    // A package that is downloaded built, and cannot be had so here, is compiled instead.
    const missing = missingParts(false);
    if (missing.length > 0 && mayInstall && (await install(missing)) && (await layPackages()))
      return keyOfPackages();
    const orCompiler =
      missing.length === 0
        ? ''
        : ` Some parts may have to be compiled here, which needs ${namesOf(missing)}: ${howToInstall(missing)}`;
    return giveUp(`the packages could not be installed (see above). Is the network reachable?${orCompiler}`);
  });
  if (usbBindingLoads()) return;
  if (purpose === 'test')
    giveUp('the tests need the package gphoto2, which did not build. Try: npm rebuild gphoto2');
  if (!LIBRARY.there()) return;
  if (!isLaid('koffi')) {
    say('no USB camera: the packages gphoto2 and koffi are both missing. Try: npm rebuild gphoto2');
    return;
  }
  const missing = missingParts(false);
  const cure =
    missing.length > 0
      ? `If you want it, install with: ${howToInstall(missing)} - then start again.`
      : 'If you want it, try: npm rebuild gphoto2';
  say(
    `Evenrung reaches cameras by calling libgphoto2 directly. The package gphoto2, for the other way, is missing, and you do not need it. ${cure}`,
  );
}

/** @returns {Promise<boolean>} whether they are there */
function layPackages() {
  // The lock file decides the versions; development packages are needed to build, whatever NODE_ENV says.
  const args = ['ci', '--include=dev', '--include=optional', '--no-audit', '--no-fund'];
  return quietly(npm, args, withHeaders());
}

/** Node's own headers, where they are installed: the binding is then built without fetching them. */
function withHeaders() {
  const prefix = path.resolve(path.dirname(process.execPath), '..');
  const there = existsSync(path.join(prefix, 'include/node/node_version.h'));
  return there ? { npm_config_nodedir: prefix, ...process.env } : process.env;
}

/** @param {string} folder @returns {string[]} every file below it, sorted */
function filesBelow(folder) {
  return readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile())
    .map((entry) => path.join(entry.parentPath, entry.name))
    .sort();
}

/** @param {string[]} places */
function stateOf(places) {
  const files = places.flatMap((place) => {
    const full = path.join(root, place);
    return statSync(full).isDirectory() ? filesBelow(full) : [full];
  });
  return digest(files.flatMap((file) => [path.relative(root, file), readFileSync(file)]));
}

/**
 * @param {string} what in words @param {string} config of Vite @param {string} made a file that the build makes
 * @param {string[]} sources that it is made from @param {string} [last] a program among what was made that is run once, at the end
 */
async function build(what, config, made, sources, last) {
  if (!existsSync(path.join(root, made))) dropStamp(what);
  await onceFor(what, stateOf(['package-lock.json', 'tsconfig.json', 'shared', ...sources]), async () => {
    say(`building the ${what} ...`);
    const vite = path.join(root, 'node_modules', '.bin', 'vite');
    const isBuilt = await quietly(vite, ['build', '--config', config]);
    if (!isBuilt || (last !== undefined && !(await quietly(process.execPath, [path.join(root, last)]))))
      giveUp(`the ${what} did not build (see above).`);
  });
}

/** @param {string} name */
function dropStamp(name) {
  const stamp = path.join(root, 'node_modules', '.evenrung', name);
  if (existsSync(stamp)) writeFileSync(stamp, '');
}

const npm = process.platform === 'win32' ? 'npm.cmd' : 'npm';

if (!['run', 'test', 'build'].includes(purpose)) giveUp(`unknown purpose '${purpose}': run, test or build`);
checkNode();
if (purpose !== 'build') {
  await systemParts();
  await packages();
}
await build(
  'program',
  'src/set-up/program.config.ts',
  'dist/program/main.js',
  ['src'],
  'dist/program/draw-scene.js',
);
await build('panel', 'web/vite.config.ts', 'dist/web/index.html', ['web']);
if (purpose === 'test' && browserPath() === undefined) giveUp('the tests need Chromium, and none was found.');
