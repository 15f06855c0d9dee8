// What stands in the panels: the set that is asked for, before it is fired. All devices show the same one, so that the phone fires what
// was set up at the laptop. A schedule is no part of it: that is begun where it was set up.
import type { z } from 'zod';
import { byHandSchema } from './plan.js';
import { setRequestSchema } from './request.js';
import { runRequestSchema } from './run-request.js';

const { mode, settle, least, conditions } = setRequestSchema.shape;

/** As it was written: nothing is filled in. */
export const askedSchema = runRequestSchema
  .omit({ schedule: true, light: true, followSpan: true, maySleep: true })
  .extend({
    mode: mode.unwrap().optional(),
    settle: settle.unwrap().optional(),
    least: least.unwrap().optional(),
    conditions: conditions.unwrap().optional(),
    /** What somebody still has to do at the camera for it. */
    byHand: byHandSchema.optional(),
  })
  .meta({ id: 'Asked' });
export type Asked = z.infer<typeof askedSchema>;
