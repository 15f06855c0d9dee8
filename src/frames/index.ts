// Files that came back: recorded exposures, small copies, the set folder. Knows neither plan nor run.

export { NothingDecoded, readyForPictures } from './decode/pictures.js';
export type { PixelSize, SmallPicture } from './decode/small-copy.js';
export { setFoldersIn } from './folder/find-sets.js';
export { fileInside } from './folder/inside.js';
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
} from './folder/naming.js';
export { type KeptName, lookOnDisk } from './folder/on-disk.js';
export { SetFolder } from './folder/set-folder.js';
export { addProof, type Proved } from './hand-over/add-proof.js';
export { checkSet, type Finding, type FindingCode, type SetCheck } from './hand-over/check.js';
export {
  type Checksum,
  checksumOf,
  checksumsOf,
  type ListedSum,
  parseSums,
  quickDigest,
  SUMS,
  sumsText,
} from './hand-over/checksum.js';
export { drawContactSheet, type Sheet, type SheetCell, type SheetLight } from './hand-over/contact-sheet.js';
export {
  type ExportedFile,
  type ExportedSet,
  type ExportOptions,
  exportSet,
} from './hand-over/export-set.js';
export { namesOf, shownFilesOf, sidecarsOf } from './hand-over/files-of.js';
export { isOfHandOver } from './hand-over/hand-over.js';
export { drawable, type Letters, lettersHere } from './hand-over/letters.js';
export { CONTACT_SHEET, COVERAGE_MAP, PREVIEW, RADIANCE, RECORD, TABLE } from './hand-over/names.js';
export { relabelSet } from './hand-over/relabel.js';
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
} from './hand-over/sidecar.js';
export { type TableRow, tableText } from './hand-over/table.js';
export { differsFrom, isSameExposure } from './judge/agree.js';
export {
  type AskedExposure,
  type AskedOffset,
  judge,
  judgeMetered,
  type MeteredVerdict,
  recordedTv,
  type Verdict,
} from './judge/judge.js';
export {
  compareLight,
  type LightComparison,
  type LightRatio,
  type LitFrame,
  lightRatio,
  type OddLight,
} from './judge/ratios.js';
export { type OddSize, oddSizeSentence, oddSizes, type SizedFrame } from './judge/sizes.js';
export {
  judgeWhole,
  mustBeWhole,
  unprovedSentence,
  type WholeFrame,
  type WholeOptions,
} from './judge/whole-frame.js';
export { ExifToolProcess, exifTool } from './read/exiftool.js';
export { kindOf } from './read/kind.js';
export type { LightGrid } from './read/light-grid.js';
export { type Picture, readPicture, smallPicture } from './read/picture.js';
export { isSameSize, readPixelSize } from './read/pixel-size.js';
export { type RawPreview, readRawPreview, readRawRecorded, shownPreview } from './read/raw.js';
export { readRecorded } from './read/recorded.js';
export type { RecordedExposure } from './read/recorded-exposure.js';
export { hasParts, type TakenAt, wallOf } from './read/taken-at.js';
export { kindInWords, ownFirst, shownFirst } from './read/two-files.js';
export { readWholeness, type Wholeness } from './wholeness/index.js';

/** Loads the libraries that read what files record. They are left out of the start, so that the daemon is ready at once. */
export async function warmUp(): Promise<void> {
  await Promise.all([import('exifreader'), import('file-type')]);
}
