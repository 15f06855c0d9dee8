// Which parts outside npm are needed, how to see that they are there, and what they are called by package managers.
// Shared by the set-up and by the browser tests (which must find the same browser). Node's own modules only.
import { spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import path from 'node:path';

/** @typedef {{ name: string, apt: string, dnf: string, brew: string, there: () => boolean }} Part */

export const APT_INSTALL = ['install', '-y', '-qq', '--no-install-recommends'];

/** @param {string} command @returns {string | undefined} its path on PATH */
function onPath(command) {
  return (process.env.PATH ?? '')
    .split(path.delimiter)
    .map((folder) => path.join(folder, command))
    .find((file) => existsSync(file));
}

/**
 * The one without windows first: it shows pages as the whole one does, and takes half the processor time.
 * @returns {string | undefined} a Chromium that the tests can drive; EVENRUNG_CHROMIUM names one elsewhere
 */
export function browserPath() {
  const named = process.env.EVENRUNG_CHROMIUM;
  if (named) return existsSync(named) ? named : undefined;
  const bundle = '/Applications/Chromium.app/Contents/MacOS/Chromium';
  return (
    ['chromium-headless-shell', 'chromium', 'chromium-browser'].map(onPath).find(Boolean) ??
    (existsSync(bundle) ? bundle : undefined)
  );
}

const succeeds = (/** @type {string} */ command, /** @type {string[]} */ ...args) =>
  spawnSync(command, args, { stdio: 'ignore' }).status === 0;

/** @type {Part[]} */
const USB_PARTS = [
  {
    name: 'pkg-config',
    apt: 'pkg-config',
    dnf: 'pkgconf-pkg-config',
    brew: 'pkgconf',
    there: () => onPath('pkg-config') !== undefined,
  },
  {
    name: 'libgphoto2 (with headers)',
    apt: 'libgphoto2-dev',
    dnf: 'libgphoto2-devel',
    brew: 'libgphoto2',
    there: () => succeeds('pkg-config', '--exists', 'libgphoto2', 'libgphoto2_port'),
  },
  {
    name: 'a C++ compiler',
    apt: 'g++',
    dnf: 'gcc-c++',
    brew: 'gcc',
    there: () => ['c++', 'g++', 'clang++'].some(onPath),
  },
  { name: 'make', apt: 'make', dnf: 'make', brew: 'make', there: () => onPath('make') !== undefined },
  {
    name: 'Python 3 (to build the USB binding)',
    apt: 'python3',
    dnf: 'python3',
    brew: 'python',
    there: () => onPath('python3') !== undefined,
  },
];

/** What the two files of libgphoto2 are called that a camera process loads. */
const LIBRARIES =
  process.platform === 'darwin'
    ? ['libgphoto2.6.dylib', 'libgphoto2_port.12.dylib']
    : ['libgphoto2.so.6', 'libgphoto2_port.so.12'];

/** @param {string} name @returns {boolean} whether the system's loader finds it; asked of the loader, since only that knows where it looks */
function isLoadable(name) {
  try {
    process.dlopen({ exports: {} }, name);
    return true;
  } catch (cause) {
    // It was loaded, and is no addon of Node's, which nobody expected.
    return /did not self-register/.test(String(cause));
  }
}

/** @type {Part} enough to reach cameras: the library is called directly then, and nothing has to be built */
export const LIBRARY = {
  name: 'libgphoto2',
  apt: 'libgphoto2-6',
  dnf: 'libgphoto2',
  brew: 'libgphoto2',
  there: () => LIBRARIES.every(isLoadable),
};

/** @type {Part} */
const BROWSER = {
  name: 'Chromium',
  apt: 'chromium-headless-shell',
  dnf: 'chromium',
  brew: 'chromium',
  there: () => browserPath() !== undefined,
};

/** @param {boolean} forTests @returns {Part[]} */
export function missingParts(forTests) {
  return [...USB_PARTS, ...(forTests ? [BROWSER] : [])].filter((part) => !part.there());
}

/** @param {Part[]} parts @returns {string} the command for this system's package manager, or for the three known ones */
export function howToInstall(parts) {
  const commands = {
    'apt-get': `sudo apt-get install ${parts.map((part) => part.apt).join(' ')}`,
    dnf: `sudo dnf install ${parts.map((part) => part.dnf).join(' ')}`,
    brew: `brew install ${parts.map((part) => part.brew).join(' ')}`,
  };
  const known = Object.entries(commands).find(([manager]) => onPath(manager));
  return known ? known[1] : Object.values(commands).join('  or  ');
}
