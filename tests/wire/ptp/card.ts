// What a body shows of its files over PTP: one storage with the two folders that cameras make, and object handles for the
// files that the practice body keeps. Also the pictures in its memory, which are on no storage and only wait to be fetched.
import type { PracticeBody, PracticeFile } from '../../../src/camera/practice/model.js';
import { OBJECT_FORMAT } from './codes.js';
import { isAny, NO_PARENT, type ObjectInfo } from './datasets.js';

export const STORAGE = 0x00020001;
const ROOT_FOLDER = 0x90000000;
const PICTURE_FOLDER = 0x91000000;
const FIRST_PICTURE = 0x91900001;

const FOLDERS: ReadonlyMap<number, { readonly name: string; readonly parent: number }> = new Map([
  [ROOT_FOLDER, { name: 'DCIM', parent: NO_PARENT }],
  [PICTURE_FOLDER, { name: '100EVRNG', parent: ROOT_FOLDER }],
]);

const START = new Date(2026, 0, 1);

export class Card {
  private readonly body: PracticeBody;
  private readonly onCard = new Map<number, PracticeFile>();
  private readonly inMemory = new Map<number, PracticeFile>();
  private nextHandle = FIRST_PICTURE;

  constructor(body: PracticeBody) {
    this.body = body;
  }

  /** The handle of the folder that new pictures go to. */
  readonly folder = PICTURE_FOLDER;

  get pictures(): readonly PracticeFile[] {
    return [...this.onCard.values()];
  }

  get freeImages(): number {
    return this.body.framesLeft;
  }

  /** @returns the object handle of the new picture */
  add(file: PracticeFile, place: 'card' | 'memory'): number {
    const handle = this.nextHandle;
    this.nextHandle += 1;
    if (place === 'memory') {
      this.inMemory.set(handle, file);
      return handle;
    }
    this.onCard.set(handle, file);
    // The body lets the oldest files go; so must the handles.
    for (const [old, kept] of this.onCard) if (!this.body.files.includes(kept)) this.onCard.delete(old);
    return handle;
  }

  /** A picture in memory was fetched and is not needed any more. */
  forget(handle: number): boolean {
    return this.inMemory.delete(handle);
  }

  delete(handle: number): boolean {
    const file = this.onCard.get(handle);
    if (file === undefined) return false;
    this.body.files.splice(this.body.files.indexOf(file), 1);
    return this.onCard.delete(handle);
  }

  picture(handle: number): Buffer | undefined {
    return (this.onCard.get(handle) ?? this.inMemory.get(handle))?.content;
  }

  /** @param folder the parent; 0 for every object of the storage, 0xffffffff for the root */
  handles(folder: number): number[] {
    if (folder === 0) return [...FOLDERS.keys(), ...this.onCard.keys()];
    const parent = isAny(folder) ? NO_PARENT : folder;
    const folders = [...FOLDERS].filter(([, entry]) => entry.parent === parent).map(([handle]) => handle);
    return parent === PICTURE_FOLDER ? [...folders, ...this.onCard.keys()] : folders;
  }

  info(handle: number): ObjectInfo | undefined {
    const folder = FOLDERS.get(handle);
    if (folder !== undefined) {
      return { storage: STORAGE, format: OBJECT_FORMAT.association, size: 0, takenAt: START, ...folder };
    }
    const file = this.onCard.get(handle);
    if (file === undefined) return undefined;
    return {
      storage: STORAGE,
      parent: PICTURE_FOLDER,
      name: file.name,
      format: OBJECT_FORMAT.exifJpeg,
      size: file.content.length,
      takenAt: file.takenAt,
    };
  }
}
