// `npm run soak -- faults`: every cell of the table of faults, and each of the nine frames once with the camera process killed
// and once with the cable pulled. Prints the whole table, also what is left out and why. `npm run soak -- faults hang pulled`
// works through these faults alone, `-- direct pass` through these ways, `-- part=4` through
// every fourth cell, `-- minutes=10` through as many, anywhere in the table, as that takes.
import { runBundled } from './soak-bundle.js';

await runBundled('faults/every-cell');
