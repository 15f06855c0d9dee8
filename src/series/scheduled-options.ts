// What the journal keeps of a run on a schedule beside its request: read back, it has to be what was written.
import { z } from 'zod';
import { fromEv, sixths, toEv } from '../../shared/ev.js';
import { labelsSchema } from '../../shared/labels.js';
import { planReadingsSchema } from '../../shared/plan-readings.js';
import { type AskedSet, isMetered, type SetRequest } from '../../shared/request.js';
import { foreseenScheduleSchema } from '../../shared/state.js';
import type { StoredRun } from '../journal/index.js';

export const SCHEDULED_OPTIONS_VERSION = 3;
/** 1 did not keep who began it; 2 knew no span that follows. */
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
  /** Within which the span follows, counted from the first set; null where it stays. */
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
  /** Base and offsets (EV) that followed from two readings when it was begun; left out where they were asked for. */
  placed: z
    .strictObject({ base: z.string(), offsets: z.array(z.number()).min(1), readings: planReadingsSchema })
    .optional(),
});
export type ScheduledOptions = z.infer<typeof scheduledOptionsSchema>;

/** @returns null where the run is on no schedule, or a newer program wrote it */
export function scheduledIn({ kind, options }: Pick<StoredRun, 'kind' | 'options'>): ScheduledOptions | null {
  const { version } = options;
  if (kind !== 'scheduled' || (version !== SCHEDULED_OPTIONS_VERSION && !BEFORE.includes(version)))
    return null;
  return scheduledOptionsSchema.safeParse(options.content).data ?? null;
}

/** @returns what has to outlive a restart of a request whose readings were placed; null where it had none */
export const placedOf = ({ base, offsets, readings }: SetRequest): ScheduledOptions['placed'] | null =>
  readings === undefined ? null : { base, offsets: offsets.map(toEv), readings };

/** @returns the request as it was when the run began; null where its readings were never placed */
export function asPlaced(asked: AskedSet, { placed }: ScheduledOptions): SetRequest | null {
  if (!isMetered(asked)) return asked;
  if (placed === undefined) return null;
  const { metered: _, ...others } = asked;
  const { base, offsets, readings } = placed;
  return { ...others, base, offsets: offsets.map(fromEv), readings };
}
