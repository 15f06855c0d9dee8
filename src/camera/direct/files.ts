// Brings files of the camera onto this computer's disk, piece by piece. The file in the camera stays.
import { type FileHandle, link, open, rm } from 'node:fs/promises';
import path from 'node:path';
import { EvenrungError } from '../../../shared/errors.js';
import { bringingFailed, RESULT } from '../library/result-codes.js';
import type { AskedPiece, BringOptions, MadeFile, Piece } from '../link.js';
import { frameNotStored } from '../not-stored.js';
import { CallFailure } from './calls.js';
import { type File, type FilePath, NORMAL, type Out } from './gp.js';
import { made } from './memory.js';
import { ask, mustBeThere, type Session } from './session.js';
import { SPOOL, Spool } from './spool.js';

/**
 * The library does not notice if a body sends more than it was asked for, and copies all of it: there must be
 * room for so much more.
 */
const SLACK = 2;

/** A file on this computer that takes pieces. */
interface Taking {
  readonly to: string;
  readonly handle: FileHandle;
  /** How many bytes it has, those included that are being written. */
  bytes: number;
  /** Settles when all of them are on disk. */
  writing: Promise<void>;
}

/** The buffer that a piece is read into; the system provides memory only for the part that is used. */
interface Room {
  readonly bytes: Buffer;
  /** Settles when its content has been written. */
  written: Promise<void>;
}

/** A piece on its way. */
interface Coming {
  readonly asked: AskedPiece;
  /** Settles when the library is free again; whether it gave the piece. Never rejects. */
  readonly isRead: Promise<boolean>;
  /** Settles when the piece has come as far as `Piece` says. */
  readonly piece: Promise<Piece>;
}

export class Files {
  private readonly session: Session;
  private readonly spool = new Spool();
  /** The most bytes that one call of the library asks for. */
  private pieceBytes = 1024 * 1024;
  /** The next one first. */
  private rooms: Room[] = [];
  /** The file whose next piece is going to be asked for, as a rule. */
  private taking: Taking | undefined;
  /** A piece that was fetched before anybody has asked for it. */
  private ahead: Coming | undefined;

  constructor(session: Session) {
    this.session = session;
  }

  /** @param bytes the most that one call of the library asks for from now on */
  setPiece(bytes: number): void {
    if (bytes !== this.pieceBytes) this.rooms = [];
    this.pieceBytes = bytes;
  }

  /** Takes a file out of the library's memory. */
  rescue(at: FilePath): Promise<MadeFile> {
    return this.whole(at, (bytes) => this.spool.put(at.name, bytes));
  }

  /** As Link.bring. */
  async bring(options: BringOptions): Promise<Piece> {
    const { file } = options;
    if (file.folder === SPOOL) {
      const piece = await this.fromSpool(options);
      if (piece.isEnd) await this.spool.forget(file);
      return piece;
    }
    try {
      const { isRead, piece } = (await this.fromAhead(options)) ?? this.begin(options);
      if ((await isRead) && options.next !== undefined) this.ahead = this.begin(options.next);
      return await piece;
    } catch (cause) {
      if (!(cause instanceof CallFailure)) throw cause;
      if (cause.code !== RESULT.notSupported) throw await this.failed(cause, file);
    }
    // Neither body nor library can read a part of such a file.
    try {
      return await this.whole(file, (bytes) => this.store(options, bytes));
    } catch (cause) {
      throw cause instanceof CallFailure ? await this.failed(cause, file) : cause;
    }
  }

  /** Nothing more is brought. Never rejects. */
  async close(): Promise<void> {
    await this.ahead?.piece.catch(() => undefined);
    const { taking } = this;
    this.taking = undefined;
    if (taking !== undefined) await finish(taking).catch(() => undefined);
  }

  /**
   * @returns the piece that was fetched ahead, if it is the one that is asked for now; if not, nothing of
   *   it is under way any more
   */
  private async fromAhead({ to, from, most }: AskedPiece): Promise<Coming | undefined> {
    const { ahead } = this;
    this.ahead = undefined;
    if (ahead === undefined) return undefined;
    const { asked } = ahead;
    if (asked.to === to && asked.from === from && asked.most === most) return ahead;
    await ahead.piece.catch(() => undefined);
    return undefined;
  }

  private begin(asked: AskedPiece): Coming {
    let isFree: (isRead: boolean) => void = () => undefined;
    const isRead = new Promise<boolean>((resolve) => {
      isFree = resolve;
    });
    const piece = this.inPieces(asked, () => isFree(true)).finally(() => isFree(false));
    // A failure reaches whoever asks for the piece.
    piece.catch(() => undefined);
    return { asked, isRead, piece };
  }

  /**
   * A piece from the middle of a file is on disk only when the next one has been asked for: the next is read
   * while it is written. Disks take 1 to 15 ms for 8 MiB, and otherwise nothing would come over the cable
   * meanwhile.
   * @param read called as soon as the library has delivered it
   */
  private async inPieces({ file, to, from, most }: AskedPiece, read: () => void): Promise<Piece> {
    const taking = await this.fileFor(to, from);
    let isEnd = false;
    let isKept = false;
    try {
      while (!isEnd && taking.bytes < from + most) {
        const wanted = Math.min(this.pieceBytes, from + most - taking.bytes);
        const got = await this.readPiece(file, taking, wanted);
        isEnd = got === 0 || (file.bytes === null ? got < wanted : taking.bytes >= file.bytes);
      }
      isKept = from > 0 && !isEnd;
      if (isKept) this.taking = taking;
      read();
      if (!isKept) await taking.writing;
      return { bytes: taking.bytes - from, isEnd };
    } catch (cause) {
      throw cause instanceof CallFailure || cause instanceof EvenrungError
        ? cause
        : frameNotStored(path.dirname(to), cause);
    } finally {
      if (!isKept) await taking.handle.close();
    }
  }

  /** @returns the file that is open already, if this piece follows on from its end */
  private async fileFor(to: string, from: number): Promise<Taking> {
    const { taking } = this;
    // A head goes between two pieces of another file.
    if (from > 0) this.taking = undefined;
    if (from > 0 && taking !== undefined) {
      if (taking.to === to && taking.bytes === from) return taking;
      // If this failed, the next piece of the file finds out.
      await finish(taking).catch(() => undefined);
    }
    return { to, handle: await openAt(to, from), bytes: from, writing: Promise.resolve() };
  }

  /**
   * @returns how many bytes came; they are still being written.
   * @throws CallFailure, and the error of the piece before
   */
  private async readPiece(file: MadeFile, taking: Taking, wanted: number): Promise<number> {
    const room = (this.rooms.length < ROOMS ? undefined : this.rooms.shift()) ?? newRoom(this.pieceBytes);
    this.rooms.push(room);
    await room.written;
    const got = await this.read(file, taking.bytes, room.bytes, wanted);
    await taking.writing;
    taking.writing = writeAll(taking.handle, room.bytes.subarray(0, got), taking.bytes);
    room.written = taking.writing.catch(() => undefined);
    taking.bytes += got;
    return got;
  }

  /** @returns how many bytes came. @throws CallFailure */
  private async read({ folder, name }: FilePath, at: number, room: Buffer, wanted: number): Promise<number> {
    const size: [number | bigint] = [wanted];
    await ask(this.session, this.session.gp.gp_camera_file_read, folder, name, NORMAL, at, room, size);
    const got = Number(size[0]);
    if (got > wanted) throw new CallFailure(RESULT.io);
    return got;
  }

  /** @param use takes bytes that exist only until it has settled */
  private async whole<T>({ folder, name }: FilePath, use: (bytes: Buffer) => Promise<T>): Promise<T> {
    const { gp } = this.session;
    const file: File = made(gp.gp_file_new);
    try {
      await ask(this.session, gp.gp_camera_file_get, folder, name, NORMAL, file);
      const data: Out<bigint> = [null];
      const size: Out<number | bigint> = [null];
      const code = gp.gp_file_get_data_and_size(file, data, size);
      if (code < 0) throw new CallFailure(code);
      const bytes = Number(size[0] ?? 0);
      return await use(data[0] && bytes > 0 ? Buffer.from(gp.koffi.view(data[0], bytes)) : Buffer.alloc(0));
    } finally {
      gp.gp_file_unref(file);
    }
  }

  private async store({ to, from }: BringOptions, bytes: Buffer): Promise<Piece> {
    const handle = await openAt(to, from);
    try {
      await writeAll(handle, bytes.subarray(from), from);
    } catch (cause) {
      throw frameNotStored(path.dirname(to), cause);
    } finally {
      await handle.close();
    }
    return { bytes: Math.max(0, bytes.length - from), isEnd: true };
  }

  private async fromSpool({ file, to, from, most }: BringOptions): Promise<Piece> {
    const kept = await this.spool.find(file);
    const bytes = Math.max(0, Math.min(most, kept.bytes - from));
    const isWhole = from === 0 && bytes === kept.bytes;
    if (isWhole && typeof kept.at === 'string' && (await isLinked(kept.at, to)))
      return { bytes, isEnd: true };
    const handle = await openAt(to, from);
    try {
      if (typeof kept.at === 'string') await copyRange(kept.at, handle, from, bytes);
      else await writeAll(handle, kept.at.subarray(from, from + bytes), from);
    } catch (cause) {
      throw frameNotStored(path.dirname(to), cause);
    } finally {
      await handle.close();
    }
    return { bytes, isEnd: from + bytes >= kept.bytes };
  }

  private async failed({ code }: CallFailure, { name }: FilePath): Promise<EvenrungError> {
    const failed = bringingFailed(code, name);
    if (failed.code !== 'file-not-there') return failed;
    return mustBeThere(this.session).then(
      () => failed,
      (cause: unknown) => (cause instanceof CallFailure ? bringingFailed(cause.code, name) : failed),
    );
  }
}

/** One is read into while the other one is written. */
const ROOMS = 2;

const newRoom = (pieceBytes: number): Room => ({
  bytes: Buffer.allocUnsafeSlow(pieceBytes * SLACK),
  written: Promise.resolve(),
});

async function finish({ handle, writing }: Taking): Promise<void> {
  try {
    await writing;
  } finally {
    await handle.close();
  }
}

/** @throws EvenrungError storing-failed */
async function openAt(to: string, from: number): Promise<FileHandle> {
  try {
    const handle = await open(to, from === 0 ? 'w' : 'r+');
    try {
      if (from > 0 && (await handle.stat()).size < from)
        throw new Error('what was brought before is missing');
      if (from > 0) await handle.truncate(from);
      return handle;
    } catch (cause) {
      await handle.close();
      throw cause;
    }
  } catch (cause) {
    throw frameNotStored(path.dirname(to), cause);
  }
}

/** A second name for a file costs nothing. @returns false if there can be none, as on another disk */
async function isLinked(file: string, to: string): Promise<boolean> {
  try {
    await rm(to, { force: true });
    await link(file, to);
    return true;
  } catch {
    return false;
  }
}

async function writeAll(handle: FileHandle, bytes: Buffer, at: number): Promise<void> {
  for (let done = 0; done < bytes.length; ) {
    done += (await handle.write(bytes, done, bytes.length - done, at + done)).bytesWritten;
  }
}

const COPY_BYTES = 1024 * 1024;

async function copyRange(source: string, to: FileHandle, from: number, bytes: number): Promise<void> {
  const handle = await open(source, 'r');
  const room = Buffer.allocUnsafe(Math.min(COPY_BYTES, bytes));
  try {
    for (let done = 0; done < bytes; ) {
      const { bytesRead } = await handle.read(room, 0, Math.min(room.length, bytes - done), from + done);
      if (bytesRead === 0) break;
      await writeAll(to, room.subarray(0, bytesRead), from + done);
      done += bytesRead;
    }
  } finally {
    await handle.close();
  }
}
