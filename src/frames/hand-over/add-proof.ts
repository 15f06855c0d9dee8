// Writes what the pictures of a set tell into its folder once it has ended: the proof of what it can become,
// and the changes that follow from it in record, table and contact sheet. Frames are never touched.
import { readFile, rename } from 'node:fs/promises';
import path from 'node:path';
import {
  type KeptFrame,
  type KeptSetRecord,
  readSetRecord,
  SET_RECORD_VERSION,
} from '../../../shared/set-record.js';
import { type Content, stageWhole, syncFolder } from '../../system/index.js';
import { pictures } from '../decode/pictures.js';
import { fileInside } from '../folder/inside.js';
import { rowOf, sheetOf } from './hand-over.js';
import { forgetLight, sheetLight } from './light-files.js';
import { CONTACT_SHEET, COVERAGE_MAP, PREVIEW, RECORD, recordText, TABLE } from './names.js';
import { tableText } from './table.js';

/** The results once a proof was made, or could not be. */
export interface Proved {
  readonly light: NonNullable<KeptSetRecord['light']>;
  /** Of each frame, by its number. */
  readonly marks: ReadonlyMap<number, KeptFrame['marks']>;
  /** PNG; null if there is none. */
  readonly map: Buffer | null;
  /** JPEG; null if there is none. */
  readonly preview: Buffer | null;
  /** The path of the radiance in the set folder, whole; null if there is none. */
  readonly radiance: { readonly from: string; readonly name: string } | null;
}

/**
 * Each file is replaced whole, the record last. Files of an earlier proof that were not made anew are
 * removed.
 * @param ids the identifiers that the record may give the set
 * @param thumbnails a small JPEG of each frame, by its number
 * @returns whether the record of this set was there; if not, nothing was written
 * @throws the error of the file system; EvenrungError record-unreadable
 */
export async function addProof(
  folder: string,
  ids: readonly string[],
  { light, marks, map, preview, radiance }: Proved,
  thumbnails: ReadonlyMap<number, Buffer>,
): Promise<boolean> {
  const text = await readFile(await fileInside(folder, RECORD), 'utf8').catch(() => null);
  if (text === null) return false;
  const { record, version } = readSetRecord(text);
  if (!ids.includes(record.id) || version !== SET_RECORD_VERSION) return false;
  const marked = <Frame extends Pick<KeptFrame, 'number' | 'marks'>>(frame: Frame): Frame => ({
    ...frame,
    marks: marks.get(frame.number) ?? frame.marks,
  });
  const proved = { ...record, light, frames: record.frames.map(marked) };
  const inFolder = (name: string) => path.join(folder, name);
  const sheet = sheetOf(proved, thumbnails, sheetLight(proved, { map, preview }));
  // Fields that this program does not know, in a record of its own version, are kept.
  const kept = JSON.parse(text) as { readonly frames: readonly Pick<KeptFrame, 'number' | 'marks'>[] };
  const contents = new Map<string, Content['content'] | null>([
    [COVERAGE_MAP, map],
    [PREVIEW, preview],
    [CONTACT_SHEET, await pictures.ask({ ask: 'sheet', sheet })],
    [TABLE, tableText(proved.frames.map((frame) => rowOf(frame, proved)))],
    [RECORD, recordText({ ...kept, light, frames: kept.frames.map(marked) })],
  ]);
  const files = [...contents].flatMap(([name, content]) =>
    content === null ? [] : [{ name, file: inFolder(name), content }],
  );
  const staged = await stageWhole(files);
  try {
    const made = [...files.map(({ name }) => name), ...(radiance === null ? [] : [radiance.name])];
    await forgetLight(folder, { but: made });
    if (radiance !== null) await rename(inFolder(radiance.from), inFolder(radiance.name));
    await staged.put();
  } catch (cause) {
    await staged.drop();
    throw cause;
  }
  await syncFolder(folder);
  return true;
}
