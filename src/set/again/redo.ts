// A set that was taken up again after its end, while it is under way: which frames are to be made, what they
// were before, and when the last of them was made. What follows from that is in taken-up.ts.
import type { FrameView } from '../../../shared/state.js';
import type { StoredFrame } from '../../journal/index.js';
import type { SetFrame } from '../set-frame.js';
import { earlierOf, isInHand, replacedBy, type TakenUp, wasMade } from './taken-up.js';

export class Redo {
  /** Null for a set that is made for the first time. */
  private up: TakenUp | null;
  private last: Date | null = null;

  /** @param stored the frames as the journal has them: some may have been made before a restart */
  constructor(takenUp: TakenUp | null, stored: readonly StoredFrame[]) {
    this.up = takenUp;
    if (takenUp === null) return;
    const made = stored.flatMap(({ view, verifiedAt }) =>
      verifiedAt !== null && wasMade(takenUp, view) ? [verifiedAt] : [],
    );
    const last = made.sort().at(-1);
    if (last !== undefined) this.last = new Date(last);
  }

  get takenUp(): TakenUp | null {
    return this.up;
  }
  get madeAt(): Date | null {
    return this.last;
  }

  /** Whether a frame is to be made now, unless it is there. */
  isInHand({ view }: SetFrame): boolean {
    return isInHand(this.up, view.number);
  }

  /** @returns a frame as it was before, as long as no new one has taken its place */
  earlierOf({ number }: Pick<FrameView, 'number'>): StoredFrame | null {
    return earlierOf(this.up, number);
  }

  /** @returns the state once the new frame has its place and the earlier files are going to be moved */
  with(number: number, asides: readonly string[]): TakenUp | null {
    return this.up === null ? null : replacedBy(this.up, number, asides);
  }

  replaced(takenUp: TakenUp | null): void {
    this.up = takenUp;
  }

  /** A frame was made just now. */
  made(): void {
    this.last = new Date();
  }
}
