// The one catalogue of everything that can go wrong and be told to a person. Each entry has the HTTP status and the exit
// code that go with it; the sentence is made where it happens, because only there are the numbers known.
import { z } from 'zod';
import { pageAddress } from './pages.js';

export const ERRORS = {
  // The request is malformed or asks for what nobody could make.
  'malformed-request': { status: 400, exit: 2 },
  'unreadable-ev': { status: 400, exit: 2 },
  'unreadable-shutter': { status: 400, exit: 2 },
  'frames-out-of-range': { status: 400, exit: 2 },
  'step-out-of-range': { status: 400, exit: 2 },
  'range-reversed': { status: 400, exit: 2 },
  'span-not-whole-steps': { status: 400, exit: 2 },
  'limits-contradict': { status: 400, exit: 2 },
  'unreadable-schedule': { status: 400, exit: 2 },
  // The request is clear, but this body cannot do it.
  'base-not-offered': { status: 422, exit: 2 },
  'step-not-offered': { status: 422, exit: 2 },
  'outside-shutter-range': { status: 422, exit: 2 },
  'outside-compensation-range': { status: 422, exit: 2 },
  'not-settable': { status: 422, exit: 2 },
  'longer-than-link': { status: 422, exit: 2 },
  'mode-not-supported': { status: 422, exit: 2 },
  'schedule-past': { status: 422, exit: 2 },
  'schedule-impossible': { status: 422, exit: 2 },
  // Where, not what.
  'unknown-body': { status: 400, exit: 2 },
  'folder-not-writable': { status: 422, exit: 2 },
  'template-unusable': { status: 422, exit: 2 },
  'alarm-unusable': { status: 422, exit: 2 },
  'state-not-writable': { status: 500, exit: 2 },
  'config-unreadable': { status: 500, exit: 2 },
  'port-in-use': { status: 500, exit: 2 },
  'foreign-host': { status: 403, exit: 2 },
  'foreign-origin': { status: 403, exit: 2 },
  'not-paired': { status: 401, exit: 2 },
  'watch-only': { status: 403, exit: 2 },
  'only-here': { status: 403, exit: 2 },
  'pairing-refused': { status: 403, exit: 2 },
  'too-many-tries': { status: 429, exit: 2 },
  'too-many-requests': { status: 429, exit: 1 },
  'no-network-door': { status: 409, exit: 2 },
  'no-such-device': { status: 404, exit: 2 },
  'certificate-differs': { status: 502, exit: 2 },
  'no-daemon': { status: 503, exit: 1 },
  'too-large': { status: 413, exit: 2 },
  'not-found': { status: 404, exit: 2 },
  'malformed-message': { status: 400, exit: 2 },
  'run-under-way': { status: 409, exit: 2 },
  'run-unfinished': { status: 409, exit: 2 },
  'nothing-unfinished': { status: 409, exit: 2 },
  'nothing-to-stop': { status: 409, exit: 2 },
  'nothing-to-hold': { status: 409, exit: 2 },
  'key-used-otherwise': { status: 422, exit: 2 },
  'nothing-to-complete': { status: 409, exit: 2 },
  ending: { status: 503, exit: 130 },
  'already-owned': { status: 409, exit: 2 },
  'no-such-set': { status: 404, exit: 2 },
  // Something went wrong while working.
  'daemon-unreachable': { status: 503, exit: 1 },
  'no-body': { status: 503, exit: 1 },
  'several-bodies': { status: 409, exit: 2 },
  'usb-not-available': { status: 503, exit: 1 },
  'mirror-locked': { status: 409, exit: 1 },
  'not-learnt': { status: 500, exit: 1 },
  'body-not-ready': { status: 409, exit: 1 },
  'body-lost': { status: 503, exit: 1 },
  'body-busy': { status: 503, exit: 1 },
  'call-timed-out': { status: 503, exit: 1 },
  'unknown-setting': { status: 500, exit: 1 },
  'choice-not-offered': { status: 500, exit: 1 },
  'setting-not-taken': { status: 500, exit: 1 },
  'frame-missing': { status: 500, exit: 1 },
  'frame-unreadable': { status: 500, exit: 1 },
  'frame-wrong': { status: 500, exit: 1 },
  'not-put-back': { status: 500, exit: 1 },
  'storing-failed': { status: 500, exit: 1 },
  'set-folder-gone': { status: 409, exit: 1 },
  'record-unreadable': { status: 422, exit: 2 },
  'set-damaged': { status: 422, exit: 1 },
  internal: { status: 500, exit: 1 },
} as const satisfies Record<string, { status: number; exit: number }>;

export type ErrorCode = keyof typeof ERRORS;

export const errorCodeSchema = z.enum(Object.keys(ERRORS) as [ErrorCode, ...ErrorCode[]]);

/** An error of the catalogue: a code for programs, one sentence for the person holding the camera. */
export class EvenrungError extends Error {
  override readonly name = 'EvenrungError';
  readonly code: ErrorCode;
  /** Anything else that a program may want to know; kept small, and plain JSON. */
  readonly details: Readonly<Record<string, unknown>>;

  constructor(code: ErrorCode, message: string, details: Readonly<Record<string, unknown>> = {}) {
    super(message);
    this.code = code;
    this.details = details;
  }

  /** `page` is where the notes say more, as in pages.ts. */
  toWire(): { error: { code: ErrorCode; message: string; page: string } & Record<string, unknown> } {
    const { code, message, details } = this;
    return { error: { ...details, code, message, page: pageAddress(code) } };
  }
}

/** @returns the error itself where it is of the catalogue, else `internal` with the cause's own words */
export function asEvenrungError(cause: unknown): EvenrungError {
  if (cause instanceof EvenrungError) return cause;
  const words = cause instanceof Error ? cause.message : String(cause);
  return new EvenrungError('internal', `Something went wrong inside Evenrung: ${words}`);
}
