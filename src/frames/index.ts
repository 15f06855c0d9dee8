// What came back: recorded exposures, small copies, the set folder. Knows neither plan nor run.
export { checkSet, type Finding, type FindingCode, type SetCheck } from './check.js';
export {
  type Checksum,
  checksumOf,
  checksumsOf,
  type ListedSum,
  parseSums,
  quickDigest,
  SUMS,
  sumsText,
} from './checksum.js';
export { CONTACT_SHEET, drawContactSheet, type Sheet, type SheetCell } from './contact-sheet.js';
export { ExifToolProcess, exifTool } from './exiftool.js';
export { type ExportedFile, type ExportedSet, type ExportOptions, exportSet } from './export-set.js';
export { setFoldersIn } from './find-sets.js';
export { isOfHandOver } from './hand-over.js';
export { fileInside } from './inside.js';
export {
  type AskedExposure,
  type AskedOffset,
  judge,
  judgeMetered,
  type MeteredVerdict,
  recordedTv,
  type Verdict,
} from './judge.js';
export { drawable, type Letters, lettersHere } from './letters.js';
export type { LightGrid } from './light-grid.js';
export {
  DEFAULT_FRAME_TEMPLATE,
  DEFAULT_SET_TEMPLATE,
  defaultNaming,
  type FrameNaming,
  frameStem,
  type Naming,
  parseTemplate,
  type SetNaming,
  setFolderName,
  type Template,
} from './naming.js';
export { type KeptName, lookOnDisk } from './on-disk.js';
export { type Picture, readPicture, type SmallPicture, smallPicture } from './picture.js';
export { isSameSize, type PixelSize, readPixelSize } from './pixel-size.js';
export { compareLight, type LightComparison, type LightRatio, type LitFrame, lightRatio } from './ratios.js';
export { type RawPreview, readRawPreview, readRawRecorded, shownPreview } from './raw.js';
export { type RecordedExposure, readRecorded } from './recorded.js';
export { relabelSet } from './relabel.js';
export { RECORD, SetFolder } from './set-folder.js';
export {
  readSidecar,
  relabelledSidecar,
  type SidecarClaims,
  type SidecarFacts,
  type SidecarLabels,
  sidecarNames,
  sidecarText,
  writeSidecar,
  XMP_NAMESPACE,
} from './sidecar.js';
export { type OddSize, oddSizeSentence, oddSizes, type SizedFrame } from './sizes.js';
export { isAlive } from './staging.js';
export { syncFolder } from './sync.js';
export { TABLE, type TableRow, tableText } from './table.js';
export { hasParts, type TakenAt, wallOf } from './taken-at.js';
export {
  judgeWhole,
  mustBeWhole,
  unprovedSentence,
  type WholeFrame,
  type WholeOptions,
} from './whole-frame.js';
export { readWholeness, type Wholeness } from './wholeness/index.js';

/** Loads the libraries that read pictures. They are left out of the start, so that the daemon is ready at once. */
export async function warmUp(): Promise<void> {
  await Promise.all([import('sharp'), import('exifreader'), import('file-type')]);
}
