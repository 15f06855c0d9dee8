// An error that can be told to a person, by a code of the list in error-codes.ts.
import type { ErrorCode } from './error-codes.js';
import { pageAddress } from './pages.js';

/** An error of the catalogue: a code for programs, one sentence for the person holding the camera. */
export class EvenrungError extends Error {
  override readonly name = 'EvenrungError';
  readonly code: ErrorCode;
  /** Anything else that a program may want to know; small, and plain JSON. */
  readonly details: Readonly<Record<string, unknown>>;

  constructor(code: ErrorCode, message: string, details: Readonly<Record<string, unknown>> = {}) {
    super(message);
    this.code = code;
    this.details = details;
  }

  /** `page` says where the notes have more, as in pages.ts. */
  toWire(): { error: { code: ErrorCode; message: string; page: string } & Record<string, unknown> } {
    const { code, message, details } = this;
    return { error: { ...details, code, message, page: pageAddress(code) } };
  }
}

/** @returns the error itself if it is of the catalogue, otherwise `internal` with the cause's own words */
export function asEvenrungError(cause: unknown): EvenrungError {
  if (cause instanceof EvenrungError) return cause;
  const words = cause instanceof Error ? cause.message : String(cause);
  return new EvenrungError('internal', `Something went wrong inside Evenrung: ${words}`);
}
