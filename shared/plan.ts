// A plan as it crosses the wire and as `plan --json` prints it. EV are plain numbers, times are exact seconds.
import { z } from 'zod';

export const planFrameSchema = z.strictObject({
  /** EV from the base; positive is more light. */
  offset: z.number(),
  /** Exact seconds. */
  exposureTime: z.number(),
  /** The nominal label of the shutter setting. */
  shutter: z.string(),
});

export const planPassSchema = z.strictObject({
  /** The offset that the body's own exposure is set to. */
  centre: z.number(),
  /** EV between the frames of the pass; 0 for a single frame, fired with the bracket off. */
  step: z.number(),
  /** Ascending. */
  offsets: z.array(z.number()),
  /** In the body's firing order. */
  frames: z.array(planFrameSchema),
});

export const warningSchema = z.strictObject({ code: z.string(), message: z.string() });

export const planSchema = z
  .strictObject({
    base: z.strictObject({ shutter: z.string(), exposureTime: z.number() }),
    /** What was asked for, ascending. */
    offsets: z.array(z.number()),
    /** In firing order. */
    passes: z.array(planPassSchema),
    estimate: z.strictObject({ seconds: z.number() }),
    warnings: z.array(warningSchema),
  })
  .meta({ id: 'Plan' });

export type WirePlan = z.infer<typeof planSchema>;
export type WirePass = z.infer<typeof planPassSchema>;
export type Warning = z.infer<typeof warningSchema>;
