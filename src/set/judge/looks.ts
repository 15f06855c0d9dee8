// Pictures that are looked at while the next frames are fired: whether one is whole takes longer to see than the next frame can wait.
// Several are read side by side, and judged in the order in which they came: the first is the first to come, not the first to be read.
// Knows no frame.
import { asEvenrungError, type EvenrungError } from '../../../shared/errors.js';

/** So many may wait while frames are fired. */
export const MOST_LOOKS = 8;

export class Looks {
  private readonly underWay = new Set<Promise<void>>();
  private failure: EvenrungError | null = null;
  /** Of the look that was begun last. */
  private judged: Promise<void> = Promise.resolve();

  /**
   * Comes back at once.
   * @param read what takes long; never rejects
   * @param judge what comes of it; not before that of the look before is known
   */
  begin<Seen>(read: () => Promise<Seen>, judge: (seen: Seen) => Promise<void>): void {
    const { judged: before } = this;
    const reading = read();
    const look = (async () => {
      await before;
      try {
        await judge(await reading);
      } catch (cause) {
        this.failure ??= asEvenrungError(cause);
      }
    })().finally(() => this.underWay.delete(look));
    this.judged = look;
    this.underWay.add(look);
  }

  /** Waits until no more than so many are being looked at. @throws EvenrungError what went wrong with one */
  async catchUp(most = 0): Promise<void> {
    while (this.underWay.size > most) await Promise.race(this.underWay);
    const { failure } = this;
    this.failure = null;
    if (failure !== null) throw failure;
  }
}
