// Gives a set another name, even while a run works on it: the journal is changed at once, the folder once the
// set has ended.
import { EvenrungError } from '../../shared/errors.js';
import type { Relabel } from '../../shared/kept.js';
import type { Labels } from '../../shared/labels.js';
import { relabelSet } from '../frames/index.js';
import type { Journal, StoredSet } from '../journal/index.js';
import type { Run } from '../set/index.js';
import { inTurn } from '../system/index.js';
import type { EventLog } from './event-log.js';

/** Work in the folder of a set that has ended takes turns under this name. */
export const turnOf = ({ file }: Pick<Journal, 'file'>, id: string): string => `${file}#${id}`;

export interface RelabelWith {
  readonly journal: Journal;
  readonly events: EventLog;
  /** @returns the run that is under way, or the last one */
  readonly run: () => Run | undefined;
}

/**
 * If the folder is gone, only the journal is changed.
 * @throws EvenrungError no-such-set, storing-failed, record-unreadable; then nothing was changed, or the
 *   same call made once more puts it right
 */
export function relabel(id: string, change: Relabel, { journal, events, run }: RelabelWith): Promise<void> {
  return inTurn(turnOf(journal, id), async () => {
    const set = journal.set(id);
    if (set === null) throw new EvenrungError('no-such-set', `There is no set with the id '${id}'.`);
    const labels = changed(set, change);
    const isInHand = set.endedAt === null;
    if (!isInHand) await inFolder(set, labels);
    journal.relabelSet(id, labels);
    const { state } = events;
    if (state.run?.set.id === id)
      events.tell({ type: 'run', run: { ...state.run, set: { ...state.run.set, ...labels } } });
    const maker = run();
    const isKnown = maker?.view.set.id === id && maker.relabel(labels);
    // The set's run has just handed the folder over.
    if (isInHand && !isKnown && maker?.view.set.id === id) await inFolder(set, labels);
  });
}

async function inFolder({ id, run, folder }: StoredSet, labels: Labels): Promise<void> {
  if (folder !== null) await relabelSet(folder, [id, run], labels);
}

function changed({ name, note, viewpoint }: Labels, change: Relabel): Labels {
  const { viewpoint: place } = change;
  return {
    name: change.name === undefined ? name : change.name?.trim() || null,
    note: change.note === undefined ? note : change.note?.trim() || null,
    viewpoint: place === undefined ? viewpoint : place === null ? null : String(place),
  };
}
