// What a body shows of its files over PTP: one storage with the folders that cameras make, and object handles for the files that the
// practice body keeps. Also the pictures in its memory, which are on no storage and only wait to be fetched.
import type { FileKind, PracticeBody, PracticeFile } from '../../../src/camera/practice/model.js';
import { OBJECT_FORMAT } from './codes.js';
import { isAny, NO_PARENT, type ObjectInfo } from './datasets.js';

export const STORAGE = 0x00020001;
const ROOT_FOLDER = 0x90000000;
const FIRST_FOLDER = 0x91000000;
const FIRST_PICTURE = 0x91900001;

const EMPTY_FOLDER = '100EVRNG';

const START = new Date(2026, 0, 1);

export class Card {
  private readonly body: PracticeBody;
  private readonly rawFormat: number;
  /** By handle, for as long as the body keeps them. */
  private readonly objects = new Map<number, PracticeFile>();
  /** The latest handle of a file on the card, by where it lies. */
  private readonly handleAt = new Map<string, number>();
  private readonly folders = new Map<string, number>();
  private nextHandle = FIRST_PICTURE;

  /** @param rawFormat the object format of a raw file, which each family of bodies has its own of */
  constructor(body: PracticeBody, rawFormat: number) {
    this.body = body;
    this.rawFormat = rawFormat;
    this.folder(EMPTY_FOLDER);
  }

  get pictures(): readonly PracticeFile[] {
    return this.body.files.filter(({ place }) => place === 'card');
  }

  get freeImages(): number {
    return this.body.framesLeft;
  }

  formatOf(kind: FileKind): number {
    return kind === 'raw' ? this.rawFormat : OBJECT_FORMAT.exifJpeg;
  }

  /** @returns the object handle of the new picture: another one each time */
  add(file: PracticeFile): number {
    const handle = this.nextHandle;
    this.nextHandle += 1;
    this.objects.set(handle, file);
    if (file.place === 'card') this.handleAt.set(pathOf(file), handle);
    // The body lets the oldest files go; so must the handles.
    for (const [old, kept] of this.objects) if (this.now(kept) === undefined) this.objects.delete(old);
    return handle;
  }

  /** @returns the handle of a folder */
  folder(name: string): number {
    const handle = this.folders.get(name) ?? FIRST_FOLDER + this.folders.size;
    this.folders.set(name, handle);
    return handle;
  }

  /** Whether a folder has no handle yet. */
  isNewFolder(name: string): boolean {
    return !this.folders.has(name);
  }

  /** A picture was sent whole: the memory need not hold it any longer. */
  sent(handle: number): void {
    const file = this.objects.get(handle);
    if (file?.place === 'memory') this.body.fetched(file);
  }

  /** A picture in memory was fetched and is not needed any more. */
  forget(handle: number): boolean {
    if (this.objects.get(handle)?.place !== 'memory') return false;
    this.sent(handle);
    return this.objects.delete(handle);
  }

  delete(handle: number): boolean {
    const file = this.objects.get(handle);
    return file?.place === 'card' && this.body.delete(file) && this.objects.delete(handle);
  }

  picture(handle: number): Buffer | undefined {
    const file = this.objects.get(handle);
    return file && this.now(file)?.content;
  }

  /** @returns false if the body is busy with its shutter, and sends nothing */
  maySend(): Promise<boolean> {
    return this.body.maySend();
  }

  /** @param folder the parent; 0 for every object of the storage, 0xffffffff for the root */
  handles(folder: number): number[] {
    const pictures = this.pictures.map((file) => ({ handle: this.handleOf(file), file }));
    // An empty card has its first folder already.
    const names = pictures.length > 0 ? pictures.map(({ file }) => file.folder) : [EMPTY_FOLDER];
    const folders = [...new Set(names.map((name) => this.folder(name)))];
    if (folder === 0) return [ROOT_FOLDER, ...folders, ...pictures.map(({ handle }) => handle)];
    if (isAny(folder)) return [ROOT_FOLDER];
    if (folder === ROOT_FOLDER) return folders;
    return pictures.filter(({ file }) => this.folder(file.folder) === folder).map(({ handle }) => handle);
  }

  info(handle: number): ObjectInfo | undefined {
    const folder = this.folderInfo(handle);
    if (folder !== undefined) {
      return { storage: STORAGE, format: OBJECT_FORMAT.association, size: 0, takenAt: START, ...folder };
    }
    const known = this.objects.get(handle);
    const file = known && this.now(known);
    if (file === undefined) return undefined;
    const { name, kind, content, takenAt } = file;
    const place =
      file.place === 'card'
        ? { storage: STORAGE, parent: this.folder(file.folder) }
        : { storage: 0, parent: NO_PARENT };
    return { ...place, name, format: this.formatOf(kind), size: content.length, takenAt };
  }

  private folderInfo(handle: number): { readonly name: string; readonly parent: number } | undefined {
    if (handle === ROOT_FOLDER) return { name: 'DCIM', parent: NO_PARENT };
    for (const [name, own] of this.folders) if (own === handle) return { name, parent: ROOT_FOLDER };
    return undefined;
  }

  private handleOf(file: PracticeFile): number {
    return this.handleAt.get(pathOf(file)) ?? this.add(file);
  }

  /** The file as it is now, or undefined if the body has let it go; what is in memory stays until it is fetched. */
  private now(file: PracticeFile): PracticeFile | undefined {
    if (file.place === 'memory') return file;
    return this.pictures.find((one) => pathOf(one) === pathOf(file));
  }
}

const pathOf = ({ folder, name }: PracticeFile): string => `${folder}/${name}`;
