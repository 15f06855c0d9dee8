// Finding bodies, learning them, what is owed to them.
export {
  BODY_CHOICES,
  type BodyChoice,
  Finder,
  type FinderOptions,
  type Found,
  type Surveyed,
} from './finder.js';
export { type LearnOptions, learnBody } from './learn.js';
