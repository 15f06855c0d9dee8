// The meaning of libgphoto2's result codes for the person at the camera. Numbers as in gphoto2-result.h and
// gphoto2-port-result.h of libgphoto2 2.5.30.
import { getSystemErrorName } from 'node:util';
import { EvenrungError } from '../../../shared/errors.js';

/**
 * A result code of libgphoto2, below 0; or an errno, above 0, if a file could not be made on this computer.
 */
export type ResultCode = number;

export const RESULT = {
  badParameters: -2,
  noMemory: -3,
  notSupported: -6,
  io: -7,
  timeout: -10,
  ioInit: -31,
  ioRead: -34,
  ioWrite: -35,
  usbFind: -52,
  usbClaim: -53,
  lock: -60,
  modelNotFound: -105,
  cameraBusy: -110,
  noSpace: -115,
} as const;

/** So the library answers for a setting or a file that it does not find; and, when it writes one setting alone, for one that the body refuses. */
export const NOT_FOUND = RESULT.badParameters;

const LOST: ReadonlySet<ResultCode> = new Set([
  RESULT.io,
  RESULT.timeout,
  RESULT.ioInit,
  RESULT.ioRead,
  RESULT.ioWrite,
  RESULT.usbFind,
  RESULT.modelNotFound,
]);
const HELD: ReadonlySet<ResultCode> = new Set([RESULT.usbClaim, RESULT.lock]);
const FULL: ReadonlySet<ResultCode> = new Set([RESULT.noMemory, RESULT.noSpace]);

/** @returns what went wrong when the camera vanished without a result code that says so */
export const bodyVanished = (): EvenrungError => lost(RESULT.io);

const lost = (code: ResultCode): EvenrungError =>
  new EvenrungError(
    'body-lost',
    'The camera no longer answers. Check the cable at both ends and the battery, and wake the camera or switch it on.',
    { result: code },
  );

/**
 * @returns body-busy or body-lost if the code says that the body cannot be reached, whatever it was asked
 *   for
 */
function unreachable(code: ResultCode): EvenrungError | undefined {
  if (HELD.has(code)) {
    return new EvenrungError(
      'body-busy',
      "Another program holds the camera, often the desktop's file manager: eject the camera there, then try again. On Linux it can also mean that you may not use USB devices: a udev rule for the camera helps.",
      { result: code, released: false },
    );
  }
  if (code === RESULT.cameraBusy) {
    return new EvenrungError(
      'body-busy',
      'The camera is busy. Leave its menus and wait until it has stored its last frame; if it stays busy, switch it off and on.',
      { result: code },
    );
  }
  return LOST.has(code) ? lost(code) : undefined;
}

/**
 * @param isFirst whether the body has not answered anything yet
 * @returns what went wrong while the settings were read
 */
export function readingFailed(code: ResultCode, isFirst = false): EvenrungError {
  // A device that this user may not open is an I/O error as well: libusb's own word for it is lost on the way.
  if (isFirst && code === RESULT.io) {
    return new EvenrungError(
      'body-lost',
      'The camera is there, but cannot be opened. Try another USB socket, and switch the camera off and on; on Linux you may lack permission to use USB devices, and a udev rule helps.',
      { result: code },
    );
  }
  return (
    unreachable(code) ??
    new EvenrungError(
      'body-lost',
      `The camera does not report its settings (result ${code}). Switch it off and on, and connect it again.`,
      { result: code },
    )
  );
}

/** @returns what went wrong while a setting was changed */
export function changingFailed(code: ResultCode, name: string, value: string): EvenrungError {
  const why = code === RESULT.notSupported ? 'this can be set on its own buttons only' : `result ${code}`;
  return (
    unreachable(code) ??
    new EvenrungError(
      'setting-not-taken',
      `The camera did not take '${value}' for '${name}' (${why}). Check its mode dial, and leave its menus.`,
      { name, wanted: value, result: code },
    )
  );
}

/**
 * @returns the error for a frame that could not be fired. `details.released` is false if the shutter was
 *   surely not released, true if it surely was, and missing if nobody can tell: then nothing may be fired
 *   again blindly.
 */
export function firingFailed(code: ResultCode): EvenrungError {
  if (code > 0) {
    return new EvenrungError(
      'storing-failed',
      `The frame was taken, but this computer could not store it (${systemError(code)}). It may still be in the camera.`,
      { result: code, released: true },
    );
  }
  if (FULL.has(code)) {
    return new EvenrungError(
      'storing-failed',
      'The camera has no room for the frame: its card is full or write-protected. Change the card, then fire again.',
      { result: code },
    );
  }
  if (code === RESULT.notSupported) {
    return new EvenrungError(
      'body-not-ready',
      'This camera cannot be fired over the cable as it is set now.',
      {
        result: code,
        released: false,
      },
    );
  }
  return (
    unreachable(code) ??
    new EvenrungError(
      'frame-missing',
      `The camera was told to fire, but no frame came back. ${WHAT_KEEPS_A_FRAME}`,
      { result: code },
    )
  );
}

/** As `firingFailed`, for a release that only presses: a busy body has not taken it. */
export function pressingFailed(code: ResultCode): EvenrungError {
  const failed = firingFailed(code);
  if (code !== RESULT.cameraBusy) return failed;
  return new EvenrungError(failed.code, failed.message, { ...failed.details, released: false });
}

/** @returns what went wrong while a file was brought: whatever does not say that the body is out of reach says that the file is */
export function bringingFailed(code: ResultCode, file: string): EvenrungError {
  return (
    unreachable(code) ??
    new EvenrungError(
      'file-not-there',
      `The camera reported the file ${file}, but does not send it (result ${code}). Look for it on the camera's card.`,
      { file, result: code },
    )
  );
}

/** On the wire these look the same. */
export const WHAT_KEEPS_A_FRAME =
  'Set the lens to manual focus, and check that the card is neither full nor write-protected. The frame may be on the card.';

function systemError(errno: number): string {
  try {
    return getSystemErrorName(-errno);
  } catch {
    return `error ${errno}`;
  }
}
