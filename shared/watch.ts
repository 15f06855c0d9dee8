// How long room on the disk, room on the card and the charge of the battery last for the sets to come.
import { z } from 'zod';

/** fine: nothing to do. low: it does not last for all sets to come. too-low: the next set may not fit. */
export const watchMarkSchema = z.enum(['fine', 'low', 'too-low']);
export type WatchMark = z.infer<typeof watchMarkSchema>;

const itemSchema = z.strictObject({
  mark: watchMarkSchema,
  /** How many more frames it is enough for; null if that cannot be estimated. */
  framesLeft: z.number().int().min(0).nullable(),
  /** How many more sets would be begun; null if that cannot be estimated. */
  setsLeft: z.number().int().min(0).nullable(),
  /** The state of it and, if something is to be done, what. */
  sentence: z.string(),
});

/** Each is null if nobody can tell. */
export const watchSchema = z
  .strictObject({
    disk: itemSchema.extend({ freeBytes: z.number().min(0) }).nullable(),
    card: itemSchema.nullable(),
    /** `percent` is null if the body has only a word for it. */
    battery: itemSchema.extend({ percent: z.number().min(0).max(100).nullable() }).nullable(),
  })
  .meta({ id: 'Watch' });
export type Watch = z.infer<typeof watchSchema>;
