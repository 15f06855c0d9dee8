// What a person calls a set: in a request, in the state, and in the record.
import { z } from 'zod';

/** What a person calls a set. */
export const labelsSchema = z.strictObject({
  name: z.string().nullable(),
  note: z.string().nullable(),
  /** The number of the place that the camera stands at. */
  viewpoint: z.string().nullable(),
});
export type Labels = z.infer<typeof labelsSchema>;
