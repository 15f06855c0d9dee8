// What a set folder is named by, for tests that only want one.
import type { SetNaming } from '../src/frames/index.js';

export const namedBy = (startedAt: Date): SetNaming => ({
  run: 'a-run',
  set: 1,
  startedAt,
  name: null,
  viewpoint: null,
});
