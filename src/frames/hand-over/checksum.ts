// Checksums of the files of a set, and the list that `sha256sum -c` reads. Knows files, no pictures.
import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { open } from 'node:fs/promises';
import { pipeline } from 'node:stream/promises';

/** The list's name in the set folder. */
export const SUMS = 'SHA256SUMS';

export interface Checksum {
  /** SHA-256 (FIPS 180-4), 64 lower-case hexadecimal digits. */
  readonly sha256: string;
  /** Bytes that were read for it. */
  readonly bytes: number;
}

/** A file of the list: its path from the list's folder on, parts separated by `/`. */
export interface ListedSum {
  readonly file: string;
  readonly sha256: string;
}

/** Disks and cards gain nothing from more readers at once; with two, one hashes while the other waits for the disk. */
const AT_ONCE = 2;

/** Reads the file as a stream, however large it is. @throws the error of the file system */
export async function checksumOf(file: string): Promise<Checksum> {
  const hash = createHash('sha256');
  let bytes = 0;
  await pipeline(createReadStream(file), async (chunks: AsyncIterable<Buffer>) => {
    for await (const chunk of chunks) {
      hash.update(chunk);
      bytes += chunk.length;
    }
  });
  return { sha256: hash.digest('hex'), bytes };
}

const END_BYTES = 64 * 1024;

/**
 * Tells one picture from another at little cost, however large they are: its length, its head and its end.
 * @returns null if the file cannot be read
 */
export async function quickDigest(file: string): Promise<string | null> {
  try {
    const handle = await open(file, 'r');
    try {
      const { size } = await handle.stat();
      const hash = createHash('sha256').update(`${size}\n`);
      for (const position of size > END_BYTES ? [0, size - END_BYTES] : [0]) {
        const { buffer, bytesRead } = await handle.read(Buffer.alloc(END_BYTES), 0, END_BYTES, position);
        hash.update(buffer.subarray(0, bytesRead));
      }
      return hash.digest('hex');
    } finally {
      await handle.close();
    }
  } catch {
    return null;
  }
}

/**
 * @param files paths
 * @param atOnce how many are read at the same time
 * @returns the result for each, in the order of the paths: its checksum, or the error of the file system
 */
export async function checksumsOf(files: readonly string[], atOnce = AT_ONCE): Promise<(Checksum | Error)[]> {
  const results: (Checksum | Error)[] = [];
  const waiting = files.entries();
  const reader = async () => {
    for (const [index, file] of waiting)
      results[index] = await checksumOf(file).catch((cause: unknown) =>
        cause instanceof Error ? cause : new Error(String(cause)),
      );
  };
  await Promise.all(Array.from({ length: Math.max(1, atOnce) }, reader));
  return results;
}

/**
 * @returns the list as GNU coreutils writes and reads it: digits, two blanks, name; a name that holds a backslash or a line
 *   end has it escaped, and a backslash before the line says so (coreutils manual, "cksum output modes")
 */
export function sumsText(sums: readonly ListedSum[]): string {
  return sums
    .map(({ file, sha256 }) => {
      const escaped = file.replace(/[\\\n\r]/g, (char) => ESCAPES[char] as string);
      return `${escaped === file ? '' : '\\'}${sha256}  ${escaped}\n`;
    })
    .join('');
}

const ESCAPES: Readonly<Record<string, string>> = { '\\': '\\\\', '\n': '\\n', '\r': '\\r' };

/** @returns the files of such a list; other lines are left out */
export function parseSums(text: string): ListedSum[] {
  return text.split('\n').flatMap((line) => {
    const [, escaped, sha256, name] = /^(\\?)([0-9a-f]{64}) [ *](.+)$/i.exec(line) ?? [];
    if (sha256 === undefined || name === undefined) return [];
    const file =
      escaped === ''
        ? name
        : name.replace(/\\([\\nr])/g, (_, char: string) =>
            char === 'n' ? '\n' : char === 'r' ? '\r' : '\\',
          );
    return [{ file, sha256: sha256.toLowerCase() }];
  });
}
