// Whether the pictures of sets are judged by their light: always, unless the environment says otherwise, as it does for tests of other things.
import { type Judge, openJudge } from '../../light/index.js';

export function judging(): { readonly openJudge?: () => Judge } {
  return process.env.EVENRUNG_LIGHT === 'off' ? {} : { openJudge: () => openJudge() };
}
