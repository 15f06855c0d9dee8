// Loads libgphoto2 with koffi, an FFI with prebuilt binaries, and makes sure that everything is there before
// the first call. Both are optional: if one of them is missing, a body cannot be reached this way, and a
// sentence says why.
import type { KoffiFunc } from 'koffi';
import { EvenrungError } from '../../../shared/errors.js';
import { type Declare, ofC, ofLibrary, ofPortLibrary, SHORT } from './gp.js';
import { declareTypes, type Koffi } from './layout.js';

/** The names under which the libraries are looked for. */
const NAMES =
  process.platform === 'darwin'
    ? { library: 'libgphoto2.6.dylib', port: 'libgphoto2_port.12.dylib' }
    : { library: 'libgphoto2.so.6', port: 'libgphoto2_port.so.12' };

/**
 * The calls run on stacks of koffi's own, of 128 KiB each unless it is told otherwise: the library loads drivers, and keeps
 * texts and tables of several KiB in its frames.
 */
const STACK_BYTES = 2 * 1024 * 1024;

const INSTALL = "Install libgphoto2 2.5 from the system's packages, then start again with npm start.";

const unavailable = (why: string, cause: unknown): EvenrungError =>
  new EvenrungError('usb-not-available', `Cameras cannot be reached over USB here: ${why} ${INSTALL}`, {
    cause: cause instanceof Error ? cause.message : String(cause),
  });

async function load() {
  let koffi: Koffi;
  try {
    koffi = (await import('koffi')).default;
  } catch (cause) {
    throw unavailable('the package koffi, which calls the camera library, is not installed.', cause);
  }
  koffi.config({ async_stack_size: STACK_BYTES });
  const types = declareTypes(koffi);
  const missing: string[] = [];
  const open = (name: string | null) => {
    try {
      const library = koffi.load(name);
      const declare: Declare = <T extends (...args: never[]) => unknown>(prototype: string) => {
        try {
          return library.func(prototype) as KoffiFunc<T>;
        } catch (cause) {
          // A prototype that cannot be read is a fault of this program, and of no library.
          if (!/cannot find function/i.test(String(cause))) throw cause;
          missing.push(/(\w+)\(/.exec(prototype)?.[1] ?? prototype);
          return undefined as never;
        }
      };
      return declare;
    } catch (cause) {
      throw unavailable(`the library ${name} cannot be loaded.`, cause);
    }
  };
  const functions = {
    ...ofLibrary(open(NAMES.library)),
    ...ofPortLibrary(open(NAMES.port)),
    ...ofC(open(null)),
  };
  if (missing.length > 0) {
    throw unavailable(
      'the installed camera library lacks a function that Evenrung needs.',
      `missing: ${missing.join(', ')}`,
    );
  }
  const version = koffi.decode(functions.gp_library_version(SHORT), 'const char *') as string;
  return { ...functions, koffi, types, version };
}

/** The functions, and the means to read what they return. */
export type Gp = Awaited<ReturnType<typeof load>>;

let loaded: Promise<Gp> | undefined;

/**
 * Loads once a process, also if it fails: the names of its types can only be given once.
 * @throws EvenrungError usb-not-available
 */
export function loadGphoto2(): Promise<Gp> {
  loaded ??= load();
  return loaded;
}
