// What a person may be told of a frame that is in the set all the same: one list for the record on disk and
// for the wire.
import { z } from 'zod';

export const markCodeSchema = z.enum([
  'clipped-dark',
  'clipped-light',
  'base-moved',
  'ratio',
  'order',
  'time',
  'unproved',
  'size',
  'partner-missing',
  'partner-odd',
  'camera-moved',
  'subject-moved',
  'less-sharp',
  'other',
]);
