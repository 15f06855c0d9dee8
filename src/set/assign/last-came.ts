// What the last file of an earlier set tells of its time, for a program that was started since: the journal knows when it came, and
// the file when it was taken. Knows no run.
import path from 'node:path';
import type { BodyIdentity } from '../../camera/index.js';
import { readRecorded } from '../../frames/index.js';
import { type JournalReader, newestSets, type StoredFrame } from '../../journal/index.js';
import type { CameSoFar } from './from-before.js';

/** Sets that are looked through: whatever lies farther back tells little of the camera's clock. */
const MOST_SETS = 5;

/** @returns null if no verified file of this body is to be found, or if it does not tell when it was taken */
export async function lastCame(journal: JournalReader, body: BodyIdentity): Promise<CameSoFar | null> {
  let looked = 0;
  for (const { run, set } of newestSets(journal)) {
    if (looked >= MOST_SETS) return null;
    looked += 1;
    const isSame = run.body.model === body.model && run.body.serial === body.serial;
    if (!isSame || set === null || set.folder === null || set.verified === 0) continue;
    const last = lastStored(journal.set(set.id)?.frames ?? []);
    const file = last?.view.file ?? null;
    const storedAt = last === null ? null : cameAt(last);
    if (last === null || file === null || storedAt === null) continue;
    const recorded = await readRecorded(path.join(set.folder, file)).catch(() => null);
    const { takenAt = null, exposureTime = null } = recorded ?? {};
    if (takenAt === null) return null;
    const { firedAt } = last;
    return { last: { takenAt, digest: null }, anchor: { takenAt, exposureTime, firedAt, storedAt } };
  }
  return null;
}

/** One that was found after a restart came at some time before it was verified. */
const cameAt = ({ storedAt, verifiedAt }: StoredFrame): string | null => storedAt ?? verifiedAt;

const lastStored = (frames: readonly StoredFrame[]): StoredFrame | null =>
  frames
    .filter((frame) => frame.view.state === 'verified' && cameAt(frame) !== null)
    .reduce<StoredFrame | null>(
      (latest, one) => (latest === null || (cameAt(one) ?? '') > (cameAt(latest) ?? '') ? one : latest),
      null,
    );
