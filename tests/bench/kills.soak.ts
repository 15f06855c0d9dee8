// `npm run soak -- kills`: a set of nine is killed with the program before and after each commit of the journal and before each operation
// in the folder of sets, and gone on with each time; and the disk of the journal is full from each commit on, or at that one alone.
// `npm run soak -- kills before full again,refused` works through these alone.
import { runBundled } from './soak-bundle.js';

await runBundled('resume/every-kill');
