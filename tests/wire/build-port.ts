// Builds the virtual USB port, the shared object that libgphoto2 loads in the tests. Needs a C compiler and the headers of
// libgphoto2; both are there wherever the USB binding was built.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, renameSync, statSync } from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

const HERE = path.dirname(fileURLToPath(import.meta.url));
const SOURCE = path.join(HERE, 'virtual-usb-port.c');
const DEPENDS_ON = [SOURCE, path.join(HERE, 'port-operations.h')];

/** The folder that IOLIBS must name. It holds the port and nothing else, because libgphoto2 loads whatever lies there. */
export const PORTS_FOLDER = path.resolve(HERE, '..', '..', 'dist', 'tests', 'ports');

const LIBRARY = path.join(PORTS_FOLDER, 'virtual-usb.so');
// Outside the folder: another test run may be loading from it.
const UNFINISHED = path.resolve(PORTS_FOLDER, '..', `virtual-usb.${process.pid}.so`);

/** Compiles the port where its source is newer than what was built last. @returns the folder for IOLIBS */
export function buildPort(): string {
  if (isUpToDate()) return PORTS_FOLDER;
  mkdirSync(PORTS_FOLDER, { recursive: true });
  const flags = run('pkg-config', ['--cflags', '--libs', 'libgphoto2_port']).trim().split(/\s+/);
  const strict = ['-Wall', '-Wextra', '-Wpedantic', '-Werror'];
  run(process.env.CC ?? 'cc', [
    '-shared',
    '-fPIC',
    '-O1',
    '-g',
    ...strict,
    '-o',
    UNFINISHED,
    SOURCE,
    ...flags,
  ]);
  renameSync(UNFINISHED, LIBRARY);
  return PORTS_FOLDER;
}

function isUpToDate(): boolean {
  if (!existsSync(LIBRARY)) return false;
  const built = statSync(LIBRARY).mtimeMs;
  return DEPENDS_ON.every((file) => statSync(file).mtimeMs < built);
}

function run(command: string, args: readonly string[]): string {
  const done = spawnSync(command, args, { encoding: 'utf8' });
  if (done.error !== undefined) {
    throw new Error(
      `The wire tests need ${command}, which cannot be started (${done.error.message}). ` +
        'Install a C compiler, pkg-config and the headers of libgphoto2; npm test does it where it may.',
    );
  }
  if (done.status !== 0) {
    throw new Error(
      `The virtual USB port did not build: ${command} ended with ${done.status}.\n${done.stderr}`,
    );
  }
  return done.stdout;
}
