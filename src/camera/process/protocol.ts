// The messages between the daemon and the camera process over their channel (structured clone, so Maps pass
// whole).
import type { ErrorCode } from '../../../shared/error-codes.js';
import type { Link } from '../link.js';

/**
 * The methods of a link that cross the channel: all of them; `attached`, which lists what could be opened; and `memory`, the
 * bytes that the process has resident. The last two open no body.
 */
export type LinkMethod = keyof Link | 'attached' | 'memory';

/** One call of a link's method. The camera process opens its link at the first. */
export interface Call {
  readonly id: number;
  readonly method: LinkMethod;
  readonly args: readonly unknown[];
}

export type Answer =
  | { readonly id: number; readonly ok: true; readonly value: unknown }
  | {
      readonly id: number;
      readonly ok: false;
      readonly code: ErrorCode;
      readonly message: string;
      readonly details: Readonly<Record<string, unknown>>;
    };
