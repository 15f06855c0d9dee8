// The tables of the journal, as numbered steps: a database of step n has taken the first n of them, and says
// so in its user_version. A step that has been released is never changed; a new step is added, which also
// converts what is stored, including the JSON columns. It knows SQL, and nothing of runs.
import type { Database } from 'better-sqlite3';

/** Marks the file, in its header, as a journal of Evenrung: "EvRg". */
export const APPLICATION_ID = 0x45765267;

/**
 * The names of states are in src/journal/ways.ts and in the schemas of shared/, not here: a list in a table
 * could not be changed later.
 */
export const STEPS: readonly string[] = [
  `
  CREATE TABLE runs (
    -- Counts in the order of beginning, which no clock that is set can change.
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    kind TEXT NOT NULL,
    request TEXT NOT NULL CHECK (json_valid(request)),
    options_version INTEGER NOT NULL,
    options TEXT NOT NULL CHECK (json_valid(options)),
    body TEXT NOT NULL CHECK (json_valid(body)),
    into_folder TEXT NOT NULL,
    state TEXT NOT NULL,
    created_at TEXT NOT NULL,
    ended_at TEXT,
    sentence TEXT,
    error TEXT,
    memo TEXT CHECK (json_valid(memo)),
    CHECK ((state = 'under-way') = (ended_at IS NULL))
  ) STRICT;
  CREATE UNIQUE INDEX one_run_under_way ON runs (state) WHERE state = 'under-way';

  CREATE TABLE sets (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    run_number INTEGER NOT NULL REFERENCES runs (number),
    -- Counts from 1 within its run.
    ordinal INTEGER NOT NULL,
    viewpoint TEXT,
    name TEXT,
    note TEXT,
    folder TEXT,
    plan TEXT NOT NULL CHECK (json_valid(plan)),
    base TEXT NOT NULL CHECK (json_valid(base)),
    state TEXT NOT NULL,
    started_at TEXT NOT NULL,
    ended_at TEXT,
    sentence TEXT,
    error TEXT,
    memo TEXT CHECK (json_valid(memo)),
    UNIQUE (run_number, ordinal)
  ) STRICT;
  CREATE UNIQUE INDEX one_set_in_hand ON sets (run_number) WHERE ended_at IS NULL;

  CREATE TABLE passes (
    set_number INTEGER NOT NULL REFERENCES sets (number),
    number INTEGER NOT NULL,
    state TEXT NOT NULL,
    PRIMARY KEY (set_number, number)
  ) STRICT, WITHOUT ROWID;

  CREATE TABLE frames (
    set_number INTEGER NOT NULL REFERENCES sets (number),
    number INTEGER NOT NULL,
    state TEXT NOT NULL,
    attempts INTEGER NOT NULL,
    file TEXT,
    arrived TEXT,
    sha256 TEXT,
    bytes INTEGER,
    fired_at TEXT,
    stored_at TEXT,
    verified_at TEXT,
    view TEXT NOT NULL CHECK (json_valid(view)),
    PRIMARY KEY (set_number, number)
  ) STRICT, WITHOUT ROWID;

  CREATE TABLE asides (
    set_number INTEGER NOT NULL REFERENCES sets (number),
    file TEXT NOT NULL,
    reason TEXT NOT NULL,
    at TEXT NOT NULL,
    UNIQUE (set_number, file)
  ) STRICT;

  CREATE TABLE strays (
    set_number INTEGER NOT NULL REFERENCES sets (number),
    stray TEXT NOT NULL CHECK (json_valid(stray))
  ) STRICT;
  CREATE INDEX strays_of_set ON strays (set_number);

  CREATE TABLE notes (
    run_number INTEGER NOT NULL REFERENCES runs (number),
    -- NULL where it is about the run, and not about one of its sets.
    set_number INTEGER REFERENCES sets (number),
    note TEXT NOT NULL,
    at TEXT NOT NULL
  ) STRICT;
  CREATE INDEX notes_of_set ON notes (set_number) WHERE set_number IS NOT NULL;
  CREATE INDEX notes_of_run ON notes (run_number) WHERE set_number IS NULL;

  CREATE TABLE transitions (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    -- By the clock on the wall, ISO 8601, UTC.
    at TEXT NOT NULL,
    -- By the clock that nobody sets; starts anew with the computer.
    monotonic_ms REAL NOT NULL,
    about TEXT NOT NULL CHECK (about IN ('run', 'set', 'pass', 'frame', 'trouble')),
    run_number INTEGER NOT NULL REFERENCES runs (number),
    set_number INTEGER REFERENCES sets (number),
    -- The frame, or the pass, within the set.
    number INTEGER,
    from_state TEXT,
    to_state TEXT NOT NULL,
    detail TEXT CHECK (json_valid(detail))
  ) STRICT;
  CREATE INDEX transitions_of_set ON transitions (set_number) WHERE set_number IS NOT NULL;
  CREATE INDEX transitions_of_run ON transitions (run_number) WHERE set_number IS NULL;
  `,
  `
  -- What a camera told of having made, before any of it was fetched.
  CREATE TABLE made (
    set_number INTEGER NOT NULL REFERENCES sets (number),
    -- Where it is in the camera.
    folder TEXT NOT NULL,
    name TEXT NOT NULL,
    bytes INTEGER,
    -- The file that takes it, in the set folder's place for what arrives.
    arrived TEXT NOT NULL,
    released_at TEXT NOT NULL,
    -- Whether all of it was here, and was taken in or set aside.
    fetched INTEGER NOT NULL DEFAULT 0,
    UNIQUE (set_number, arrived)
  ) STRICT;
  `,
  // A frame may have two files. The second one is in the view; it is repeated here for queries on which files
  // are on disk.
  `
  ALTER TABLE frames ADD COLUMN partner_file TEXT;
  ALTER TABLE frames ADD COLUMN partner_bytes INTEGER;
  `,
  // Since sets can be extended, the numbers of frames do not count from dark to light any more; this orders
  // them.
  `
  ALTER TABLE frames ADD COLUMN offset_ev REAL;
  UPDATE frames SET offset_ev = json_extract(view, '$.offset');
  `,
  // What the pictures of a set tell of its light; they are judged while it is made and for a while after.
  `
  ALTER TABLE sets ADD COLUMN light TEXT CHECK (json_valid(light));
  `,
];

/**
 * @returns the number of steps that it has taken; 0 if it was only just created, -1 if it is a database of
 *   something else
 */
export function versionOf(database: Database): number {
  const version = database.pragma('user_version', { simple: true }) as number;
  if (database.pragma('application_id', { simple: true }) === APPLICATION_ID) return version;
  const tables = database.prepare('SELECT count(*) FROM sqlite_schema').pluck().get();
  return version === 0 && tables === 0 ? 0 : -1;
}

/** Whether an earlier program wrote it. */
export const isOlder = (version: number): boolean => version > 0 && version < STEPS.length;

/**
 * Takes the steps that the database has not taken yet; each is taken as a whole or not at all.
 * @throws SqliteError if one fails: those before it stay taken
 */
export function migrate(database: Database, steps: readonly string[] = STEPS): void {
  const step = database.transaction((number: number, sql: string) => {
    database.exec(sql);
    database.pragma(`user_version = ${number}`);
    if (number === 1) database.pragma(`application_id = ${APPLICATION_ID}`);
  });
  const taken = database.pragma('user_version', { simple: true }) as number;
  for (const [index, sql] of steps.entries()) if (index >= taken) step.immediate(index + 1, sql);
}
