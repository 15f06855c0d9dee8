// Gives a set that has ended another name, note or viewpoint: in its record, in the sidecars beside its
// frames, and in the list of checksums if that lists them. Frames are never touched. The contact sheet is
// drawn anew from them, unless one of them cannot be read.
import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { EvenrungError } from '../../../shared/errors.js';
import { whyRefused } from '../../../shared/refused.js';
import { type KeptSetRecord, readSetRecord, SET_RECORD_VERSION } from '../../../shared/set-record.js';
import { putWhole, syncFolder } from '../../system/index.js';
import { pictures } from '../decode/pictures.js';
import { fileInside } from '../folder/inside.js';
import { readPicture } from '../read/picture.js';
import { type Checksum, checksumOf, parseSums, SUMS, sumsText } from './checksum.js';
import { shownFilesOf } from './files-of.js';
import { sheetOf } from './hand-over.js';
import { sheetLightIn } from './light-files.js';
import { CONTACT_SHEET, RECORD, recordText } from './names.js';
import { relabelledSidecar, type SidecarLabels } from './sidecar.js';

/**
 * Every file is replaced whole. The record comes after the sidecars, so that if it is not reached, the same
 * call made once more puts it right.
 * @param ids the identifiers that the record may give the set
 * @returns whether the record of this set was there
 * @throws EvenrungError record-unreadable, storing-failed
 */
export async function relabelSet(
  folder: string,
  ids: readonly string[],
  labels: SidecarLabels,
): Promise<boolean> {
  const text = await textInside(folder, RECORD);
  if (text === null) return false;
  const { record, version } = readSetRecord(text);
  // The folder may have been given to another set.
  if (!ids.includes(record.id)) return false;
  // Fields that this program does not know, in a record of its own version, are kept.
  const kept = version === SET_RECORD_VERSION ? (JSON.parse(text) as object) : record;
  const { name, note, viewpoint } = labels;
  const changed: string[] = [];
  const write: Write = async (file, content) => {
    await storing(folder, async () => {
      await putWhole(path.join(folder, file), content);
      await syncFolder(folder);
    });
    changed.push(file);
  };
  const sidecars = record.frames.flatMap(({ sidecar, partner }) => [
    sidecar,
    partner?.state === 'there' ? partner.sidecar : null,
  ]);
  for (const sidecar of sidecars) {
    const before = sidecar === null ? null : await textInside(folder, sidecar);
    const after = before === null ? null : relabelledSidecar(before, record, labels);
    if (sidecar !== null && after !== null && after !== before) await write(sidecar, after);
  }
  if (name !== record.name) await titleSheet(folder, { ...record, name }, write);
  await write(RECORD, recordText({ ...kept, name, note, viewpoint }));
  const listed = await textInside(folder, SUMS);
  const sums = listed === null ? null : await sumsAnew(folder, listed, changed);
  if (sums !== null && sums !== listed) await write(SUMS, sums);
  return true;
}

type Write = (file: string, content: string | Uint8Array) => Promise<void>;

/** Only if there is one: somebody who removed it does not want it back. */
async function titleSheet(folder: string, record: KeptSetRecord, write: Write): Promise<void> {
  if ((await fileInside(folder, CONTACT_SHEET).catch(() => null)) === null) return;
  const thumbnails = new Map<number, Buffer>();
  try {
    for (const frame of record.frames) {
      if (frame.state !== 'verified') continue;
      for (const { file, kind } of shownFilesOf(frame)) {
        const picture = await readPicture(await fileInside(folder, file), kind);
        if (picture === null) continue;
        thumbnails.set(frame.number, picture.thumbnail);
        break;
      }
    }
  } catch {
    // A sheet with all its pictures and its old title is worth more.
    return;
  }
  const sheet = sheetOf(record, thumbnails, await sheetLightIn(folder, record));
  await write(CONTACT_SHEET, await pictures.ask({ ask: 'sheet', sheet }));
}

/** Other lines stay as they are, whoever wrote them. */
async function sumsAnew(folder: string, listed: string, changed: readonly string[]): Promise<string> {
  const lines = listed.split('\n').map(async (line) => {
    const [sum] = parseSums(line);
    if (sum === undefined || !changed.includes(sum.file)) return line;
    const { sha256 }: Checksum = await storing(folder, () => checksumOf(path.join(folder, sum.file)));
    return sumsText([{ file: sum.file, sha256 }]).trimEnd();
  });
  return (await Promise.all(lines)).join('\n');
}

/** @returns null if there is no such file in the folder */
async function textInside(folder: string, file: string): Promise<string | null> {
  const full = await fileInside(folder, file).catch(() => null);
  return full === null ? null : storing(folder, () => readFile(full, 'utf8'));
}

async function storing<T>(folder: string, work: () => Promise<T>): Promise<T> {
  try {
    return await work();
  } catch (cause) {
    throw new EvenrungError(
      'storing-failed',
      `The set in ${folder} keeps its old name: ${whyRefused(cause)}. Check that folder and its disk, then rename the set again.`,
    );
  }
}
