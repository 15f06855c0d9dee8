// The states of a run and of a frame, and the only ways from one to another. Drawn in DEVELOPERS.md.
import type { FrameState, RunState } from '../../shared/state.js';

export const FRAME_WAYS: Readonly<Record<FrameState, readonly FrameState[]>> = {
  // A file of the same pass may prove to be this frame although another one was expected.
  planned: ['armed', 'stored'],
  // Armed: the body is set, and the shutter is about to be released. Planned again: the program ended before it was.
  armed: ['fired', 'planned'],
  // Rejected without a file: none came back.
  fired: ['stored', 'rejected'],
  stored: ['verified', 'rejected'],
  // Only where the program ended meanwhile, and its file is not there any more or is not what it was.
  verified: ['rejected'],
  // Made up: fired again, or proved by a later file of the pass.
  rejected: ['armed', 'stored'],
};

export const RUN_WAYS: Readonly<Record<RunState, readonly RunState[]>> = {
  preparing: ['firing', 'making-up', 'putting-back'],
  // Preparing again: the program ended, and somebody goes on with the run.
  firing: ['making-up', 'putting-back', 'preparing'],
  'making-up': ['firing', 'putting-back', 'preparing'],
  'putting-back': ['complete', 'stopped', 'halted', 'preparing'],
  complete: [],
  stopped: [],
  halted: [],
};

/** @throws Error where the table knows no such way: that is a defect, not something that happens to a photographer */
export function assertWay<State extends string>(
  ways: Readonly<Record<State, readonly State[]>>,
  from: State,
  to: State,
): void {
  if (!ways[from].includes(to)) throw new Error(`There is no way from '${from}' to '${to}'.`);
}
