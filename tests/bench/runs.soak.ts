// `npm run soak -- runs`: 200 sets on schedules, made by the program as a user has it on every kind of body and over both ways to it, while it is killed, the
// camera process is killed, the cable is pulled and frames go wrong, at seeded moments. What is left is compared with what the
// shutter did and with what was asked; within 20 minutes. `npm run soak -- runs SEED SETS` takes another seed, or makes more; with the number of a run
// behind it that run is made alone.
import { runBundled } from './soak-bundle.js';

await runBundled('resume/every-run');
