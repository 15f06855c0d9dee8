// The files on the cards, listed anew each time: the library remembers listings, and gives files that it saw
// coming this computer's time in place of their own.

import { readingFailed } from '../library/result-codes.js';
import type { ListedFile } from '../link.js';
import { CallFailure } from './calls.js';
import { sizeOf } from './ears.js';
import { type FileInfo, type FileSystem, INFO, type List } from './gp.js';
import { FILE_SYSTEM_AT } from './layout.js';
import { entriesOf, made } from './memory.js';
import { ask, mustBeThere, type Session } from './session.js';

/** Of each card: the folder that is written into, and the one before it. */
const NEWEST_FOLDERS = 2;
/** The folder that holds the folders of pictures (DCF 2.0, 3.2.1). */
const PICTURES = 'DCIM';

/** As Link.list. */
export async function listCards(session: Session): Promise<readonly ListedFile[]> {
  try {
    await mustBeThere(session);
    forgetListings(session);
    const files: ListedFile[] = [];
    for (const folder of await newestFolders(session, NEWEST_FOLDERS))
      files.push(...(await filesIn(session, folder)));
    return files;
  } catch (cause) {
    throw cause instanceof CallFailure ? readingFailed(cause.code) : cause;
  }
}

/**
 * Has the library list the folders that are written into. Of most families it does so when the body tells of the first new file, and asks for
 * each file that lies there: with a full card that takes seconds, in the middle of a set.
 * @throws EvenrungError body-lost, body-busy
 */
export async function getToKnowCards(session: Session): Promise<void> {
  try {
    for (const folder of await newestFolders(session, 1))
      await names(session, 'gp_camera_folder_list_files', folder);
  } catch (cause) {
    throw cause instanceof CallFailure ? readingFailed(cause.code) : cause;
  }
}

/** @returns the newest folders of each card, at most so many of each */
async function newestFolders(session: Session, most: number): Promise<string[]> {
  const folders: string[] = [];
  for (const card of await names(session, 'gp_camera_folder_list_folders', '/'))
    folders.push(...(await foldersOfPictures(session, `/${card}`)).sort(byName).slice(-most));
  return folders;
}

function forgetListings({ gp, camera }: Session): void {
  gp.gp_filesystem_reset(gp.koffi.decode(camera, FILE_SYSTEM_AT, 'void *') as FileSystem);
}

const lastPart = (folder: string): string => folder.slice(folder.lastIndexOf('/') + 1);

/** Cameras number their folders upwards: 100ABCDE, 101ABCDE (DCF 2.0, 3.2.2; from memory, as the other one). */
const byName = (one: string, other: string): number => (lastPart(one) < lastPart(other) ? -1 : 1);

/**
 * No deeper than needed: to list the folders below a folder, the library asks the body for each file in it.
 */
async function foldersOfPictures(session: Session, card: string): Promise<string[]> {
  const folders = await names(session, 'gp_camera_folder_list_folders', card);
  if (!folders.includes(PICTURES)) return [];
  const inside = await names(session, 'gp_camera_folder_list_folders', `${card}/${PICTURES}`);
  return inside.map((name) => `${card}/${PICTURES}/${name}`);
}

async function filesIn(session: Session, folder: string): Promise<ListedFile[]> {
  const files: ListedFile[] = [];
  for (const name of await names(session, 'gp_camera_folder_list_files', folder)) {
    const info: Partial<FileInfo> = {};
    await ask(session, session.gp.gp_camera_file_get_info, folder, name, info);
    files.push({ folder, name, bytes: sizeOf(info), writtenAt: writtenAt(info) });
  }
  return files;
}

async function names(
  session: Session,
  which: 'gp_camera_folder_list_folders' | 'gp_camera_folder_list_files',
  folder: string,
): Promise<string[]> {
  const { gp } = session;
  const list: List = made(gp.gp_list_new);
  try {
    await ask(session, gp[which], folder, list);
    return entriesOf(gp, list).map(([name]) => name);
  } catch (cause) {
    if (!(cause instanceof CallFailure)) throw cause;
    // Bodies of 0x11 keep their card to themselves while a computer has control: the library knows a card, and cannot list it.
    await mustBeThere(session);
    return [];
  } finally {
    gp.gp_list_free(list);
  }
}

const two = (number: number): string => String(number).padStart(2, '0');

/** The library reads the camera's clock as if it stood in this computer's zone: taken back, it is as the camera wrote it. */
function writtenAt({ file }: Partial<FileInfo>): string | null {
  if (file === undefined || (file.fields & INFO.mtime) === 0) return null;
  const seconds = Number(file.mtime);
  const at = new Date(seconds * 1000);
  if (seconds <= 0 || Number.isNaN(at.getTime())) return null;
  const day = `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
  return `${day}T${two(at.getHours())}:${two(at.getMinutes())}:${two(at.getSeconds())}`;
}
