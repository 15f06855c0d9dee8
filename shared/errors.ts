// An error that can be told to a person, by a code of the list in error-codes.ts.
import type { ErrorCode } from './error-codes.js';
import { pageAddress } from './pages.js';

/** How a field is named to whoever wrote it: as on the wire, or as an option is typed. */
export type FieldNames = (field: string) => string;

/** A sentence that names fields of a request. */
export type NamingFields = (named: FieldNames) => string;

const asOnTheWire: FieldNames = (field) => field;

/** An error of the catalogue: a code for programs, one sentence for the person holding the camera. */
export class EvenrungError extends Error {
  override readonly name = 'EvenrungError';
  readonly code: ErrorCode;
  /** Anything else that a program may want to know; small, and plain JSON. */
  readonly details: Readonly<Record<string, unknown>>;

  readonly #naming: NamingFields | null;

  constructor(
    code: ErrorCode,
    message: string | NamingFields,
    details: Readonly<Record<string, unknown>> = {},
  ) {
    super(typeof message === 'string' ? message : message(asOnTheWire));
    this.#naming = typeof message === 'string' ? null : message;
    this.code = code;
    this.details = details;
  }

  /** @returns the sentence with its fields named in another way, such as by the options of the command line */
  messageWith(named: FieldNames): string {
    return this.#naming?.(named) ?? this.message;
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
