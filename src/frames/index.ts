// What came back: recorded exposures, small copies, the set folder. Knows neither plan nor run.
export {
  type AskedExposure,
  type AskedOffset,
  judge,
  judgeMetered,
  type MeteredVerdict,
  recordedTv,
  type Verdict,
} from './judge.js';
export { type Picture, readPicture } from './picture.js';
export { type RecordedExposure, readRecorded } from './recorded.js';
export { RECORD, SetFolder } from './set-folder.js';

/** Loads the libraries that read pictures. They are left out of the start, so that the daemon is ready at once. */
export async function warmUp(): Promise<void> {
  await Promise.all([import('sharp'), import('exifreader'), import('file-type')]);
}
