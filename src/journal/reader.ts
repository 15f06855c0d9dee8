// Reads the journal, page by page: nothing here grows with the amount that is stored.
import type { Database, Statement } from 'better-sqlite3';
import { refusedWhileReading } from '../system/index.js';
import { journalFile, openToRead } from './database.js';
import {
  type Aside,
  type FrameRow,
  type KeptFile,
  type KeptNamesRow,
  keptFilesOf,
  type ListedSet,
  type ListedSetRow,
  listedSetOf,
  type MadeRow,
  type RunRow,
  runOf,
  type SetRow,
  type StoredRun,
  type StoredSet,
  setOf,
  type Transition,
  type TransitionRow,
  transitionOf,
} from './stored.js';

/** A page of a list, the newest first. */
export interface Page {
  /** 50 if it is left out. */
  readonly limit?: number;
  /** Only entries whose `number` is smaller than this: the `number` of the last entry on the page before. */
  readonly before?: number;
}

/** A run that was under way when the program ended, or still is. */
export interface UnfinishedRun {
  readonly run: StoredRun;
  /** The set that was under way; null between two sets. */
  readonly set: StoredSet | null;
}

const PAGE = 50;
const TRANSITIONS_A_PAGE = 1000;

const RUN = `SELECT runs.*, (SELECT count(*) FROM sets WHERE run_number = runs.number) AS sets FROM runs`;

const LISTED = `sets.number, sets.id, runs.id AS run, ordinal, viewpoint, name, note, folder, sets.state, started_at,
  sets.ended_at, sets.sentence, sets.error,
  (SELECT count(*) FROM frames WHERE set_number = sets.number) AS frames,
  (SELECT count(*) FROM frames WHERE set_number = sets.number AND state = 'verified') AS verified,
  (SELECT number FROM frames WHERE set_number = sets.number AND state = 'verified' ORDER BY
    abs(2 * offset_ev - (SELECT min(offset_ev) + max(offset_ev) FROM frames WHERE set_number = sets.number)), offset_ev
    LIMIT 1) AS middle`;
const FROM_SETS = 'FROM sets JOIN runs ON runs.number = sets.run_number';

const TRANSITION = `SELECT seq, at, monotonic_ms, about, runs.id AS run, sets.id AS "set", transitions.number, from_state AS "from",
  to_state AS "to", detail
  FROM transitions JOIN runs ON runs.number = transitions.run_number LEFT JOIN sets ON sets.number = set_number`;

function prepare(database: Database) {
  const one = <P extends unknown[], R>(sql: string): Statement<P, R> => database.prepare<P, R>(sql);
  return {
    run: one<[id: string], RunRow>(`${RUN} WHERE id = ?`),
    runUnderWay: one<[], RunRow>(`${RUN} WHERE state = 'under-way'`),
    runs: one<[before: number, limit: number], RunRow>(
      `${RUN} WHERE number < ? ORDER BY number DESC LIMIT ?`,
    ),
    set: one<[id: string], SetRow>(
      `SELECT ${LISTED}, plan, base, sets.memo, sets.light ${FROM_SETS} WHERE sets.id = ?`,
    ),
    setInHand: one<[run: number], SetRow>(
      `SELECT ${LISTED}, plan, base, sets.memo, sets.light ${FROM_SETS} WHERE run_number = ? AND sets.ended_at IS NULL`,
    ),
    sets: one<[before: number, limit: number], ListedSetRow>(
      `SELECT ${LISTED} ${FROM_SETS} WHERE sets.number < ? ORDER BY sets.number DESC LIMIT ?`,
    ),
    setsOfRun: one<[run: string, before: number, limit: number], ListedSetRow>(
      // Ordered by ordinal, which grows as `number` does: there is an index on it.
      `SELECT ${LISTED} ${FROM_SETS} WHERE runs.id = ? AND sets.number < ? ORDER BY ordinal DESC LIMIT ?`,
    ),
    completeSets: one<[run: string], number>(
      "SELECT count(*) FROM sets JOIN runs ON runs.number = sets.run_number WHERE runs.id = ? AND sets.state = 'complete'",
    ).pluck(),
    passes: one<[set: number], string>(
      'SELECT state FROM passes WHERE set_number = ? ORDER BY number',
    ).pluck(),
    frames: one<[set: number], FrameRow>(
      'SELECT view, arrived, sha256, bytes, fired_at, stored_at, verified_at FROM frames WHERE set_number = ? ORDER BY offset_ev',
    ),
    keptNames: one<[set: number], KeptNamesRow>(
      `SELECT number, file, bytes, partner_file, partner_bytes FROM frames
       WHERE set_number = ? AND state = 'verified' AND file IS NOT NULL ORDER BY offset_ev`,
    ),
    asides: one<[set: number], Aside>('SELECT file, reason FROM asides WHERE set_number = ? ORDER BY rowid'),
    strays: one<[set: number], string>(
      'SELECT stray FROM strays WHERE set_number = ? ORDER BY rowid',
    ).pluck(),
    made: one<[set: number], MadeRow>(
      'SELECT folder, name, bytes, arrived, released_at AS releasedAt, fetched FROM made WHERE set_number = ? ORDER BY rowid',
    ),
    notesOfRun: one<[run: number], string>(
      'SELECT note FROM notes WHERE run_number = ? AND set_number IS NULL ORDER BY rowid',
    ).pluck(),
    notesOfSet: one<[set: number], string>(
      'SELECT note FROM notes WHERE set_number = ? ORDER BY rowid',
    ).pluck(),
    transitionsOfSet: one<[set: string, after: number, limit: number], TransitionRow>(
      `${TRANSITION} WHERE set_number = (SELECT number FROM sets WHERE id = ?) AND seq > ? ORDER BY seq LIMIT ?`,
    ),
    transitions: one<[after: number, limit: number], TransitionRow>(
      `${TRANSITION} WHERE seq > ? ORDER BY seq LIMIT ?`,
    ),
  };
}

export class JournalReader {
  protected readonly database: Database;
  /** The path of the database, for use in sentences. */
  readonly file: string;
  private readonly read: ReturnType<typeof prepare>;

  /**
   * For a program that only reads, even while another process writes: it reads what has been committed.
   * @returns null if there is no journal
   * @throws EvenrungError state-not-writable if there is one that cannot be read
   */
  static async open(stateFolder: string): Promise<JournalReader | null> {
    const database = await openToRead(stateFolder);
    return database === null ? null : new JournalReader(database, journalFile(stateFolder));
  }

  /** @param file the path of the journal, if the database is only a copy of it */
  constructor(database: Database, file = database.name) {
    this.database = database;
    this.file = file;
    this.read = prepare(database);
  }

  /**
   * @returns the run that is under way, or that was when the program ended
   * @throws EvenrungError storing-failed
   */
  unfinishedRun(): UnfinishedRun | null {
    return this.reading(() => {
      const row = this.read.runUnderWay.get();
      if (row === undefined) return null;
      const set = this.read.setInHand.get(row.number);
      return { run: this.runOf(row), set: set === undefined ? null : this.setOf(set) };
    });
  }

  /** @throws EvenrungError storing-failed */
  run(id: string): StoredRun | null {
    return this.reading(() => {
      const row = this.read.run.get(id);
      return row === undefined ? null : this.runOf(row);
    });
  }

  /** @throws EvenrungError storing-failed */
  runs({ limit = PAGE, before = Number.MAX_SAFE_INTEGER }: Page = {}): StoredRun[] {
    return this.reading(() => this.read.runs.all(before, limit).map((row) => this.runOf(row)));
  }

  /** @throws EvenrungError storing-failed */
  set(id: string): StoredSet | null {
    return this.reading(() => {
      const row = this.read.set.get(id);
      return row === undefined ? null : this.setOf(row);
    });
  }

  /**
   * @param run if given, only the sets of this run
   * @throws EvenrungError storing-failed
   */
  sets({ limit = PAGE, before = Number.MAX_SAFE_INTEGER, run }: Page & { run?: string } = {}): ListedSet[] {
    return this.reading(() =>
      (run === undefined
        ? this.read.sets.all(before, limit)
        : this.read.setsOfRun.all(run, before, limit)
      ).map(listedSetOf),
    );
  }

  /**
   * @param set its `number`
   * @returns the files of its verified frames
   * @throws EvenrungError storing-failed
   */
  keptNames(set: number): KeptFile[] {
    return this.reading(() => this.read.keptNames.all(set).flatMap(keptFilesOf));
  }

  /** @returns how many sets of a run are complete @throws EvenrungError storing-failed */
  completeSets(run: string): number {
    return this.reading(() => this.read.completeSets.get(run) ?? 0);
  }

  /**
   * @param after the `seq` of the last one that is already known
   * @param set if given, only transitions of this set
   * @returns the oldest first
   * @throws EvenrungError storing-failed
   */
  transitions({
    after = 0,
    limit = TRANSITIONS_A_PAGE,
    set,
  }: {
    after?: number;
    limit?: number;
    set?: string;
  } = {}): Transition[] {
    return this.reading(() =>
      (set === undefined
        ? this.read.transitions.all(after, limit)
        : this.read.transitionsOfSet.all(set, after, limit)
      ).map(transitionOf),
    );
  }

  /** Nothing can be read or written afterwards. Closing twice is not an error. */
  close(): void {
    this.database.close();
  }

  private runOf(row: RunRow): StoredRun {
    return runOf(row, this.read.notesOfRun.all(row.number));
  }

  private setOf(row: SetRow): StoredSet {
    return setOf(row, {
      passes: this.read.passes.all(row.number),
      frames: this.read.frames.all(row.number),
      asides: this.read.asides.all(row.number),
      strays: this.read.strays.all(row.number),
      made: this.read.made.all(row.number),
      notes: this.read.notesOfSet.all(row.number),
    });
  }

  /** Reads as of one moment, even if it takes several statements and another process is writing. */
  private reading<T>(work: () => T): T {
    try {
      return this.database.transaction(work).deferred();
    } catch (cause) {
      throw refusedWhileReading(this.file, cause);
    }
  }
}
