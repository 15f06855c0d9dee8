// The time that the last file of an earlier set records, for a program that was started since then: the
// journal knows when the file came, and the file itself when it was taken. Knows no run.
import path from 'node:path';
import type { BodyIdentity } from '../../camera/index.js';
import { readRecorded } from '../../frames/index.js';
import { type JournalReader, newestSets, type StoredFrame } from '../../journal/index.js';
import type { CameSoFar } from './from-before.js';

/** How many sets are looked through. Sets farther back say little about the camera's clock. */
const MOST_SETS = 5;

/** @returns null if no verified file of this body is found, or if the file does not say when it was taken */
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

/**
 * A file that was found after a restart has no time of coming; it came at some time before it was verified.
 */
const cameAt = ({ storedAt, verifiedAt }: StoredFrame): string | null => storedAt ?? verifiedAt;

const lastStored = (frames: readonly StoredFrame[]): StoredFrame | null =>
  frames
    .filter((frame) => frame.view.state === 'verified' && cameAt(frame) !== null)
    .reduce<StoredFrame | null>(
      (latest, one) => (latest === null || (cameAt(one) ?? '') > (cameAt(latest) ?? '') ? one : latest),
      null,
    );
