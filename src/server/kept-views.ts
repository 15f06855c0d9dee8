// The sets of the journal as they are sent to clients. Reads the journal, and checks which files are there.
import path from 'node:path';
import { EvenrungError } from '../../shared/errors.js';
import type { KeptSetDetail, KeptSets, KeptSetView } from '../../shared/kept.js';
import { CONTACT_SHEET, fileInside, PREVIEW } from '../frames/index.js';
import type { JournalReader, ListedSet, StoredRun, StoredSet } from '../journal/index.js';
import { filesInCamera, type Station, setOnDisk } from '../station/index.js';

/** @throws EvenrungError storing-failed */
export async function keptSets(
  journal: JournalReader,
  { before, limit }: { readonly before?: number | undefined; readonly limit: number },
): Promise<KeptSets> {
  // One set more than the page shows whether there is another page.
  const found = journal.sets({ limit: limit + 1, ...(before === undefined ? {} : { before }) });
  const page = found.slice(0, limit);
  const runs = new Map([...new Set(page.map(({ run }) => run))].map((id) => [id, journal.run(id)]));
  const sets = await Promise.all(page.map((set) => viewOf(journal, set, runs.get(set.run) ?? null)));
  return { sets, next: found.length > limit ? (page.at(-1)?.number ?? null) : null };
}

/** @throws EvenrungError no-such-set, storing-failed */
export async function keptSetDetail(
  journal: JournalReader | undefined,
  id: string,
  station: Pick<Station, 'canLookFor'>,
): Promise<KeptSetDetail> {
  const set = mustKnow(journal, id);
  const { frames: _, ...view } = await keptSetView(journal, id);
  const { base, plan, asides, strays, notes, light } = set;
  const run = journal?.run(set.run) ?? null;
  return {
    ...view,
    base,
    ...(plan.readings === undefined ? {} : { readings: plan.readings }),
    passes: plan.passes,
    frames: set.frames.map(({ view: frame }) => frame),
    asides: [...asides],
    strays: [...strays],
    inCamera: { files: filesInCamera(set), canLook: run !== null && station.canLookFor(run) },
    notes: [...notes],
    light,
  };
}

/** @throws EvenrungError no-such-set, storing-failed */
export async function keptSetView(journal: JournalReader | undefined, id: string): Promise<KeptSetView> {
  const set = mustKnow(journal, id);
  return viewOf(journal, { ...set, frames: set.frames.length }, journal?.run(set.run) ?? null);
}

/** @throws EvenrungError no-such-set, storing-failed */
export function mustKnow(journal: JournalReader | undefined, id: string): StoredSet {
  const set = journal?.set(id) ?? null;
  if (set !== null) return set;
  throw new EvenrungError('no-such-set', "There is no such set in this Evenrung's journal.");
}

async function viewOf(
  journal: JournalReader | undefined,
  set: ListedSet,
  run: StoredRun | null,
): Promise<KeptSetView> {
  const { id, number, ordinal, name, note, viewpoint, state, startedAt, endedAt } = set;
  const { sentence, error, frames, verified, middle, folder } = set;
  return {
    ...{ id, number, run: set.run, ordinal, name, note, viewpoint, state, startedAt, endedAt },
    ...{ sentence, error, frames, verified, middle },
    scheduled: run?.kind === 'scheduled',
    folderName: folder === null ? null : path.basename(folder),
    onDisk: journal === undefined ? null : await setOnDisk(journal, set),
    hasSheet: folder !== null && (await isThere(folder, CONTACT_SHEET)),
    hasPreview: folder !== null && (await isThere(folder, PREVIEW)),
    practice: run?.body.link === 'practice',
  };
}

const isThere = (folder: string, file: string): Promise<boolean> =>
  fileInside(folder, file).then(
    () => true,
    () => false,
  );
