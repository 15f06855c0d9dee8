export { type Candidate, type Cover, leastCover } from './least-cover.js';
