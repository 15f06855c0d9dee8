// The npm package gphoto2 0.3.2 as far as the link uses it, and how it is loaded. The package is optional, has no types of
// its own, and its native part must be built against the system's libgphoto2.
import { EvenrungError } from '../../../shared/errors.js';
import type { ResultCode } from '../library/result-codes.js';

/** Errors come as bare numbers, never as Error objects. */
export type NativeCallback<T> = (code: ResultCode | undefined, value: T) => void;

export interface TakePictureOptions {
  readonly download: true;
  /** False deletes the file in the camera after the download. */
  readonly keep: true;
  /** Ends in six X, which become random letters. */
  readonly targetPath: string;
}

/** A camera that was found. It is opened only when its first method is called. */
export interface NativeCamera {
  /** The name of the driver, not of the camera, if the camera was found by its USB class. */
  readonly model: string;
  readonly port: string;
  getConfig(callback: NativeCallback<unknown>): void;
  setConfigValue(name: string, value: string, callback: NativeCallback<undefined>): void;
  /** Takes one picture and downloads it. @returns through the callback the path that it was given */
  takePicture(options: TakePictureOptions, callback: NativeCallback<string>): void;
}

export interface Binding {
  readonly GPhoto2: new () => { list(callback: (cameras: readonly NativeCamera[]) => void): void };
}

// Not written into the import, so that the compiler does not ask for types that do not exist.
const PACKAGE: string = 'gphoto2';

/** @throws EvenrungError usb-not-available */
export async function loadBinding(): Promise<Binding> {
  try {
    const loaded = (await import(PACKAGE)) as { readonly default: Binding };
    return loaded.default;
  } catch (cause) {
    throw new EvenrungError(
      'usb-not-available',
      'Cameras cannot be reached over USB here: the part that talks to them was not installed, or did not build. ' +
        'Install libgphoto2 with its headers, pkg-config, make and a C++ compiler, then start again with npm start.',
      { cause: cause instanceof Error ? cause.message : String(cause) },
    );
  }
}

/** Turns a call that ends in a callback into a promise, which is rejected with the bare result code. */
export function promised<T>(start: (callback: NativeCallback<T>) => void): Promise<T> {
  return new Promise((resolve, reject) => {
    start((code, value) => (code === undefined ? resolve(value) : reject(new NativeFailure(code))));
  });
}

/** A call of the binding that failed. */
export class NativeFailure extends Error {
  override readonly name = 'NativeFailure';
  readonly code: ResultCode;

  constructor(code: ResultCode) {
    super(`the camera's library answered with ${code}`);
    this.code = code;
  }
}
