// Why a picture cannot be judged. Kept apart from the code that reads pictures, so that importing it loads no
// decoder.

export type UnreadableReason = 'no-picture' | 'broken' | 'too-small' | 'too-large' | 'other-shape';

export interface Unreadable {
  readonly reason: UnreadableReason;
  /** For the photographer. */
  readonly sentence: string;
}

export const isUnreadable = (read: object): read is Unreadable => 'reason' in read;
