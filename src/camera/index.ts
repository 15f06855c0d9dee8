// Bodies: found, met, driven, left as they were.
export {
  type Arming,
  Body,
  type Debts,
  LINK_FAILURES,
  notPutBack,
  type StandingExposure,
} from './body.js';
export type {
  BodyIdentity,
  FiredFrame,
  FireOptions,
  Link,
  LinkKind,
  LinkLimits,
  Setting,
  Settings,
} from './link.js';
export { type Deadlines, SupervisedLink, type SupervisedLinkOptions } from './process/supervised-link.js';
