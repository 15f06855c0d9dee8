// Answers to what a person asks of the journal: which sets there are, and which one is meant by the beginning
// of an id. It only reads.
import { EvenrungError } from '../../shared/errors.js';
import type { JournalReader } from './reader.js';
import type { ListedSet, StoredRun, StoredSet } from './stored.js';

/** A set with its run; the set is null for a run that has not begun one. */
export interface KeptSet {
  readonly run: StoredRun;
  readonly set: ListedSet | null;
}

const PAGE = 200;
/** How many sets are named if the beginning of an id fits several. */
const NAMED = 4;

/**
 * Reads page by page, as far as the caller goes on.
 * @yields every set, the newest first; sets that begin meanwhile are left out
 * @throws EvenrungError storing-failed
 */
export function* newestSets(journal: JournalReader): Generator<KeptSet> {
  for (const run of paged((page) => journal.runs(page))) {
    if (run.sets === 0) yield { run, set: null };
    else for (const set of paged((page) => journal.sets({ ...page, run: run.id }))) yield { run, set };
  }
}

/**
 * @param written the id of a set or the beginning of it, in letters of either case; if no set has such an
 *   id, that of a run
 * @throws EvenrungError no-such-set if there is none, or if there are several; storing-failed
 */
export function findSet(journal: JournalReader, written: string): StoredSet {
  const whole = journal.set(written);
  if (whole !== null) return whole;
  const beginning = written.toLowerCase();
  const begins = (id: string) => beginning !== '' && id.toLowerCase().startsWith(beginning);
  const bySet: ListedSet[] = [];
  const byRun: ListedSet[] = [];
  for (const set of paged((page) => journal.sets(page))) {
    if (begins(set.id)) bySet.push(set);
    else if (begins(set.run)) byRun.push(set);
  }
  const [meant, ...others] = bySet.length > 0 ? bySet : byRun;
  if (meant === undefined)
    throw new EvenrungError(
      'no-such-set',
      `There is no set whose id begins with '${written}': \`sets --all\` lists all sets.`,
    );
  if (others.length > 0) throw several(written, [meant, ...others]);
  const found = journal.set(meant.id);
  if (found === null) throw new Error(`The set '${meant.id}' is no longer in the journal.`);
  return found;
}

function several(written: string, sets: readonly ListedSet[]): EvenrungError {
  const named = sets.slice(0, NAMED).map(({ id }) => id);
  const more = sets.length > NAMED ? ` and ${sets.length - NAMED} more` : '';
  return new EvenrungError(
    'no-such-set',
    `'${written}' stands for ${sets.length} sets: ${named.join(', ')}${more}. Give more of the id.`,
    { candidates: named },
  );
}

function* paged<T extends { readonly number: number }>(
  read: (page: { limit: number; before: number }) => readonly T[],
): Generator<T> {
  let before = Number.MAX_SAFE_INTEGER;
  for (;;) {
    const page = read({ limit: PAGE, before });
    yield* page;
    const last = page.at(-1);
    if (last === undefined || page.length < PAGE) return;
    before = last.number;
  }
}
