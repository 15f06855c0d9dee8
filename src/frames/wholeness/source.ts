// Bytes of a file by their place, a window at a time: structures are read in small pieces that lie near each other.
import { type FileHandle, open } from 'node:fs/promises';

export interface Source {
  /** Bytes. */
  readonly size: number;
  /** @returns fewer bytes if the file ends before; none past its end */
  read(at: number, bytes: number): Promise<Buffer>;
}

const WINDOW_BYTES = 64 * 1024;

class FileSource implements Source {
  readonly size: number;
  private readonly handle: FileHandle;
  private window: Buffer = Buffer.alloc(0);
  private windowAt = 0;

  constructor(handle: FileHandle, size: number) {
    this.handle = handle;
    this.size = size;
  }

  async read(at: number, bytes: number): Promise<Buffer> {
    const length = Math.max(0, Math.min(bytes, this.size - at));
    if (length === 0) return Buffer.alloc(0);
    const isHere = at >= this.windowAt && at + length <= this.windowAt + this.window.length;
    if (!isHere) {
      this.window = await this.readNow(at, Math.max(length, WINDOW_BYTES));
      this.windowAt = at;
    }
    const from = at - this.windowAt;
    return this.window.subarray(from, from + length);
  }

  private async readNow(at: number, bytes: number): Promise<Buffer> {
    const buffer = Buffer.allocUnsafe(Math.min(bytes, this.size - at));
    let filled = 0;
    while (filled < buffer.length) {
      const { bytesRead } = await this.handle.read(buffer, filled, buffer.length - filled, at + filled);
      // It became shorter meanwhile.
      if (bytesRead === 0) break;
      filled += bytesRead;
    }
    return buffer.subarray(0, filled);
  }
}

/** @throws the error of the file system */
export async function withSource<T>(file: string, work: (source: Source) => Promise<T>): Promise<T> {
  const handle = await open(file, 'r');
  try {
    return await work(new FileSource(handle, (await handle.stat()).size));
  } finally {
    await handle.close();
  }
}
