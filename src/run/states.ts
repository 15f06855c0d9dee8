// The states of a run and of a frame, and the only ways from one to another. Drawn in DEVELOPERS.md.
import type { FrameState, RunState } from '../../shared/state.js';

export const FRAME_WAYS: Readonly<Record<FrameState, readonly FrameState[]>> = {
  // A file of the same pass may prove to be this frame although another one was expected.
  planned: ['armed', 'stored'],
  // Armed: the body is set, and the shutter is about to be released.
  armed: ['fired'],
  // Rejected without a file: none came back.
  fired: ['stored', 'rejected'],
  stored: ['verified', 'rejected'],
  verified: [],
  // Made up: fired again, or proved by a later file of the pass.
  rejected: ['armed', 'stored'],
};

export const RUN_WAYS: Readonly<Record<RunState, readonly RunState[]>> = {
  preparing: ['firing', 'putting-back'],
  firing: ['making-up', 'putting-back'],
  'making-up': ['firing', 'putting-back'],
  'putting-back': ['complete', 'stopped', 'halted'],
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
