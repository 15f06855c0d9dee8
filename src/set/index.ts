// One set: the walk from release to release, its frames, how it ends.
export { unmadeAtEnds } from './again/added.js';
export { type EarlierFrame, earlierOf, type TakenUp, wayBack } from './again/taken-up.js';
export type { CameSoFar } from './assign/from-before.js';
export { lastCame } from './assign/last-came.js';
export { keeperOf, type SetMemo } from './book/keeper.js';
export { filesToLookFor, type Lacking, lackingIn } from './book/lacking.js';
export { Hold, KEEP_AWAKE_MS } from './hold.js';
export { type LateProofOptions, lacksProof, proveLate } from './light/late-proof.js';
export { Run, type RunOptions, THIS_COMPUTER } from './run.js';
export { ENDED_MEANWHILE, framesOf, stray, UNMADE } from './set-frame.js';
