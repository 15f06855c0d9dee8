// The names that a person gives a set: in a request, in the state, and in the record.
import { z } from 'zod';

/** The names that a person gives a set. */
export const labelsSchema = z.strictObject({
  name: z.string().nullable(),
  note: z.string().nullable(),
  /** The number of the place at which the camera is. */
  viewpoint: z.string().nullable(),
});
export type Labels = z.infer<typeof labelsSchema>;
