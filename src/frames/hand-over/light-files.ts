// The files of a set folder that tell of the light of its frames: pictures for the head of the contact sheet,
// and the removal of those that are out of date.
import { readFile, rm } from 'node:fs/promises';
import path from 'node:path';
import type { KeptSetRecord } from '../../../shared/set-record.js';
import { fileInside } from '../folder/inside.js';
import type { SheetLight } from './contact-sheet.js';
import { COVERAGE_MAP, OF_LIGHT, PREVIEW } from './names.js';

/** Removes files that no longer hold for the frames, since some were made later. */
export async function forgetLight(
  folder: string,
  { but = [] }: { readonly but?: readonly string[] } = {},
): Promise<void> {
  for (const name of OF_LIGHT) if (!but.includes(name)) await rm(path.join(folder, name), { force: true });
}

/** @returns the content of the contact sheet's head, from the folder; null if nothing was judged */
export async function sheetLightIn(folder: string, record: KeptSetRecord): Promise<SheetLight | null> {
  const read = async (name: string) =>
    fileInside(folder, name)
      .then((file) => readFile(file))
      .catch(() => null);
  return sheetLight(record, { map: await read(COVERAGE_MAP), preview: await read(PREVIEW) });
}

export const sheetLight = (
  { light }: Pick<KeptSetRecord, 'light'>,
  pictures: Pick<SheetLight, 'map' | 'preview'>,
): SheetLight | null => (light === undefined ? null : { sentence: light.sentence, ...pictures });
