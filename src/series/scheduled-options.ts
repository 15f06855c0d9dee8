// What the journal keeps of a run on a schedule in addition to its request. What is read back has to be what
// was written.
import { z } from 'zod';
import { fromEv, sixths, toEv } from '../../shared/ev.js';
import { labelsSchema } from '../../shared/labels.js';
import { planReadingsSchema } from '../../shared/plan-readings.js';
import { type AskedSet, isMetered, type SetRequest } from '../../shared/request.js';
import { foreseenScheduleSchema } from '../../shared/state.js';
import type { StoredRun } from '../journal/index.js';

export const SCHEDULED_OPTIONS_VERSION = 3;
/** Version 1 did not keep who began the run; version 2 knew no span that follows the scene. */
const BEFORE: readonly number[] = [1, 2];

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
  /**
   * The limits within which the span follows the scene, counted from the first set; null if the span stays.
   */
  span: z
    .strictObject({
      fewestFrames: z.number().int(),
      mostFrames: z.number().int(),
      mostPerSet: z.number().int(),
    })
    .nullable()
    .default(null),
  maySleep: z.boolean(),
  labels: labelsSchema,
  /** Who began it, as a person would name them. */
  startedBy: z.string().optional(),
  /**
   * Base and offsets (EV) that followed from two readings when the run was begun; left out if the request had
   * no readings.
   */
  placed: z
    .strictObject({ base: z.string(), offsets: z.array(z.number()).min(1), readings: planReadingsSchema })
    .optional(),
});
export type ScheduledOptions = z.infer<typeof scheduledOptionsSchema>;

/** @returns null if the run is on no schedule, or if a newer program wrote it */
export function scheduledIn({ kind, options }: Pick<StoredRun, 'kind' | 'options'>): ScheduledOptions | null {
  const { version } = options;
  if (kind !== 'scheduled' || (version !== SCHEDULED_OPTIONS_VERSION && !BEFORE.includes(version)))
    return null;
  return scheduledOptionsSchema.safeParse(options.content).data ?? null;
}

/** @returns what a resumed run needs of a request whose readings were placed; null if it had no readings */
export const placedOf = ({ base, offsets, readings }: SetRequest): ScheduledOptions['placed'] | null =>
  readings === undefined ? null : { base, offsets: offsets.map(toEv), readings };

/** @returns the request as it was when the run began; null if its readings were never placed */
export function asPlaced(asked: AskedSet, { placed }: ScheduledOptions): SetRequest | null {
  if (!isMetered(asked)) return asked;
  if (placed === undefined) return null;
  const { metered: _, ...others } = asked;
  const { base, offsets, readings } = placed;
  return { ...others, base, offsets: offsets.map(fromEv), readings };
}
