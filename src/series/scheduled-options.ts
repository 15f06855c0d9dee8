// What the journal keeps of a run on a schedule beside its request: read back, it has to be what was written.
import { z } from 'zod';
import { sixths } from '../../shared/ev.js';
import { labelsSchema } from '../../shared/labels.js';
import { foreseenScheduleSchema } from '../../shared/state.js';
import type { StoredRun } from '../journal/index.js';

export const SCHEDULED_OPTIONS_VERSION = 2;
/** Did not keep who began it. */
const BEFORE = 1;

const scheduledOptionsSchema = z.strictObject({
  foreseen: foreseenScheduleSchema,
  light: z
    .strictObject({
      slowest: z.string().nullable(),
      fastest: z.string().nullable(),
      isoLeast: z.number().nullable(),
      isoMost: z.number().nullable(),
      mostPerSet: z.number().int().transform(sixths),
    })
    .nullable(),
  maySleep: z.boolean(),
  labels: labelsSchema,
  /** Who began it, as a person would name them. */
  startedBy: z.string().optional(),
});
export type ScheduledOptions = z.infer<typeof scheduledOptionsSchema>;

/** @returns null where the run is on no schedule, or a newer program wrote it */
export function scheduledIn({ kind, options }: Pick<StoredRun, 'kind' | 'options'>): ScheduledOptions | null {
  const { version } = options;
  if (kind !== 'scheduled' || (version !== SCHEDULED_OPTIONS_VERSION && version !== BEFORE)) return null;
  return scheduledOptionsSchema.safeParse(options.content).data ?? null;
}
