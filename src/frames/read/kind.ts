// The kind of a file, by its content.
import { rawKindOf } from './raw.js';

/** @returns the file's extension by its content, such as jpg; undefined if it is nothing that a camera writes */
export async function kindOf(file: string): Promise<string | undefined> {
  const { fileTypeFromFile } = await import('file-type');
  return (await fileTypeFromFile(file))?.ext ?? (await rawKindOf(file));
}
