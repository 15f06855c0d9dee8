// After the end of a set: waits until the rest of its pictures have been judged, has its frames merged, and
// brings record, table and contact sheet in its folder up to date. The set does not depend on it: if it
// cannot be done, the set is as it was.
import { rm } from 'node:fs/promises';
import path from 'node:path';
import { whyRefused } from '../../../shared/refused.js';
import { addProof, RADIANCE } from '../../frames/index.js';
import { PARTIAL } from '../../system/index.js';
import { lightInRecord } from '../end/record.js';
import { isVerified, thumbnailsOf } from '../set-frame.js';
import type { JudgedSet } from './judged-set.js';
import type { SetLight } from './light.js';

/** Does it while nobody else writes into the folder. */
export type InTurn = (work: () => Promise<void>) => Promise<void>;

/** Never rejects. */
export async function prove(set: JudgedSet, light: SetLight, inTurn: InTurn): Promise<void> {
  try {
    await light.settled();
    await mergeAndWrite(set, light, { inTurn });
  } finally {
    await light.close();
  }
}

export interface MergeOptions {
  readonly inTurn: InTurn;
  /** Ends it before its time, until it is being written. */
  readonly signal?: AbortSignal;
  /** Asked once it is this one's turn: whether it is still to be written. Left out, it is. */
  readonly isWanted?: () => Promise<boolean>;
}

/** All its pictures are judged. Never rejects. */
export async function mergeAndWrite(
  set: JudgedSet,
  light: SetLight,
  { inTurn, signal, isWanted = async () => true }: MergeOptions,
): Promise<void> {
  const partial = `${RADIANCE}${PARTIAL}`;
  try {
    if (!set.frames.some(isVerified)) return;
    const preview = await light.merge(path.join(set.folder, partial), aboutOf(set), signal);
    await inTurn(async () => {
      if (signal?.aborted !== true && (await isWanted())) await write(set, light, preview, partial);
    });
  } catch (cause) {
    tellNotWritten(set, light, whyRefused(cause));
  } finally {
    await rm(path.join(set.folder, partial), { force: true }).catch(() => undefined);
  }
}

async function write(
  set: JudgedSet,
  light: SetLight,
  preview: Buffer | null,
  partial: string,
): Promise<void> {
  const { view, map } = light;
  if (view === null) return;
  const { folder, run, id, frames } = set;
  const radiance = preview === null ? null : { from: partial, name: RADIANCE };
  const marks = new Map(frames.map((frame) => [frame.view.number, frame.view.marks]));
  const proved = { light: lightInRecord(view), marks, map, preview, radiance };
  if (!(await addProof(folder, [run, id], proved, thumbnailsOf(frames)))) return;
  set.told(view);
  // What the process that looks at pictures is to blame for may come out otherwise another time.
  if (!light.hasFailed) set.paid();
}

function tellNotWritten(set: JudgedSet, light: SetLight, why: string): void {
  light.cannotBeWritten(why);
  const { view } = light;
  if (view !== null) set.told(view);
}

const aboutOf = ({ frames, id, isPractice }: JudgedSet): string[] => [
  `Set ${id}: ${frames.filter(isVerified).length} frames, merged with their exact exposures`,
  ...(isPractice ? ['Practice: an invented scene, no real photographs'] : []),
];
