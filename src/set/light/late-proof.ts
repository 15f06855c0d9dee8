// The proof of a set that ended without one, because the program or the computer went down, or its folder was
// full: made from the journal and the folder, without a body. What was told before stands until the proof lies
// in the folder.
import { readFile } from 'node:fs/promises';
import type { LightView } from '../../../shared/light.js';
import { readSetRecord, SET_RECORD_VERSION } from '../../../shared/set-record.js';
import type { FrameView } from '../../../shared/state.js';
import { fileInside, lookOnDisk, RECORD, SetFolder } from '../../frames/index.js';
import type { Journal, StoredSet } from '../../journal/index.js';
import type { Judge } from '../../light/index.js';
import type { SetMemo } from '../book/keeper.js';
import { pictureIn } from '../in-hand.js';
import { isVerified, timesOf } from '../set-frame.js';
import type { JudgedSet, LitFrame } from './judged-set.js';
import { SetLight } from './light.js';
import { type InTurn, mergeAndWrite } from './proof.js';

export interface LateProofOptions {
  readonly journal: Journal;
  readonly openJudge: () => Judge;
  /** Tells everybody who watches what the set's pictures show. */
  readonly tell: (run: string, set: string, light: LightView) => void;
  /** Does the work while nobody else writes into the folder. */
  readonly inTurn: InTurn;
  /** Ends the work before its time: then nothing is changed, and the proof is still owed. */
  readonly signal: AbortSignal;
}

const memoOf = ({ memo }: Pick<StoredSet, 'memo'>): SetMemo | null => memo as SetMemo | null;

/** @param id of the set @returns whether it has ended, and its proof is missing and can be made @throws EvenrungError storing-failed */
export async function lacksProof(journal: Journal, id: string): Promise<boolean> {
  const set = journal.set(id);
  return set !== null && isAsItEnded(journal, set);
}

/**
 * Does nothing if the set is in hand, its proof is there, or its folder is not as it ended.
 * @param id of the set
 * @returns whether its proof was owed and is not any more
 * @throws EvenrungError storing-failed; Error of the file system
 */
export async function proveLate(id: string, options: LateProofOptions): Promise<boolean> {
  const { journal, openJudge, inTurn, signal } = options;
  const stored = journal.set(id);
  if (stored === null || !(await isAsItEnded(journal, stored)) || signal.aborted) return false;
  const set = new KeptSet(stored, options);
  // A program that was killed while it wrote may have left a part.
  await inTurn(() => SetFolder.sweepPartial(set.folder));
  const light = new SetLight(openJudge(), set);
  try {
    await light.lookThrough(signal);
    if (signal.aborted) return false;
    const isWanted = async () => {
      const now = journal.set(id);
      if (now === null || now.endedAt !== stored.endedAt || !(await isAsItEnded(journal, now))) return false;
      await set.readThumbnails();
      return true;
    };
    await mergeAndWrite(set, light, { inTurn, signal, isWanted });
    return set.isPaid;
  } finally {
    await light.close();
  }
}

/** Whether a set has ended, owes its proof, and journal, record and files agree about its frames. */
async function isAsItEnded(journal: Journal, set: StoredSet): Promise<boolean> {
  const { folder, number, frames, endedAt, verified } = set;
  if (folder === null || endedAt === null || verified === 0 || memoOf(set)?.owesProof !== true) return false;
  const record = await recordIn(folder);
  if (record === null || ![set.id, set.run].includes(record.id)) return false;
  const named = (views: readonly Pick<FrameView, 'number' | 'state' | 'file'>[]) =>
    views
      .filter(({ state }) => state === 'verified')
      .map((view) => `${view.number} ${view.file}`)
      .sort()
      .join('\n');
  if (named(record.frames) !== named(frames.map(({ view }) => view))) return false;
  return (await lookOnDisk(folder, journal.keptNames(number))).state === 'whole';
}

/** @returns null if there is no record of the version that this program writes */
async function recordIn(folder: string) {
  try {
    const { record, version } = readSetRecord(await readFile(await fileInside(folder, RECORD), 'utf8'));
    return version === SET_RECORD_VERSION ? record : null;
  } catch {
    return null;
  }
}

class KeptSet implements JudgedSet {
  readonly id: string;
  readonly run: string;
  readonly folder: string;
  readonly isPractice: boolean;
  readonly frames: LitFrame[];
  readonly isEnding = true;
  readonly drawn: number;
  isPaid = false;
  private readonly options: LateProofOptions;
  private readonly marked = new Set<LitFrame>();

  constructor({ id, run, folder, frames, light }: StoredSet, options: LateProofOptions) {
    const { journal } = options;
    this.id = id;
    this.run = run;
    this.folder = folder ?? '';
    this.isPractice = journal.run(run)?.body.link === 'practice';
    this.frames = frames.map((frame) => ({ view: frame.view, times: timesOf(frame), thumbnail: null }));
    this.drawn = light?.map ?? 0;
    this.options = options;
  }

  mark(number: number, marks: FrameView['marks']): void {
    const frame = this.frames.find(({ view }) => view.number === number);
    if (frame === undefined) return;
    frame.view = { ...frame.view, marks };
    this.marked.add(frame);
  }

  /** What was told before stands until its proof is made. */
  light(): void {}

  told(view: LightView): void {
    const { journal, tell } = this.options;
    journal.keepOrLater(() => {
      for (const frame of this.marked) journal.marksChanged(this.id, frame.view);
      journal.lightChanged(this.id, view);
    });
    tell(this.run, this.id, view);
  }

  paid(): void {
    const { journal } = this.options;
    const set = journal.set(this.id);
    if (set === null) return;
    const { owesProof: _, ...memo } = { ...memoOf(set) };
    journal.keepOrLater(() => journal.rememberForSet(this.id, memo));
    this.isPaid = true;
  }

  /** For the contact sheet, which is drawn anew. */
  async readThumbnails(): Promise<void> {
    for (const frame of this.frames.filter(isVerified))
      frame.thumbnail ??= (await pictureIn(this.folder, frame.view))?.thumbnail ?? null;
  }
}
