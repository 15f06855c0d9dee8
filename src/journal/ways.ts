// The states of a run and of a frame, and the only ways from one to another. They are drawn in DEVELOPERS.md.
import { channel } from 'node:diagnostics_channel';
import type { FrameState, RunState } from '../../shared/state.js';
import type { WholeRunState } from './stored.js';

export const FRAME_WAYS: Readonly<Record<FrameState, readonly FrameState[]>> = {
  // Stored: a file of the same pass may prove to be this frame although another one was expected. Verified:
  // the frame was chosen to be fired again, was not made, and its earlier file counts again.
  planned: ['armed', 'stored', 'verified'],
  // Armed: the body is set, and the shutter is about to be released. Planned again: the program ended before
  // it was.
  armed: ['fired', 'planned'],
  // Rejected without a file: none came back.
  fired: ['stored', 'rejected'],
  stored: ['verified', 'rejected'],
  // Rejected: only if its file was gone or changed after a restart. Planned: it was chosen to be fired again.
  // Verified: more is known of it, such as how its light compares with that of its neighbours.
  verified: ['rejected', 'planned', 'verified'],
  // Armed: it is made up, by firing it again. Stored: a later file of the pass proved to be this frame.
  // Verified: as for planned.
  rejected: ['armed', 'stored', 'verified'],
};

export const RUN_WAYS: Readonly<Record<RunState, readonly RunState[]>> = {
  preparing: ['firing', 'making-up', 'putting-back'],
  // Preparing again: the program ended, and somebody resumes the run.
  firing: ['making-up', 'held', 'putting-back', 'preparing'],
  'making-up': ['firing', 'held', 'putting-back', 'preparing'],
  // Held by somebody between two frames; it continues in the state that it was in.
  held: ['firing', 'making-up', 'putting-back', 'preparing'],
  'putting-back': ['complete', 'stopped', 'halted', 'preparing'],
  // Preparing again: the set is taken up after its end, to be completed or to have frames fired again.
  complete: ['preparing'],
  stopped: ['preparing'],
  halted: ['preparing'],
};

/**
 * A run as a whole is resumed without a change of its state: it is under way until it has ended. After that
 * it is under way again only if one of its sets is taken up again.
 */
export const WHOLE_RUN_WAYS: Readonly<Record<WholeRunState, readonly WholeRunState[]>> = {
  'under-way': ['complete', 'stopped', 'halted'],
  complete: ['under-way'],
  stopped: ['under-way'],
  halted: ['under-way'],
};

/** Each table by what it is about. */
export const TABLES = { frame: FRAME_WAYS, set: RUN_WAYS, run: WHOLE_RUN_WAYS } as const;

/** The channel on which each way that is taken is published. It costs nothing if nobody listens. */
export const WAY_TAKEN = 'evenrung:way';
export interface WayTaken {
  readonly table: keyof typeof TABLES;
  readonly from: string;
  readonly to: string;
}
const taken = channel(WAY_TAKEN);

/**
 * @throws Error if the table has no such way: that is a defect, not something that happens to a
 *   photographer
 */
export function assertWay<State extends string>(
  ways: Readonly<Record<State, readonly State[]>>,
  from: State,
  to: State,
): void {
  if (!ways[from].includes(to)) throw new Error(`There is no way from '${from}' to '${to}'.`);
  if (!taken.hasSubscribers) return;
  for (const [table, known] of Object.entries(TABLES)) {
    if (known === (ways as unknown)) taken.publish({ table, from, to });
  }
}
