// Puts a body's settings back after frames that belong to no set, over a connection that may be lost meanwhile.
import { asEvenrungError } from '../../shared/errors.js';
import { type Body, LINK_FAILURES, notPutBack } from '../camera/index.js';

/** How often a lost connection is taken up again to put settings back. */
const MOST_RECONNECTS = 6;
const RECONNECT_PAUSE_MS = 500;

/**
 * @returns what could not be put back and stays owed, in a sentence; null if everything is as it was found
 */
export async function putBackSteadily(body: Body): Promise<string | null> {
  for (let tries = 0; ; tries += 1) {
    try {
      await body.putBack();
      return null;
    } catch (cause) {
      const { code, message } = asEvenrungError(cause);
      if (tries === MOST_RECONNECTS || !LINK_FAILURES.has(code))
        return body.debts.size === 0 ? message : notPutBack(body.debts);
      await new Promise((resolve) => setTimeout(resolve, RECONNECT_PAUSE_MS));
    }
  }
}
