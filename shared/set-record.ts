// The record that lies beside the frames in a set folder, as `set.json`.
import { z } from 'zod';
import { planPassSchema } from './plan.js';
import { frameViewSchema } from './state.js';

export const SET_RECORD_VERSION = 1;

export const setRecordSchema = z
  .strictObject({
    version: z.literal(SET_RECORD_VERSION),
    id: z.string(),
    /** True only where every offset is verified. */
    complete: z.boolean(),
    /** How the run ended, in one sentence. */
    sentence: z.string(),
    /** True where the practice body made the frames: nothing was photographed, the scene is invented. */
    practice: z.boolean(),
    startedAt: z.string(),
    endedAt: z.string(),
    body: z.strictObject({
      link: z.enum(['practice', 'usb']),
      model: z.string(),
      serial: z.string().nullable(),
    }),
    /**
     * Shutter, aperture and ISO that the offsets are counted from, as the body writes them; the exact time in seconds. In
     * aperture priority the time is what the first verified frame stands for.
     */
    base: z.strictObject({
      shutter: z.string(),
      exposureTime: z.number(),
      aperture: z.string().nullable(),
      iso: z.string().nullable(),
    }),
    /** What moved the centre of a pass: the shutter in manual mode, exposure compensation in aperture priority. */
    mode: z.enum(['manual', 'aperture']),
    /** EV between neighbouring frames. */
    step: z.number(),
    passes: z.array(planPassSchema),
    /** The darkest first. */
    frames: z.array(frameViewSchema),
    /** Files that came back and belong to no frame of the set: wrong exposures, and repeats. */
    setAside: z.array(z.strictObject({ file: z.string(), reason: z.string() })),
    /** What else is to be known of the run, a sentence each. */
    notes: z.array(z.string()),
    /** Seconds that the body's clock was ahead of this computer's; null where it tells no time. */
    clockDifference: z.number().nullable(),
    /** Settings of the body that the run changed and put back. */
    putBack: z.array(z.string()),
    /** Settings that the run changed and could not put back, with the values that they had. */
    notPutBack: z.array(z.strictObject({ name: z.string(), found: z.string() })),
  })
  .meta({ id: 'SetRecord' });
export type SetRecord = z.infer<typeof setRecordSchema>;
