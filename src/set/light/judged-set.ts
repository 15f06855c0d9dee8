// What the judging of pictures and the proof need of a set: its frames, its folder, and a place to tell. The set
// may be in hand, with a body; or it has ended, and only the journal and its folder know it (late-proof.ts).
import { ENDED } from '../../../shared/fold.js';
import type { LightView } from '../../../shared/light.js';
import type { FrameView } from '../../../shared/state.js';
import type { InHand } from '../in-hand.js';
import type { SetFrame } from '../set-frame.js';

export type LitFrame = Pick<SetFrame, 'view' | 'times' | 'thumbnail'>;

export interface JudgedSet {
  readonly id: string;
  /** The id of its run. */
  readonly run: string;
  /** The path of the set folder. */
  readonly folder: string;
  /** Whether the practice body made it. */
  readonly isPractice: boolean;
  /** The darkest first. */
  readonly frames: readonly LitFrame[];
  /** Whether nothing more is fired. */
  readonly isEnding: boolean;
  /** How often the coverage map was drawn before; if it is left out, never. */
  readonly drawn?: number;
  /** Other marks of a verified frame. */
  mark(number: number, marks: FrameView['marks']): void;
  /** What its pictures show so far. */
  light(view: LightView): void;
  /** What its pictures show in the end, once that lies in the folder, or could not be written there. */
  told(view: LightView): void;
  /** Its proof is not owed any more. */
  paid(): void;
}

/** The set in hand. */
export const handJudged = (hand: InHand): JudgedSet => {
  const { book, labels } = hand;
  const { id } = labels.set;
  return {
    ...{ id, run: hand.run, folder: hand.folder.path },
    isPractice: hand.body.identity.link === 'practice',
    get frames() {
      return hand.frames;
    },
    get isEnding() {
      return book.state === 'putting-back' || ENDED.has(book.state);
    },
    mark: (number, marks) => book.mark(book.frameOf(number), marks),
    light: (view) => book.light(id, view),
    told: (view) => book.light(id, view),
    paid: () => hand.oweProof(false),
  };
};
