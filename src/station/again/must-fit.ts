// Conditions for taking a set up again: its files are unchanged, and the body is set as it was then. It
// changes nothing.
import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { EvenrungError } from '../../../shared/errors.js';
import { readSetRecord, type SetRecord } from '../../../shared/set-record.js';
import type { Body, ReadinessAsked } from '../../camera/index.js';
import { checksumsOf, RECORD, SetFolder } from '../../frames/index.js';
import type { StoredFrame } from '../../journal/index.js';
import { scheduledIn } from '../../series/index.js';
import type { ChosenSet } from './choose.js';

/**
 * Reads the body's settings anew, and changes nothing.
 * @throws EvenrungError set-folder-gone, folder-not-writable, set-damaged, body-not-ready with what to set
 *   back; whatever links throw
 */
export async function mustFit(chosen: ChosenSet, body: Body, asked: ReadinessAsked): Promise<void> {
  await mustBeWhole(chosen);
  if (chosen.purpose === 'fetch') mustLookInside(body);
  await body.refresh();
  // Nothing is fired: however it stands.
  if (chosen.purpose === 'fetch') return;
  const stops = body.readiness(asked).filter(({ mark }) => mark === 'stops');
  if (stops.length > 0)
    throw new EvenrungError('body-not-ready', stops.map(({ message }) => message).join(' '), {
      items: stops,
    });
  mustStandAsThen(chosen, body);
}

/** @throws EvenrungError body-not-ready */
export function mustLookInside(body: Body): void {
  if (body.isApart) return;
  throw new EvenrungError(
    'body-not-ready',
    'Over this connection, files of earlier releases cannot be fetched. Use --link direct, or copy the file from the card.',
  );
}

/** Verified files must be unchanged. The file of a frame that is made again may be gone. */
async function mustBeWhole({ set, folder, frames }: ChosenSet): Promise<void> {
  const there = new Set(await SetFolder.filesIn(folder));
  const verified = set.frames.filter(({ view }) => view.state === 'verified').flatMap(filesOf);
  const isGone = ({ file }: FrameFile) => !there.has(file);
  const gone = verified.filter((one) => isGone(one) && !frames.includes(one.number));
  if (gone.length > 0)
    throw new EvenrungError(
      'set-damaged',
      `${namesWithVerb(gone)} missing from ${folder}. Put a copy back first, or choose to reshoot ${framesIn(gone)}.`,
    );
  const kept = verified.filter((one) => !isGone(one) && one.sha256 !== null);
  const sums = await checksumsOf(kept.map(({ file }) => path.join(folder, file)));
  const changed = kept.filter(({ sha256 }, index) => {
    const sum = sums[index];
    return sum === undefined || sum instanceof Error || sum.sha256 !== sha256;
  });
  if (changed.length > 0)
    throw new EvenrungError(
      'set-damaged',
      `${namesWithVerb(changed)} no longer what came from the camera. Put a copy back first, or move the file away and choose to reshoot ${framesIn(changed)}.`,
    );
}

/** A file that a frame has. */
interface FrameFile {
  readonly number: number;
  readonly file: string;
  readonly sha256: string | null;
}

function filesOf({ view: { number, file, partner }, sha256 }: StoredFrame): FrameFile[] {
  const own = file === null ? [] : [{ number, file, sha256 }];
  return partner?.state === 'there' ? [...own, { number, ...partner }] : own;
}

const namesWithVerb = (files: readonly FrameFile[]): string =>
  `${files.map(({ file }) => file).join(', ')} ${files.length === 1 ? 'is' : 'are'}`;
function framesIn(files: readonly FrameFile[]): string {
  const numbers = [...new Set(files.map(({ number }) => number))];
  return `frame${numbers.length === 1 ? '' : 's'} ${numbers.join(', ')}`;
}

/**
 * Frames of one set share aperture and ISO: if they were set by hand then, they have to be set by hand now.
 * @throws EvenrungError body-not-ready
 */
export function mustStandAsThen({ run, set }: Pick<ChosenSet, 'run' | 'set'>, body: Body): void {
  const { aperture, iso } = body.standing();
  const now = { aperture, iso: iso === null ? null : String(iso) };
  const off: string[] = [];
  if (set.base.aperture !== null && now.aperture !== null && set.base.aperture !== now.aperture)
    off.push(`the aperture from f/${now.aperture} to f/${set.base.aperture}`);
  if (
    set.base.iso !== null &&
    now.iso !== null &&
    set.base.iso !== now.iso &&
    isoToSet({ run, set }) === null
  )
    off.push(`the ISO from ${now.iso} to ${set.base.iso}`);
  if (off.length === 0) return;
  throw new EvenrungError(
    'body-not-ready',
    `The camera is not set as it was for this set. Change ${off.join(', and ')}, then try again.`,
    { aperture: set.base.aperture, iso: set.base.iso },
  );
}

/**
 * @returns the ISO of a set that Evenrung set itself, to follow the light; null if it was the
 *   photographer's
 */
export function isoToSet({ run, set }: Pick<ChosenSet, 'run' | 'set'>): number | null {
  const follows = (scheduledIn(run)?.light ?? null) !== null;
  return follows ? Number(set.base.iso) || null : null;
}

/** @returns how the base was moved for a set, from its record; none if the record cannot be read */
export async function shiftsIn(folder: string): Promise<SetRecord['baseShifts']> {
  try {
    return readSetRecord(await readFile(path.join(folder, RECORD), 'utf8')).record.baseShifts;
  } catch {
    return [];
  }
}
