// `npm run soak -- kills`: a set of nine is killed with the program before and after each commit of the journal and before each operation
// in the folder of sets, and gone on with each time; and the disk of the journal is full from each commit on, or at that one alone.
// The set is made with release and fetch at once, with two files a frame, and over a link that takes release and fetch apart (a release a
// frame, or a pass). `npm run soak -- kills before full apart,file again,refused` works through these alone, `-- part=4` through every
// fourth moment.
import { runBundled } from './soak-bundle.js';

await runBundled('resume/every-kill');
