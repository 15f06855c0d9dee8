// The result of two spot readings in a plan: where each falls in which frame. It crosses the wire with the
// plan.
import { z } from 'zod';

export const placedReadingSchema = z.strictObject({
  /** As it was written. */
  written: z.string(),
  /** EV at ISO 100; null if the reading is a time and nobody tells aperture and ISO. */
  ev100: z.number().nullable(),
  /** The nominal shutter time that puts it on middle grey, at the aperture and ISO of the set. */
  shutter: z.string(),
  /** The frame that holds it: of the brightest part the darkest frame, 1; of the darkest part the brightest frame. */
  frame: z.number().int(),
  /** EV from the middle grey of that frame, planned; positive is above. */
  fromGrey: z.number(),
  /** The same in one sentence. */
  sentence: z.string(),
});
export type PlacedReading = z.infer<typeof placedReadingSchema>;

export const planReadingsSchema = z.strictObject({
  darkest: placedReadingSchema,
  brightest: placedReadingSchema,
  /**
   * EV that a frame is assumed to hold above and below middle grey, and where that comes from, in one
   * sentence.
   */
  room: z.strictObject({ above: z.number(), below: z.number(), sentence: z.string() }),
});
export type PlanReadings = z.infer<typeof planReadingsSchema>;
