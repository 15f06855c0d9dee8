// After the end of a set: waits until the rest of its pictures have been judged, has its frames merged, and
// brings record, table and contact sheet in its folder up to date. The set does not depend on it: if it
// cannot be done, the set is as it was.
import { rm } from 'node:fs/promises';
import path from 'node:path';
import { whyRefused } from '../../../shared/refused.js';
import { addProof, RADIANCE } from '../../frames/index.js';
import { PARTIAL } from '../../system/index.js';
import { lightInRecord } from '../end/record.js';
import type { InHand } from '../in-hand.js';
import { isVerified, thumbnailsOf } from '../set-frame.js';
import type { SetLight } from './light.js';

/**
 * Never rejects.
 * @param inTurn does the work while nobody else writes into the folder
 */
export async function prove(
  hand: InHand,
  light: SetLight,
  inTurn: (work: () => Promise<void>) => Promise<void>,
): Promise<void> {
  const partial = `${RADIANCE}${PARTIAL}`;
  try {
    await light.settled();
    if (!hand.frames.some(isVerified)) return;
    const preview = await light.merge(path.join(hand.folder.path, partial), aboutOf(hand));
    await inTurn(() => write(hand, light, preview, partial));
  } catch (cause) {
    tellNotWritten(hand, light, whyRefused(cause));
  } finally {
    await rm(path.join(hand.folder.path, partial), { force: true }).catch(() => undefined);
    await light.close();
  }
}

async function write(
  { folder, run, labels, book, frames }: InHand,
  light: SetLight,
  preview: Buffer | null,
  partial: string,
): Promise<void> {
  const { view, map } = light;
  if (view === null) return;
  const radiance = preview === null ? null : { from: partial, name: RADIANCE };
  const marks = new Map(frames.map((frame) => [frame.view.number, frame.view.marks]));
  const proved = { light: lightInRecord(view), marks, map, preview, radiance };
  const { id } = labels.set;
  if (await addProof(folder.path, [run, id], proved, thumbnailsOf(frames))) book.light(id, view);
}

function tellNotWritten({ book, labels }: InHand, light: SetLight, why: string): void {
  light.cannotBeWritten(why);
  const { view } = light;
  if (view !== null) book.light(labels.set.id, view);
}

const aboutOf = ({ frames, labels, body }: InHand): string[] => [
  `Set ${labels.set.id}: ${frames.filter(isVerified).length} frames, merged with their exact exposures`,
  ...(body.identity.link === 'practice' ? ['Practice: an invented scene, no real photographs'] : []),
];
