// The message that a webhook gets when a run ends early. Others write programs against it: a field may be
// added, and the version goes up if a field changes its meaning or goes away.
import { z } from 'zod';
import { errorCodeSchema } from './error-codes.js';

export const ALARM_VERSION = 1;

export const alarmSchema = z
  .strictObject({
    version: z.literal(ALARM_VERSION),
    /** The same for each try: a receiver that answered too late gets it once more. */
    id: z.uuid(),
    /** ISO 8601, UTC: when it was raised, by this computer's clock. */
    at: z.iso.datetime(),
    /** The id of the run. */
    run: z.string(),
    /** halted: something went wrong. stopped: it ended by itself before something ran out. */
    state: z.enum(['halted', 'stopped']),
    /** The code of the error; null if there was none. */
    error: errorCodeSchema.nullable(),
    /** What happened and what to do; folders are shortened to their names. */
    sentence: z.string(),
    /** Where the notes say more, as in pages.ts; null if there is no error. */
    page: z.string().nullable(),
    /** Frames of the last set that are verified, and all of that set. */
    verified: z.number().int().min(0),
    frames: z.number().int().min(0),
    /**
     * The name of the set folder, never its path: a path shows who somebody is, and no receiver could open
     * it.
     */
    folder: z.string().nullable(),
  })
  .meta({ id: 'Alarm' });
export type AlarmNotice = z.infer<typeof alarmSchema>;
