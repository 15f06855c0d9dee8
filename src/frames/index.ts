// What came back: recorded exposures, small copies, the set folder. Knows neither plan nor run.
export { type AskedExposure, judge, type Verdict } from './judge.js';
export { type Picture, readPicture } from './picture.js';
export { type RecordedExposure, readRecorded } from './recorded.js';
export { RECORD, SetFolder } from './set-folder.js';
