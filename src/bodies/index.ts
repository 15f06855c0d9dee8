// Bodies: found, held, learnt; settings owed to them; card, disk and battery for the sets to come.
export {
  BODY_CHOICES,
  type BodyChoice,
  Finder,
  type FinderOptions,
  type Found,
  type Surveyed,
} from './finder.js';
export { BodyInHand, isSameBody } from './in-hand.js';
export { type Learnt, type LearntDirectly, learnAndKeep, learnDirectly } from './learn.js';
export type { LearnOptions } from './lesson.js';
export { putBackSteadily } from './put-back.js';
export { BodyReport, type ToldOfBody } from './report.js';
export { Stock, type StockMemo } from './stock.js';
export { tooLow } from './watch.js';
export { WAY_CHOICES, type WayChoice } from './way.js';
