// Where the practice body keeps its files: a buffer for frames that are not written yet, a card with numbered
// folders, and a memory from which they are fetched. Knows nothing of their content.
import { pause } from './pause.js';
import type { Place, PracticeOptions } from './shapes.js';

export type FileKind = 'jpeg' | 'raw';

/** A file on the card or in the body's memory. */
export interface PracticeFile {
  /** Of the card; a file in memory is in none. */
  readonly folder: string;
  /** As a camera names it: `IMG_0001.JPG`. The files of a pair differ in what follows the dot. */
  readonly name: string;
  readonly kind: FileKind;
  readonly place: Place;
  /** The frame that it is of, counted from 1 on since the body was made. */
  readonly frame: number;
  /** By the clock of the body. */
  readonly takenAt: Date;
  readonly content: Buffer;
}

/** The files of a frame before it has a number. */
export type Content = Pick<PracticeFile, 'kind' | 'content'>;

/** The bytes of this many frames are kept; older ones only count. A practice run of thousands must not fill the memory. */
export const FRAMES_KEPT = 32;

const EXTENSIONS: Readonly<Record<FileKind, string>> = { jpeg: 'JPG', raw: 'DNG' };
const FIRST_FOLDER = 100;

export class Store {
  /** The latest files, oldest first, wherever they are. */
  readonly files: PracticeFile[] = [];
  private readonly options: PracticeOptions;
  private counted = 0;
  private onCard = 0;
  /** By frame, the names of its files that keep it in the buffer: not written yet, or not fetched. */
  private readonly buffer = new Map<number, Set<string>>();
  private waiting: (() => void)[] = [];
  private writing: Promise<void> = Promise.resolve();

  constructor(options: PracticeOptions) {
    this.options = options;
  }

  /** Frames that the card still has room for. */
  get framesLeft(): number {
    return Math.max(0, this.options.cardFrames - this.onCard);
  }

  get hasRoom(): boolean {
    return this.buffer.size < this.options.bufferFrames;
  }

  /** Resolves once there is room for another frame in the buffer. */
  async room(): Promise<void> {
    while (!this.hasRoom) await new Promise<void>((resolve) => this.waiting.push(resolve));
  }

  /** Puts a frame into the buffer. @returns its files, and when they are on the card, or in memory ready to be fetched */
  take(contents: readonly Content[], takenAt: Date, place: Place) {
    this.counted += 1;
    if (place === 'card') this.onCard += 1;
    const frame = this.counted;
    const { folder, number } = this.placeOf(frame);
    const files = contents.map(({ kind, content }): PracticeFile => {
      const name = `IMG_${String(number).padStart(4, '0')}.${EXTENSIONS[kind]}`;
      return { folder, name, kind, place, frame, takenAt, content };
    });
    this.buffer.set(frame, new Set(files.map(({ name }) => name)));
    this.writing = this.writing.then(() => this.write(files, place));
    return { files, written: this.writing };
  }

  /** A file was fetched from the memory, which need not hold it any longer. */
  fetched({ frame, name }: PracticeFile): void {
    const names = this.buffer.get(frame);
    names?.delete(name);
    if (names?.size === 0) this.leave(frame);
  }

  /** @returns false if there is none such any more */
  delete(file: PracticeFile): boolean {
    const at = this.files.findIndex((one) => isSame(one, file));
    if (at < 0) return false;
    this.files.splice(at, 1);
    this.fetched(file);
    return true;
  }

  /** Files that are other ones now take the places of those that they were; one under a name of its own comes after them. */
  replace(files: readonly PracticeFile[], changed: readonly PracticeFile[]): void {
    for (const [index, file] of changed.entries()) {
      const before = files[index];
      const at = before === undefined ? -1 : this.files.indexOf(before);
      if (at >= 0) this.files[at] = file;
      else if (!this.files.some((one) => isSame(one, file))) this.files.push(file);
    }
  }

  private async write(files: readonly PracticeFile[], place: Place): Promise<void> {
    if (place === 'card') await pause(this.options.timing.write ?? 0);
    this.files.push(...files);
    const oldest = this.files.findIndex(({ frame }) => frame > this.counted - FRAMES_KEPT);
    for (const { frame } of oldest > 0 ? this.files.splice(0, oldest) : []) this.leave(frame);
    for (const { frame } of files) if (place === 'card') this.leave(frame);
  }

  private leave(frame: number): void {
    this.buffer.delete(frame);
    const waiting = this.waiting;
    this.waiting = [];
    for (const go of waiting) go();
  }

  private placeOf(frame: number): { folder: string; number: number } {
    const { framesPerFolder } = this.options;
    const folder = FIRST_FOLDER + Math.floor((frame - 1) / framesPerFolder);
    return { folder: `${folder}EVRNG`, number: 1 + ((frame - 1) % framesPerFolder) };
  }
}

/** Whether they are one file, whatever became of its content. */
const isSame = (one: PracticeFile, other: PracticeFile): boolean =>
  one.folder === other.folder && one.name === other.name && one.place === other.place;
