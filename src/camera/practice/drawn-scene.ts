// The drawn scene of the practice body as a file beside the built program: drawing it would take every
// process with a practice body a second, and it is always the same. Knows nothing of its content but the
// size.
import { readFile, writeFile } from 'node:fs/promises';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

export interface DrawnScene {
  /** Three of each pixel. */
  readonly codes: Uint16Array;
  readonly noise: Int8Array;
}

/** Every build begins with an empty folder, so a file in it was drawn by this program. */
const FOLDER = path.dirname(fileURLToPath(import.meta.url));
const fileOf = (name: string, folder: string) => path.join(folder, `practice-scene-${name}.bin`);

/**
 * @param name which of the scenes
 * @param codes
 * @param noise how many there have to be
 * @returns null if none is kept, as when the sources are run, or not all of it
 */
export async function keptScene(
  name: string,
  codes: number,
  noise: number,
  folder = FOLDER,
): Promise<DrawnScene | null> {
  const bytes = await readFile(fileOf(name, folder)).catch(() => null);
  const { BYTES_PER_ELEMENT } = Uint16Array;
  if (bytes?.length !== codes * BYTES_PER_ELEMENT + noise) return null;
  // From a place of its own, since a larger buffer may hold it at an odd one.
  const { buffer } = new Uint8Array(bytes);
  return {
    codes: new Uint16Array(buffer, 0, codes),
    noise: new Int8Array(buffer, codes * BYTES_PER_ELEMENT),
  };
}

/** @throws whatever keeps it from being written */
export async function keepScene(name: string, { codes, noise }: DrawnScene): Promise<void> {
  const bytes = (of: ArrayBufferView) => new Uint8Array(of.buffer, of.byteOffset, of.byteLength);
  await writeFile(fileOf(name, FOLDER), Buffer.concat([bytes(codes), bytes(noise)]));
}
