// The computer does not fall asleep while something is done; where it cannot be kept awake, that is said. It knows no set.
import { stayAwake } from '../system/index.js';

/** Nobody waits for it: a busy computer may take its time. */
const AWAKE_WITHIN_MS = 5000;

/** @param what is done, for whoever asks the system why it does not sleep @param teller is told where it may sleep all the same */
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
