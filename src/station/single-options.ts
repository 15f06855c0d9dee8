// What the journal keeps of a run of one set in addition to its request. What is read back has to be what was
// written. The name of the set is kept with the set.
import { z } from 'zod';
import type { StoredRun } from '../journal/index.js';

/** Version 1 kept nothing. */
export const SINGLE_OPTIONS_VERSION = 2;

const singleOptionsSchema = z.strictObject({
  /** Before this moment nothing is fired, ISO 8601, UTC. */
  beginsAt: z.iso.datetime().nullable(),
  /** Who began it, as a person would name them. */
  startedBy: z.string(),
});
export type SingleOptions = z.infer<typeof singleOptionsSchema>;

/** @returns null if the run is on a schedule, or if an earlier or a newer program wrote it */
export function singleIn({ kind, options }: Pick<StoredRun, 'kind' | 'options'>): SingleOptions | null {
  if (kind !== 'once' || options.version !== SINGLE_OPTIONS_VERSION) return null;
  return singleOptionsSchema.safeParse(options.content).data ?? null;
}
