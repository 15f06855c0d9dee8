// The fields of a request, parsed by their schema.
import { z } from 'zod';
import { EvenrungError } from '../../shared/errors.js';
import { IN_PLAIN_WORDS } from '../../shared/plain-words.js';
import { firstIssue } from '../../shared/request.js';

const nothingSchema = z.union([z.undefined(), z.null(), z.strictObject({})]);

/** @throws EvenrungError malformed-request */
export function readFields<T>(schema: z.ZodType<T>, written: unknown): T {
  const parsed = schema.safeParse(written, IN_PLAIN_WORDS);
  if (parsed.success) return parsed.data;
  throw new EvenrungError('malformed-request', firstIssue(parsed.error));
}

/** @throws EvenrungError malformed-request */
export function expectNothing(body: unknown): void {
  if (!nothingSchema.safeParse(body).success) {
    throw new EvenrungError('malformed-request', 'This request takes no fields.');
  }
}
