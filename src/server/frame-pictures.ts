// Pictures of kept frames, made when somebody looks at them: small copies, and the preview that a raw file
// contains. Only a few are made at a time, and the small ones are kept in memory up to a limit, since a run
// may be under way meanwhile.
import path from 'node:path';
import { EvenrungError } from '../../shared/errors.js';
import { readPicture, shownPreview } from '../frames/index.js';

const AT_ONCE = 2;
/** Some 800 small copies. */
const MOST_BYTES = 8 * 1024 * 1024;

/** A frame's file as it is right now. */
export interface KeptFile {
  readonly path: string;
  /** Differs if the file has changed. */
  readonly tag: string;
}

export class FramePictures {
  private readonly mostBytes: number;
  /** The longest unused first. */
  private readonly kept = new Map<string, Buffer>();
  private bytes = 0;
  private readonly underWay = new Map<string, Promise<Buffer>>();
  private free = AT_ONCE;
  private readonly waiting: (() => void)[] = [];

  constructor(mostBytes = MOST_BYTES) {
    this.mostBytes = mostBytes;
  }

  /** Bytes of the copies that are kept. */
  get size(): number {
    return this.bytes;
  }

  /**
   * @returns a small JPEG
   * @throws EvenrungError not-found if nothing in the file can be shown, frame-unreadable
   */
  async small(file: KeptFile): Promise<Buffer> {
    const key = `${file.path}\0${file.tag}`;
    const known = this.kept.get(key);
    if (known !== undefined) {
      this.kept.delete(key);
      this.kept.set(key, known);
      return known;
    }
    return this.once(key, async () => {
      const picture = await readPicture(file.path, extensionOf(file));
      if (picture === null) throw nothingToShow(file);
      this.keep(key, picture.thumbnail);
      return picture.thumbnail;
    });
  }

  /**
   * @param file a file that is not a JPEG
   * @returns the JPEG in it
   * @throws EvenrungError not-found, frame-unreadable
   */
  preview(file: KeptFile): Promise<Buffer> {
    return this.once(`${file.path}\0${file.tag}\0preview`, async () => {
      const jpeg = await shownPreview(file.path);
      if (jpeg === null) throw nothingToShow(file);
      return jpeg;
    });
  }

  /** If the same picture is being made already, the caller gets that one. */
  private once(key: string, work: () => Promise<Buffer>): Promise<Buffer> {
    const same = this.underWay.get(key);
    if (same !== undefined) return same;
    const made = this.inTurn(work).finally(() => this.underWay.delete(key));
    this.underWay.set(key, made);
    return made;
  }

  private async inTurn<T>(work: () => Promise<T>): Promise<T> {
    if (this.free > 0) this.free -= 1;
    else await new Promise<void>((resolve) => this.waiting.push(resolve));
    try {
      return await work();
    } finally {
      const next = this.waiting.shift();
      if (next === undefined) this.free += 1;
      else next();
    }
  }

  private keep(key: string, picture: Buffer): void {
    this.kept.set(key, picture);
    this.bytes += picture.length;
    for (const [oldest, old] of this.kept) {
      if (this.bytes <= this.mostBytes) return;
      this.kept.delete(oldest);
      this.bytes -= old.length;
    }
  }
}

const extensionOf = ({ path: file }: KeptFile): string => path.extname(file).slice(1).toLowerCase();

const nothingToShow = ({ path: file }: KeptFile): EvenrungError =>
  new EvenrungError(
    'not-found',
    `${path.basename(file)} holds no picture that can be shown here: open the file itself.`,
  );
