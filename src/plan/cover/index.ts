export { type Candidate, type Cover, leastCover, MOST_COST } from './least-cover.js';
