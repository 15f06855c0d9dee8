// What every run does, on disk before it is told to anyone: the intent to release the shutter before the
// shutter is touched, each result before it is announced. A run is resumed from the journal alone. Each call
// is one transaction, and on disk when it returns; a call that fails has changed nothing. The journal refuses
// ways that the tables of states do not have. It knows nothing of bodies, links or picture files.
import type { Database } from 'better-sqlite3';
import { EvenrungError } from '../../shared/errors.js';
import { ENDED } from '../../shared/fold.js';
import type { Labels } from '../../shared/labels.js';
import type { LightView } from '../../shared/light.js';
import { setRequestSchema } from '../../shared/request.js';
import type { FrameState, FrameView, RunState, RunView, Trouble } from '../../shared/state.js';
import { refusedWhileWorking } from '../system/index.js';
import { type KeptAside, openDatabase } from './database.js';
import { JournalReader } from './reader.js';
import {
  type Aside,
  columns,
  type Extended,
  type FrameFile,
  type LeftOut,
  type Made,
  memoText,
  type PassState,
  type RunBegun,
  type RunEnded,
  type SetBegun,
  type SetChange,
  type Stray,
  type Transition,
  type Versioned,
  type WholeRunState,
} from './stored.js';
import { assertWay, FRAME_WAYS, RUN_WAYS, WHOLE_RUN_WAYS } from './ways.js';

export interface JournalOptions {
  /** Called if a journal was damaged or of a newer program, so that another one was begun. */
  readonly onKeptAside: (kept: KeptAside) => void;
  /** The clock on the wall. */
  readonly now?: () => Date;
}

/** Something that has happened and could not be written yet. */
interface Late {
  readonly at: Date;
  readonly work: () => unknown;
}

interface Where {
  readonly about: Transition['about'];
  readonly run: number;
  readonly set?: number;
  readonly number?: number;
}

interface FoundRun {
  readonly number: number;
  readonly state: WholeRunState;
}

interface FoundSet {
  readonly number: number;
  readonly run: number;
  readonly state: RunState;
}

interface FoundFrame {
  readonly state: FrameState;
  readonly arrived: string | null;
  readonly sha256: string | null;
  readonly bytes: number | null;
}

function prepare(database: Database) {
  const one = <P extends unknown[], R = never>(sql: string) => database.prepare<P, R>(sql);
  return {
    findRun: one<[id: string], FoundRun>('SELECT number, state FROM runs WHERE id = ?'),
    findRunByNumber: one<[number: number], FoundRun>('SELECT number, state FROM runs WHERE number = ?'),
    findSet: one<[id: string], FoundSet>('SELECT number, run_number AS run, state FROM sets WHERE id = ?'),
    findSetInHand: one<[run: number], string>(
      'SELECT id FROM sets WHERE run_number = ? AND ended_at IS NULL',
    ).pluck(),
    findFrame: one<[set: number, number: number], FoundFrame>(
      'SELECT state, arrived, sha256, bytes FROM frames WHERE set_number = ? AND number = ?',
    ),
    findPass: one<[set: number, number: number], string>(
      'SELECT state FROM passes WHERE set_number = ? AND number = ?',
    ).pluck(),
    lastOrdinal: one<[run: number], number>(
      'SELECT coalesce(max(ordinal), 0) FROM sets WHERE run_number = ?',
    ).pluck(),
    addRun: one<unknown[]>(
      `INSERT INTO runs (id, kind, request, options_version, options, body, into_folder, state, created_at)
       VALUES (?, ?, ?, ?, ?, ?, ?, 'under-way', ?)`,
    ),
    takeUpRun: one<unknown[]>(
      "UPDATE runs SET state = 'under-way', sentence = NULL, error = NULL, ended_at = NULL WHERE number = ?",
    ),
    endRun: one<unknown[]>(
      'UPDATE runs SET state = ?, sentence = ?, error = ?, ended_at = ? WHERE number = ?',
    ),
    setOptions: one<unknown[]>('UPDATE runs SET options_version = ?, options = ? WHERE number = ?'),
    setRunMemo: one<unknown[]>('UPDATE runs SET memo = ? WHERE number = ?'),
    addSet: one<unknown[]>(
      `INSERT INTO sets (id, run_number, ordinal, viewpoint, name, note, folder, plan, base, state, started_at)
       VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
    ),
    setLabels: one<unknown[]>('UPDATE sets SET name = ?, note = ?, viewpoint = ? WHERE number = ?'),
    setBase: one<unknown[]>('UPDATE sets SET base = ? WHERE number = ?'),
    setMemo: one<unknown[]>('UPDATE sets SET memo = ? WHERE number = ?'),
    setLight: one<unknown[]>('UPDATE sets SET light = ? WHERE number = ?'),
    setState: one<unknown[]>('UPDATE sets SET state = ? WHERE number = ?'),
    setSentence: one<unknown[]>('UPDATE sets SET sentence = ? WHERE number = ?'),
    setError: one<unknown[]>('UPDATE sets SET error = ? WHERE number = ?'),
    setFolder: one<unknown[]>('UPDATE sets SET folder = ? WHERE number = ?'),
    takeUpSet: one<unknown[]>(
      'UPDATE sets SET state = ?, sentence = NULL, error = NULL, ended_at = NULL WHERE number = ?',
    ),
    setEndedAt: one<unknown[]>('UPDATE sets SET ended_at = ? WHERE number = ?'),
    addPass: one<unknown[]>(`INSERT INTO passes (set_number, number, state) VALUES (?, ?, 'planned')`),
    setPass: one<unknown[]>('UPDATE passes SET state = ? WHERE set_number = ? AND number = ?'),
    addFrame: one<unknown[]>(
      `INSERT INTO frames (set_number, number, offset_ev, state, attempts, file, partner_file, partner_bytes, view)
       VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
    ),
    setView: one<unknown[]>('UPDATE frames SET view = ? WHERE set_number = ? AND number = ?'),
    dropFrame: one<unknown[]>('DELETE FROM frames WHERE set_number = ? AND number = ?'),
    countPasses: one<[set: number], number>('SELECT count(*) FROM passes WHERE set_number = ?').pluck(),
    dropPasses: one<unknown[]>('DELETE FROM passes WHERE set_number = ? AND number > ?'),
    setPlan: one<unknown[]>('UPDATE sets SET plan = ? WHERE number = ?'),
    // The times follow timesAfter: a frame that is fired again loses its later times.
    setFrame: one<[named: Record<string, string | number | null>]>(
      `UPDATE frames SET state = :state, attempts = :attempts, file = :file, view = :view,
         arrived = :arrived, sha256 = :sha256, bytes = :bytes,
         partner_file = :partnerFile, partner_bytes = :partnerBytes,
         fired_at = iif(:timed, :firedAt, iif(:state = 'fired', :at, fired_at)),
         stored_at = iif(:timed, :storedAt, iif(:state = 'stored', :at, iif(:state = 'fired', NULL, stored_at))),
         verified_at = iif(:timed, :verifiedAt, iif(:state = 'verified' AND state <> 'verified', :at,
           iif(:state IN ('fired', 'stored'), NULL, verified_at)))
       WHERE set_number = :set AND number = :number`,
    ),
    // A resumed run may set the same file aside once more.
    addAside: one<unknown[]>(
      `INSERT INTO asides (set_number, file, reason, at) VALUES (?, ?, ?, ?)
       ON CONFLICT (set_number, file) DO UPDATE SET reason = excluded.reason`,
    ),
    addStray: one<unknown[]>('INSERT INTO strays (set_number, stray) VALUES (?, ?)'),
    removeStray: one<unknown[]>(
      'DELETE FROM strays WHERE rowid = (SELECT rowid FROM strays WHERE set_number = ? AND stray = ? LIMIT 1)',
    ),
    addMade: one<unknown[]>(
      `INSERT INTO made (set_number, folder, name, bytes, arrived, released_at) VALUES (?, ?, ?, ?, ?, ?)
       ON CONFLICT (set_number, arrived) DO NOTHING`,
    ),
    madeFetched: one<unknown[]>('UPDATE made SET fetched = 1 WHERE set_number = ? AND arrived = ?'),
    addNote: one<unknown[]>('INSERT INTO notes (run_number, set_number, note, at) VALUES (?, ?, ?, ?)'),
    addTransition: one<unknown[]>(
      `INSERT INTO transitions (at, monotonic_ms, about, run_number, set_number, number, from_state, to_state, detail)
       VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
    ),
  };
}

export class Journal extends JournalReader {
  private readonly statements: ReturnType<typeof prepare>;
  private readonly now: () => Date;
  private readonly transaction: (work: () => unknown) => unknown;
  private ended = false;
  /** In the order in which they happened. */
  private readonly late: Late[] = [];
  /** When the entry that is being written happened, if that was earlier; null if it is now. */
  private happenedAt: Date | null = null;

  /**
   * Whoever opens the journal owns the state folder (src/system/owner.ts). A journal that is damaged or of a
   * newer program is kept beside it under another name.
   * @throws EvenrungError state-not-writable
   */
  static override async open(
    stateFolder: string,
    { onKeptAside, now = () => new Date() }: JournalOptions = { onKeptAside: () => {} },
  ): Promise<Journal> {
    return new Journal(await openDatabase(stateFolder, onKeptAside, now), now);
  }

  /** @param database as openDatabase returns it */
  constructor(database: Database, now: () => Date = () => new Date()) {
    super(database);
    this.now = now;
    this.statements = prepare(database);
    this.transaction = database.transaction((work: () => unknown) => work()).immediate;
  }

  /**
   * Commits several calls as one: either all of them are on disk when this returns, or none is.
   * @throws EvenrungError storing-failed, and whatever the work throws
   */
  together<T>(work: () => T): T {
    return this.write(work);
  }

  /**
   * For something that has happened already, whether it can be written or not. If the disk refuses it, it
   * waits, and is written in one transaction with the next entry, ahead of it: the journal may be behind, but
   * never has a gap.
   * @returns why it waits; null if it is on disk
   */
  keepOrLater(work: () => unknown): EvenrungError | null {
    // Within a transaction it is kept, or not, together with the rest.
    if (this.database.inTransaction) {
      work();
      return null;
    }
    try {
      this.write(work);
      return null;
    } catch (cause) {
      if (!(cause instanceof EvenrungError)) throw cause;
      this.late.push({ at: this.now(), work });
      return cause;
    }
  }

  /**
   * Writes what waits, if anything does.
   * @throws EvenrungError storing-failed: then it still waits
   */
  catchUp(): void {
    if (this.late.length > 0) this.write(() => undefined);
  }

  // --- runs

  /** @throws EvenrungError storing-failed; Error if another run is under way */
  beginRun({ id, kind, request, options, body, into }: RunBegun): void {
    setRequestSchema.parse(request);
    this.write(() => {
      const { version, content } = options;
      const { lastInsertRowid } = this.statements.addRun.run(
        id,
        kind,
        JSON.stringify(request),
        version,
        JSON.stringify(content ?? null),
        columns.body.text(body),
        into,
        this.at(),
      );
      this.log({ about: 'run', run: Number(lastInsertRowid) }, null, 'under-way', null);
    });
  }

  /**
   * @throws EvenrungError storing-failed; Error if one of its sets is still under way, or if the run has
   *   ended
   */
  endRun(id: string, { state, sentence, error = null, endedAt }: RunEnded): void {
    this.write(() => {
      const run = this.findRun(id);
      assertWay(WHOLE_RUN_WAYS, run.state, state);
      const inHand = this.statements.findSetInHand.get(run.number);
      if (inHand !== undefined) throw new Error(`The run '${id}' cannot end: its set '${inHand}' has not.`);
      this.statements.endRun.run(state, sentence, error, endedAt ?? this.at(), run.number);
      this.log({ about: 'run', run: run.number }, run.state, state, { sentence, error });
    });
    this.tidy();
  }

  /**
   * Ends a run that nobody is going to resume, and its unfinished set, as halted. Its frames keep their
   * states.
   * @throws EvenrungError storing-failed; Error if it has ended
   */
  abandonRun(id: string, sentence: string): void {
    this.together(() => {
      const inHand = this.statements.findSetInHand.get(this.findRun(id).number);
      if (inHand !== undefined) this.abandonSet(inHand, { state: 'halted', sentence });
      this.endRun(id, { state: 'halted', sentence });
    });
  }

  /**
   * Ends an unfinished set that nobody is going to resume. Its frames keep their states.
   * @throws EvenrungError storing-failed; Error if it has ended
   */
  abandonSet(id: string, { state, ...change }: RunEnded): void {
    this.together(() => {
      if (this.findSet(id).state !== 'putting-back') this.setChanged(id, 'putting-back');
      this.setChanged(id, state, change);
    });
  }

  /**
   * Changes the options of a run that is under way.
   * @throws EvenrungError storing-failed
   */
  changeOptions(id: string, { version, content }: Versioned): void {
    this.write(() => {
      this.statements.setOptions.run(version, JSON.stringify(content ?? null), this.findRun(id).number);
    });
  }

  /**
   * Keeps what the schedule of a run has to know after a crash; it replaces what was kept before.
   * @param memo plain JSON
   * @throws EvenrungError storing-failed
   */
  rememberForRun(id: string, memo: unknown): void {
    this.write(() => {
      this.statements.setRunMemo.run(memoText(memo), this.findRun(id).number);
    });
  }

  /**
   * Adds a note to a run that belongs to none of its sets.
   * @throws EvenrungError storing-failed
   */
  addRunNote(id: string, note: string): void {
    this.write(() => {
      this.statements.addNote.run(this.findRun(id).number, null, note, this.at());
    });
  }

  // --- sets

  /**
   * @returns the set's ordinal within its run, counted from 1
   * @throws EvenrungError storing-failed; Error if the run has ended, or if it has an unfinished set
   */
  beginSet(begun: SetBegun): number {
    return this.write(() => {
      const run = this.findRun(begun.run);
      if (run.state !== 'under-way') throw new Error(`The run '${begun.run}' has ended.`);
      const ordinal = (this.statements.lastOrdinal.get(run.number) ?? 0) + 1;
      const state: RunState = 'preparing';
      const { lastInsertRowid } = this.statements.addSet.run(
        begun.id,
        run.number,
        ordinal,
        begun.viewpoint ?? null,
        begun.name ?? null,
        begun.note ?? null,
        begun.folder,
        columns.plan.text(begun.plan),
        columns.base.text(begun.base),
        state,
        begun.startedAt,
      );
      const set = Number(lastInsertRowid);
      for (const index of begun.plan.passes.keys()) this.statements.addPass.run(set, index + 1);
      for (const view of begun.frames) this.addFrame(set, view);
      this.log({ about: 'set', run: run.number, set }, null, state, { ordinal });
      return ordinal;
    });
  }

  /**
   * Gives a set another name, note or viewpoint; also after its end.
   * @throws EvenrungError storing-failed
   */
  relabelSet(id: string, { name, note, viewpoint }: Labels): void {
    this.write(() => {
      this.statements.setLabels.run(name, note, viewpoint, this.findSet(id).number);
    });
  }

  /**
   * Takes up a set that has ended again, and its run with it: from then on both are under way as if they had
   * never ended, and are found so after a crash.
   * @throws EvenrungError storing-failed; Error if one of them has not ended, or if another run is under
   *   way
   */
  takeUpAgain(id: string): void {
    this.write(() => {
      const set = this.findSet(id);
      const run = this.findRunByNumber(set.run);
      const state: RunState = 'preparing';
      if (!ENDED.has(set.state)) throw new Error(`The set '${id}' has not ended.`);
      assertWay(RUN_WAYS, set.state, state);
      assertWay(WHOLE_RUN_WAYS, run.state, 'under-way');
      this.statements.takeUpRun.run(run.number);
      this.log({ about: 'run', run: run.number }, run.state, 'under-way', null);
      this.statements.takeUpSet.run(state, set.number);
      this.log({ about: 'set', run: run.number, set: set.number }, set.state, state, null);
    });
  }

  /**
   * Extends a set that is under way.
   * @param plan the whole plan: the passes that there were, and the new ones after them
   * @param frames only the new frames, as planned
   * @throws EvenrungError storing-failed; Error if the set has ended
   */
  extendSet(id: string, { plan, frames }: Extended): void {
    this.write(() => {
      const set = this.setInHand(id);
      const { statements } = this;
      statements.setPlan.run(columns.plan.text(plan), set.number);
      for (let pass = statements.countPasses.get(set.number) ?? 0; pass < plan.passes.length; pass += 1)
        statements.addPass.run(set.number, pass + 1);
      for (const view of frames) {
        this.addFrame(set.number, view);
        const where = { about: 'frame', run: set.run, set: set.number, number: view.number } as const;
        this.log(where, null, view.state, { offset: view.offset });
      }
    });
  }

  /**
   * Takes frames out of a set that it was extended by and that were not made.
   * @param plan the plan without them
   * @param frames their numbers
   * @throws EvenrungError storing-failed; Error if the set has ended
   */
  leaveOut(id: string, { plan, frames }: LeftOut): void {
    this.write(() => {
      const set = this.setInHand(id);
      const { statements } = this;
      statements.setPlan.run(columns.plan.text(plan), set.number);
      statements.dropPasses.run(set.number, plan.passes.length);
      for (const number of frames) {
        const found = statements.findFrame.get(set.number, number);
        if (found === undefined) continue;
        statements.dropFrame.run(set.number, number);
        const where = { about: 'frame', run: set.run, set: set.number, number } as const;
        this.log(where, found.state, 'left-out', null);
      }
    });
  }

  private addFrame(set: number, view: FrameView): void {
    const { number, offset, state, attempts, file } = view;
    const { partnerFile, partnerBytes } = partnerIn(view);
    const text = columns.view.text(view);
    const { addFrame } = this.statements;
    addFrame.run(set, number, offset, state, attempts, file, partnerFile, partnerBytes, text);
  }

  /**
   * Enters the base as it was found once the body had been read.
   * @throws EvenrungError storing-failed
   */
  changeBase(id: string, base: RunView['base']): void {
    this.write(() => {
      this.statements.setBase.run(columns.base.text(base), this.findSet(id).number);
    });
  }

  /**
   * @throws EvenrungError storing-failed; Error if RUN_WAYS has no such way, or if the set has ended (see
   *   takeUpAgain)
   */
  setChanged(id: string, state: RunState, change: SetChange = {}): void {
    const isEnd = ENDED.has(state);
    this.write(() => {
      const set = this.setInHand(id);
      assertWay(RUN_WAYS, set.state, state);
      const { sentence, error, folder } = change;
      const endedAt = isEnd ? (change.endedAt ?? this.at()) : undefined;
      const { statements } = this;
      statements.setState.run(state, set.number);
      if (sentence !== undefined) statements.setSentence.run(sentence, set.number);
      if (error !== undefined) statements.setError.run(error, set.number);
      if (folder !== undefined) statements.setFolder.run(folder, set.number);
      if (endedAt !== undefined) statements.setEndedAt.run(endedAt, set.number);
      this.log({ about: 'set', run: set.run, set: set.number }, set.state, state, change);
    });
    if (isEnd) this.tidy();
  }

  /** @param pass counted from 1 @throws EvenrungError storing-failed */
  passChanged(id: string, pass: number, state: PassState): void {
    this.write(() => {
      const set = this.setInHand(id);
      const from = this.statements.findPass.get(set.number, pass);
      if (from === undefined) throw new Error(`The set '${id}' has no pass ${pass}.`);
      this.statements.setPass.run(state, set.number, pass);
      this.log({ about: 'pass', run: set.run, set: set.number, number: pass }, from, state, null);
    });
  }

  /** @throws EvenrungError storing-failed; Error if FRAME_WAYS has no such way */
  frameChanged(id: string, view: FrameView, file: FrameFile = {}): void {
    this.write(() => {
      const set = this.setInHand(id);
      const found = this.statements.findFrame.get(set.number, view.number);
      if (found === undefined) throw new Error(`The set '${id}' has no frame ${view.number}.`);
      assertWay(FRAME_WAYS, found.state, view.state);
      this.statements.setFrame.run({
        set: set.number,
        number: view.number,
        state: view.state,
        attempts: view.attempts,
        file: view.file,
        view: columns.view.text(view),
        arrived: file.arrived === undefined ? found.arrived : file.arrived,
        sha256: file.sha256 === undefined ? found.sha256 : file.sha256,
        bytes: file.bytes === undefined ? found.bytes : file.bytes,
        ...partnerIn(view),
        at: this.at(),
        timed: file.times === undefined ? 0 : 1,
        firedAt: file.times?.firedAt ?? null,
        storedAt: file.times?.storedAt ?? null,
        verifiedAt: file.times?.verifiedAt ?? null,
      });
      const { attempts, reason, file: name } = view;
      const { times: _, ...told } = file;
      const where = { about: 'frame', run: set.run, set: set.number, number: view.number } as const;
      // A verified frame that is verified again has only been given another mark.
      const sentence =
        found.state === view.state ? view.marks.map((mark) => mark.sentence).join(' ') || null : null;
      const { partnerFile: partner } = partnerIn(view);
      this.log(where, found.state, view.state, { attempts, reason, file: name, partner, sentence, ...told });
    });
  }

  /**
   * Replaces the marks of a verified frame; also after the end of its set.
   * @throws EvenrungError storing-failed; Error if the frame is not verified
   */
  marksChanged(id: string, view: FrameView): void {
    this.write(() => {
      const set = this.findSet(id);
      const found = this.statements.findFrame.get(set.number, view.number);
      if (found?.state !== 'verified')
        throw new Error(`The set '${id}' has no verified frame ${view.number}.`);
      this.statements.setView.run(columns.view.text(view), set.number, view.number);
      const where = { about: 'frame', run: set.run, set: set.number, number: view.number } as const;
      const sentence = view.marks.map((mark) => mark.sentence).join(' ') || null;
      this.log(where, found.state, view.state, { sentence });
    });
  }

  /**
   * @param trouble null if it is over
   * @throws EvenrungError storing-failed
   */
  troubleChanged(id: string, trouble: Trouble | null): void {
    this.write(() => {
      const set = this.findSet(id);
      this.log({ about: 'trouble', run: set.run, set: set.number }, null, trouble?.doing ?? 'over', trouble);
    });
  }

  /**
   * Keeps what a set has to know after a crash, apart from its frames; it replaces what was kept before.
   * @param memo plain JSON
   * @throws EvenrungError storing-failed
   */
  rememberForSet(id: string, memo: unknown): void {
    this.write(() => {
      this.statements.setMemo.run(memoText(memo), this.findSet(id).number);
    });
  }

  /**
   * Keeps what the pictures of a set tell of its light; it replaces what they told before. Also after the end
   * of the set.
   * @throws EvenrungError storing-failed
   */
  lightChanged(id: string, light: LightView): void {
    this.write(() => {
      this.statements.setLight.run(columns.light.text(light), this.findSet(id).number);
    });
  }

  /** @throws EvenrungError storing-failed */
  addNote(id: string, note: string): void {
    this.write(() => {
      const set = this.findSet(id);
      this.statements.addNote.run(set.run, set.number, note, this.at());
    });
  }

  /**
   * Enters a file of the set folder that is no frame of the set. If it is entered already, only the reason
   * changes.
   * @throws EvenrungError storing-failed
   */
  addAside(id: string, { file, reason }: Aside): void {
    this.write(() => {
      this.statements.addAside.run(this.findSet(id).number, file, reason, this.at());
    });
  }

  /**
   * Enters a release whose file has not come.
   * @throws EvenrungError storing-failed
   */
  addStray(id: string, stray: Stray): void {
    this.write(() => {
      this.statements.addStray.run(this.findSet(id).number, columns.stray.text(stray));
    });
  }

  /**
   * The stray's file has come after all. A stray that was never entered is not an error.
   * @throws EvenrungError storing-failed
   */
  removeStray(id: string, stray: Stray): void {
    this.write(() => {
      this.statements.removeStray.run(this.findSet(id).number, columns.stray.text(stray));
    });
  }

  /**
   * Enters a file that the camera says it made, before any of it is fetched.
   * @throws EvenrungError storing-failed
   */
  addMade(id: string, { folder, name, bytes, arrived, releasedAt }: Made): void {
    this.write(() => {
      this.statements.addMade.run(this.findSet(id).number, folder, name, bytes, arrived, releasedAt);
    });
  }

  /**
   * All of that file is here, and was taken in or set aside.
   * @throws EvenrungError storing-failed
   */
  madeFetched(id: string, arrived: string): void {
    this.write(() => {
      this.statements.madeFetched.run(this.findSet(id).number, arrived);
    });
  }

  /**
   * First writes what waits, and copies the log into the database. Nothing can be read or written afterwards.
   * Closing twice is not an error.
   */
  override close(): void {
    try {
      this.catchUp();
    } catch {
      // The next program that opens the journal finds the run unfinished, and takes in the files that lie in
      // its folder.
    }
    this.ended = true;
    super.close();
  }

  private findRun(id: string): FoundRun {
    const run = this.statements.findRun.get(id);
    if (run === undefined) throw new Error(`The journal knows no run '${id}'.`);
    return run;
  }

  private findRunByNumber(number: number): FoundRun {
    const run = this.statements.findRunByNumber.get(number);
    if (run === undefined) throw new Error(`The journal knows no run of number ${number}.`);
    return run;
  }

  private findSet(id: string): FoundSet {
    const set = this.statements.findSet.get(id);
    if (set === undefined) throw new Error(`The journal knows no set '${id}'.`);
    return set;
  }

  /** @throws Error if the set has ended: nothing is fired for it any more */
  private setInHand(id: string): FoundSet {
    const set = this.findSet(id);
    if (ENDED.has(set.state)) throw new Error(`The set '${id}' has ended.`);
    return set;
  }

  private log(where: Where, from: string | null, to: string, detail: object | null): void {
    this.statements.addTransition.run(
      this.at(),
      Number(process.hrtime.bigint()) / 1e6,
      where.about,
      where.run,
      where.set ?? null,
      where.number ?? null,
      from,
      to,
      detail === null ? null : withoutNulls(detail),
    );
  }

  private at(): string {
    return (this.happenedAt ?? this.now()).toISOString();
  }

  /** Within `together` this is a part of the same transaction. */
  private write<T>(work: () => T): T {
    if (this.ended) throw new Error('The journal is closed.');
    try {
      if (this.database.inTransaction || this.late.length === 0) return this.transaction(work) as T;
      const value = this.transaction(() => {
        this.writeLate();
        return work();
      });
      this.late.length = 0;
      return value as T;
    } catch (cause) {
      throw refusedWhileWorking(this.file, cause);
    }
  }

  private writeLate(): void {
    try {
      for (const { at, work } of this.late) {
        this.happenedAt = at;
        work();
      }
    } finally {
      this.happenedAt = null;
    }
  }

  /**
   * Between two sets nobody waits, so the log is copied into the database now, and not in the middle of the
   * next set. Everything in the log is on disk already, so a failure loses nothing: the copy is tried again
   * when the log has grown long.
   */
  private tidy(): void {
    if (this.database.inTransaction) return;
    try {
      this.database.pragma('wal_checkpoint(PASSIVE)');
    } catch {
      // If the disk takes nothing any more, the next write reports that.
    }
  }
}

/** The second file of a frame, if it is in the set folder. */
function partnerIn({ partner }: FrameView): { partnerFile: string | null; partnerBytes: number | null } {
  return partner?.state === 'there'
    ? { partnerFile: partner.file, partnerBytes: partner.bytes }
    : { partnerFile: null, partnerBytes: null };
}

/** @returns JSON of the entries that are not null; null if there are none */
function withoutNulls(detail: object): string | null {
  const left = Object.entries(detail).filter(([, value]) => value !== null && value !== undefined);
  return left.length === 0 ? null : JSON.stringify(Object.fromEntries(left));
}
