// Keeps the computer awake while something is done; if that is not possible, it says so. It knows no set.
import { stayAwake } from '../system/index.js';

/** Nobody waits for it: a busy computer may take its time. */
const AWAKE_WITHIN_MS = 5000;

/**
 * @param what is being done, for people who ask the system why it does not sleep
 * @param teller is told if the computer may fall asleep all the same
 */
export async function whileAwake<T>(
  what: string,
  teller: { note(sentence: string): void },
  work: () => Promise<T>,
): Promise<T> {
  // Side by side: the first frame does not wait for it.
  const awake = stayAwake(what, {
    answerWithin: AWAKE_WITHIN_MS,
    onLost: (sentence) => teller.note(sentence),
  });
  let isOver = false;
  void awake.then(({ reminder }) => {
    if (reminder !== null && !isOver) teller.note(reminder);
  });
  try {
    return await work();
  } finally {
    isOver = true;
    // Not waited for: a system that has not answered yet is let go of when it does.
    void awake.then((held) => held.release());
  }
}
