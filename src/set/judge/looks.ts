// Pictures that are looked at while the next frames are fired, since it takes longer to see whether a picture
// is whole than the next frame can wait. Several are read side by side, but they are judged in the order in
// which they came: the first frame of the set is the first to come, not the first to be read. Knows no frame.
import { asEvenrungError, type EvenrungError } from '../../../shared/errors.js';

/** How many pictures may wait while frames are fired. */
export const MOST_LOOKS = 8;

export class Looks {
  private readonly underWay = new Set<Promise<void>>();
  private failure: EvenrungError | null = null;
  /** Settles when the look that was begun last has been judged. */
  private judged: Promise<void> = Promise.resolve();

  /**
   * Begins a look, and returns at once.
   * @param read the part that takes long; never rejects
   * @param judge what follows from it; called only after the look before has been judged
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

  /**
   * Waits until no more than so many pictures are being looked at.
   * @throws EvenrungError the failure of a look
   */
  async catchUp(most = 0): Promise<void> {
    while (this.underWay.size > most) await Promise.race(this.underWay);
    const { failure } = this;
    this.failure = null;
    if (failure !== null) throw failure;
  }
}
