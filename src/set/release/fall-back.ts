// If what was learnt of a camera no longer holds, the set notes that and falls back on the way that works
// without it. A single failure does not count: cables are pulled, and a frame may be lost once.
import type { EvenrungError } from '../../../shared/errors.js';
import type { InHand } from '../in-hand.js';

/** Failures in a row: a frame is made up twice, and the second attempt should go the other way. */
const MOST_FAILURES = 2;
/** Releases in one set that brought too few frames. */
const MOST_SHORT = 2;
/** Exposures that every other way can bring back, in seconds. */
const ANY_WAY_SECONDS = 30;

export class FallBack {
  private readonly hand: InHand;
  private failures = 0;
  private short = 0;

  constructor(hand: InHand) {
    this.hand = hand;
  }

  /**
   * Takes note of how a release went.
   * @param frames how many it was to make
   * @param isShort whether fewer came
   */
  heard(frames: number, isShort: boolean, failure: EvenrungError | null): void {
    const { body } = this.hand;
    if (!body.isApart) return;
    if (frames > 1 && isShort && (failure === null || failure.code === 'frame-missing')) {
      this.short += 1;
      if (this.short >= MOST_SHORT && body.firesWhole) this.giveUpOneRelease();
      return;
    }
    if (failure === null) this.failures = 0;
    else if (isOfTheWay(failure)) this.failures += 1;
    if (failure !== null && this.failures >= MOST_FAILURES) this.giveUpApart(failure);
  }

  private giveUpOneRelease(): void {
    const { body, book } = this.hand;
    const why = 'Twice in one set, one release brought too few frames.';
    body.giveUpOneRelease(why);
    book.note(
      `${why} Evenrung fires the rest frame by frame, and later sets too, until you run \`learn\` again.`,
    );
  }

  private giveUpApart({ message }: EvenrungError): void {
    const { body, book, frames } = this.hand;
    const isTooLong = frames.some(
      (frame) => this.hand.isDue(frame) && frame.shutter.seconds > ANY_WAY_SECONDS,
    );
    if (isTooLong || !body.giveUpApart(message)) return;
    this.failures = 0;
    book.note(
      `Reaching the camera directly failed twice in a row (${message}) The set continues the usual way, and so do later ones, until you run \`learn\` again.`,
    );
  }
}

/**
 * Whether a failure speaks against the way to the camera: a crashed process, a call that hung and a frame
 * that never came do, a pulled cable does not.
 */
const isOfTheWay = ({ code, details }: EvenrungError): boolean =>
  code === 'call-timed-out' ||
  (code === 'frame-missing' && details.released !== false) ||
  code === 'internal' ||
  (code === 'body-lost' && typeof details.signal === 'string');
