// The request in the panels, before it is fired. All devices show the same one, so that the phone fires what
// was set up at the laptop. A schedule is not part of it: it begins from the device on which it was set up.
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
    /** A step that somebody still has to do at the camera for it. */
    byHand: byHandSchema.optional(),
  })
  .meta({ id: 'Asked' });
export type Asked = z.infer<typeof askedSchema>;
