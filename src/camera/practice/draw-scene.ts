// A program of its own, run once by each build: draws the scene of the practice body and keeps it beside what was built.
import { keepScene } from './drawn-scene.js';
import { drawScene } from './render.js';

await keepScene(await drawScene());
