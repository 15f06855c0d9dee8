// Pictures judged by their light: how much of a scene a set holds, whether its frames lie on each other, and
// what they can become. Knows pictures and exposures; no run, no body.
export type { Coverage, FrameShare, Missing, Shares } from './coverage/result.js';
export type { Lost } from './ends/ends.js';
export type { AskedEnds, EndTold, SceneEnds } from './ends/tell.js';
export type { ProcessOptions } from './held-process.js';
export {
  type CoverageAnswer,
  type Judge,
  type JudgedFrame,
  type Merged,
  type MergeOptions,
  notWritten,
  openJudge,
  type Preview,
  type Read,
  type Steadiness,
  type Unread,
} from './judge.js';
export type { Response } from './radiance/response.js';
export type { LightMark } from './steady/marks.js';
export { type ComparedFrame, type Together, together } from './steady/together.js';
