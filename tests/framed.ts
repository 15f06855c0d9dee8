// A request whose frames are spelled out, for tests that ask for nothing by readings.
import { isMetered, parseSetRequest, type SetRequest } from '../shared/request.js';

/** @throws EvenrungError as parseSetRequest; Error if it asks by readings */
export function parseFramed(written: unknown): SetRequest {
  const asked = parseSetRequest(written);
  if (isMetered(asked)) throw new Error('Its frames follow from readings.');
  return asked;
}
