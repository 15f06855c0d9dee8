// What is left for the sets to come: room on the disk, room on the card, charge in the battery.
import { z } from 'zod';

/** fine: nothing to do. low: it does not last for all that is to come. too-low: the next set does not surely fit. */
export const watchMarkSchema = z.enum(['fine', 'low', 'too-low']);
export type WatchMark = z.infer<typeof watchMarkSchema>;

const itemSchema = z.strictObject({
  mark: watchMarkSchema,
  /** How many more frames it is good for; null where that cannot be estimated. */
  framesLeft: z.number().int().min(0).nullable(),
  /** How many more sets would be begun; null where that cannot be estimated. */
  setsLeft: z.number().int().min(0).nullable(),
  /** How it stands and, where something is to be done, what. */
  sentence: z.string(),
});

/** Each is null where nobody can tell. */
export const watchSchema = z
  .strictObject({
    disk: itemSchema.extend({ freeBytes: z.number().min(0) }).nullable(),
    card: itemSchema.nullable(),
    /** `percent` is null where the body has only a word for it. */
    battery: itemSchema.extend({ percent: z.number().min(0).max(100).nullable() }).nullable(),
  })
  .meta({ id: 'Watch' });
export type Watch = z.infer<typeof watchSchema>;
