// One set: the walk from release to release, its frames, how it ends.
export { unmadeAtEnds } from './added.js';
export type { CameSoFar } from './from-before.js';
export { Hold, KEEP_AWAKE_MS } from './hold.js';
export { keeperOf, type SetMemo } from './keeper.js';
export { filesToLookFor, type Lacking, lackingIn } from './lacking.js';
export { lastCame } from './last-came.js';
export { Run, type RunOptions, THIS_COMPUTER } from './run.js';
export { ENDED_MEANWHILE, framesOf, stray, UNMADE } from './set-frame.js';
export { type EarlierFrame, earlierOf, type TakenUp, wayBack } from './taken-up.js';
