// Whether a body is ready for a run: a list that a person walks through before firing.
import { z } from 'zod';

/** fine: nothing to do. attention: the run can begin, but look at it first. stops: the run would not begin. */
export const markSchema = z.enum(['fine', 'attention', 'stops']);
export type Mark = z.infer<typeof markSchema>;

export const readinessCodeSchema = z.enum([
  'mode',
  'drive',
  'bracket',
  'focus',
  'format',
  'iso',
  'white-balance',
  'target',
  'room',
  'battery',
  'clock',
  'flash',
  'tone',
  'mirror',
  'noise-reduction',
  'power-off',
  // The wire cannot tell these: they are ticked by hand.
  'stabiliser',
  'assist-lamp',
  'eyepiece-cover',
  'electronic-shutter',
  'bracket-menu',
]);
export type ReadinessCode = z.infer<typeof readinessCodeSchema>;

export const readinessItemSchema = z
  .strictObject({
    code: readinessCodeSchema,
    mark: markSchema,
    /** The state of the item and, if something is to be done, what. */
    message: z.string(),
    /** What the daemon can do about it on request. */
    remedy: z.enum(['set-clock']).nullable(),
    /** Null if the wire tells; otherwise whether a person has ticked it. */
    ticked: z.boolean().nullable(),
  })
  .meta({ id: 'ReadinessItem' });
export type ReadinessItem = z.infer<typeof readinessItemSchema>;

/** A person says that something is so, or is not, which the wire cannot tell. */
export const tickSchema = z
  .strictObject({ code: readinessCodeSchema, isSo: z.boolean() })
  .meta({ id: 'Tick' });

/** Looks for a body anew; `camera` is a serial number or a model, if several are attached. */
export const lookSchema = z.strictObject({ camera: z.string().max(200).optional() }).meta({ id: 'Look' });
