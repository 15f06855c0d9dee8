// A program of its own, run once by each build: draws the scene of the practice body, full and small, and keeps it beside what
// was built.
import { keepScene } from './drawn-scene.js';
import { drawScene } from './render.js';

for (const picture of ['full', 'small'] as const) await keepScene(picture, await drawScene(picture));
