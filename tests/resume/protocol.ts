// The requests of the killed process to the body that lives in the process that started it.
import type { EvenrungError } from '../../shared/errors.js';

type AtOnce = 'identify' | 'readLimits' | 'readSettings' | 'changeSetting' | 'fire';
type Apart = 'press' | 'unpress' | 'listen' | 'bring' | 'list';

/** How a set is made: of how many files a frame is; with its pictures judged, and a proof after its end; or over a link that takes release and fetch apart, by a release a frame or a pass. */
export const HOWS = ['one file', 'two files', 'apart', 'pass', 'judged'] as const;
export type How = (typeof HOWS)[number];

/** In the environment of the killed process. */
export const HOW = 'KILLED_HOW';

export interface Asked {
  readonly id: number;
  readonly method: AtOnce | Apart;
  readonly args: readonly unknown[];
}

export type Answered =
  | { readonly id: number; readonly value: unknown }
  | { readonly id: number; readonly error: Pick<EvenrungError, 'code' | 'message' | 'details'> };
