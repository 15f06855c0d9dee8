// Bodies: found, met, driven, left as they were.
export {
  type Arming,
  Body,
  type GivenUp,
  type MeetOptions,
  type ReadinessAsked,
  type StandingExposure,
} from './body.js';
export type { Centre, DialectName } from './dialects/index.js';
export type { BroughtFile } from './fetching.js';
export type { ShutterRelease } from './firing.js';
export {
  type ApartLimits,
  type AttachedPort,
  type BodyIdentity,
  type BringOptions,
  type Button,
  type FiredFrame,
  type FireOptions,
  type Heard,
  LINK_FAILURES,
  type Link,
  type LinkKind,
  type LinkLimits,
  type LinkWay,
  type ListedFile,
  LOST,
  type MadeFile,
  type Piece,
  type PressOptions,
  type Setting,
  type Settings,
} from './link.js';
export { type Debts, notPutBack, type Owed } from './owed.js';
export { type Deadlines, SupervisedLink, type SupervisedLinkOptions } from './process/supervised-link.js';
export { framesLeftOnCard, LARGEST_FILE_BYTES, sizeOf } from './readiness/files.js';
export { batteryCharge, type Charge, EMPTY_PERCENT } from './readiness/power.js';
export { who } from './readiness/question.js';
export type { Released } from './shutter.js';
