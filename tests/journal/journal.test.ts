// The journal: what is written comes back, ways that no table knows are refused, a transaction is there whole or not at all, and
// a file that cannot be used is kept aside or told, never lost and never swallowed.
import {
  chmod,
  mkdir,
  mkdtemp,
  readdir,
  readFile,
  rename,
  rm,
  stat,
  truncate,
  writeFile,
} from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import Sqlite, { type Database } from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { FrameView } from '../../shared/state.js';
import { openDatabase } from '../../src/journal/database.js';
import { Journal, JournalReader, journalFile, type KeptAside } from '../../src/journal/index.js';
import { APPLICATION_ID, migrate, STEPS } from '../../src/journal/schema.js';
import { copyJournal, dump, frame, PARTNER, PLAN, RUN, setBegun } from './journal-sample.js';

const NOW = new Date(2026, 10, 25, 16, 42, 10);
const AT = NOW.toISOString();

let folder = '';
let state = '';
let kept: KeptAside[] = [];
let opened: JournalReader[] = [];
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  state = path.join(folder, 'state');
  kept = [];
  opened = [];
});
afterEach(async () => {
  for (const journal of opened) journal.close();
  await rm(folder, { recursive: true, force: true });
});

async function open(at = state): Promise<Journal> {
  const journal = await Journal.open(at, { onKeptAside: (one) => kept.push(one), now: () => NOW });
  opened.push(journal);
  return journal;
}

/** With its database in hand. */
async function openBare(): Promise<{ journal: Journal; database: Database }> {
  const database = await openDatabase(
    state,
    (one) => kept.push(one),
    () => NOW,
  );
  const journal = new Journal(database, () => NOW);
  opened.push(journal);
  return { journal, database };
}

/** A database whose disk is full when it is told so. */
async function refusing(): Promise<{ database: Database; refuse: (isFull: boolean) => void }> {
  const { database } = await openBare();
  let isFull = false;
  return {
    database: new Proxy(database, {
      get: (of, name) => {
        const value: unknown = Reflect.get(of, name);
        if (name !== 'transaction') return typeof value === 'function' ? value.bind(of) : value;
        return (work: (inner: () => unknown) => unknown) => {
          const real = of.transaction(work);
          const immediate = (inner: () => unknown) => {
            if (isFull) throw new Sqlite.SqliteError('database or disk is full', 'SQLITE_FULL');
            return real.immediate(inner);
          };
          return Object.assign(immediate, { immediate, deferred: real.deferred });
        };
      },
    }),
    refuse: (full) => {
      isFull = full;
    },
  };
}

async function withSet(id = 'set-1'): Promise<Journal> {
  const journal = await open();
  journal.beginRun(RUN);
  journal.beginSet(setBegun(id));
  return journal;
}

function fire(journal: Journal, set: string, number: number): void {
  journal.frameChanged(set, frame(number, 'armed'));
  journal.frameChanged(set, frame(number, 'fired'));
}

function make(journal: Journal, set: string, number: number): void {
  fire(journal, set, number);
  journal.frameChanged(set, frame(number, 'stored'), { arrived: `.incoming/${number}.jpg`, bytes: 1000 });
  journal.frameChanged(set, frame(number, 'verified', { file: `0${number}.jpg` }), {
    arrived: null,
    sha256: 'ab'.repeat(32),
  });
}

function endSet(journal: Journal, set: string, outcome: 'complete' | 'halted' = 'complete'): void {
  journal.setChanged(set, 'putting-back');
  journal.setChanged(set, outcome, { sentence: 'It ended.', error: null, folder: `/pictures/${set}` });
}

describe('what was written', () => {
  it('is nothing at first', async () => {
    const journal = await open();
    expect(journal.unfinishedRun()).toBeNull();
    expect([journal.runs(), journal.sets(), journal.transitions()]).toEqual([[], [], []]);
    expect([journal.run('x'), journal.set('x')]).toEqual([null, null]);
    expect(kept).toEqual([]);
  });

  it('says after a crash which run is unfinished, which set is in hand, and where each frame stands', async () => {
    const journal = await withSet('set-1');
    journal.setChanged('set-1', 'firing');
    make(journal, 'set-1', 1);
    endSet(journal, 'set-1', 'halted');
    journal.beginSet(setBegun('set-2', RUN.id, { viewpoint: 'from the jetty', name: 'Dusk', note: 'Wind.' }));
    journal.changeBase('set-2', { shutter: '1/30', aperture: 'f/8', iso: '200' });
    journal.setChanged('set-2', 'firing');
    journal.passChanged('set-2', 1, 'firing');
    make(journal, 'set-2', 1);
    fire(journal, 'set-2', 2);
    journal.frameChanged('set-2', frame(2, 'rejected', { reason: 'Nothing came back.' }));
    journal.addStray('set-2', {
      frame: 2,
      offset: -3,
      shutter: '2^-9',
      releasedAt: AT,
      reason: 'Nothing came back.',
    });
    journal.addAside('set-2', { file: 'set-aside/other.jpg', reason: 'Not needed.' });
    journal.addAside('set-2', { file: 'set-aside/other.jpg', reason: 'A repeat.' });
    journal.addNote('set-2', 'The light moved.');
    journal.addRunNote(RUN.id, 'Begun late.');
    journal.rememberForSet('set-2', { meteredTv: 6.25 });
    journal.rememberForRun(RUN.id, { due: AT });
    journal.frameChanged('set-2', frame(3, 'stored', { attempts: 1 }), { arrived: '.incoming/3.jpg' });
    fire(journal, 'set-2', 4);

    await copyJournal(state, path.join(folder, 'after'));
    const after = await open(path.join(folder, 'after'));
    const found = after.unfinishedRun();
    expect(found?.run).toEqual({
      ...RUN,
      number: 1,
      state: 'under-way',
      createdAt: AT,
      endedAt: null,
      sentence: null,
      error: null,
      memo: { due: AT },
      sets: 2,
      notes: ['Begun late.'],
    });
    const { frames, ...set } = found?.set ?? { frames: [] };
    expect(set).toEqual({
      number: 2,
      id: 'set-2',
      run: RUN.id,
      ordinal: 2,
      viewpoint: 'from the jetty',
      name: 'Dusk',
      note: 'Wind.',
      folder: '/pictures/boathouse/set-2',
      state: 'firing',
      startedAt: '2026-11-25T15:42:10.000Z',
      endedAt: null,
      sentence: null,
      error: null,
      verified: 1,
      middle: 1,
      plan: PLAN,
      base: { shutter: '1/30', aperture: 'f/8', iso: '200' },
      passes: ['firing', 'planned', 'planned'],
      asides: [{ file: 'set-aside/other.jpg', reason: 'A repeat.' }],
      made: [],
      strays: [{ frame: 2, offset: -3, shutter: '2^-9', releasedAt: AT, reason: 'Nothing came back.' }],
      notes: ['The light moved.'],
      memo: { meteredTv: 6.25 },
      light: null,
    });
    const untouched = {
      arrived: null,
      sha256: null,
      bytes: null,
      firedAt: null,
      storedAt: null,
      verifiedAt: null,
    };
    expect(frames.slice(0, 5)).toEqual([
      {
        view: frame(1, 'verified', { file: '01.jpg' }),
        arrived: null,
        sha256: 'ab'.repeat(32),
        bytes: 1000,
        firedAt: AT,
        storedAt: AT,
        verifiedAt: AT,
      },
      { ...untouched, view: frame(2, 'rejected', { reason: 'Nothing came back.' }), firedAt: AT },
      { ...untouched, view: frame(3, 'stored'), arrived: '.incoming/3.jpg', storedAt: AT },
      { ...untouched, view: frame(4, 'fired'), firedAt: AT },
      { ...untouched, view: frame(5) },
    ]);
    expect(frames).toHaveLength(9);
    expect(after.set('set-1')?.frames[0]?.view.state).toBe('verified');
  });

  it('goes on where another program left it', async () => {
    const journal = await withSet();
    fire(journal, 'set-1', 1);
    journal.close();
    const next = await open();
    next.frameChanged('set-1', frame(1, 'rejected', { reason: 'The program ended.' }));
    expect(next.set('set-1')?.frames[0]?.view.reason).toBe('The program ended.');
  });

  it('is logged, step by step, with the time of both clocks', async () => {
    const before = Number(process.hrtime.bigint()) / 1e6;
    const journal = await withSet();
    journal.setChanged('set-1', 'firing');
    fire(journal, 'set-1', 2);
    journal.passChanged('set-1', 1, 'done');
    const trouble = {
      doing: 'reconnecting',
      code: 'body-lost',
      sentence: 'It is gone.',
      next: 'Wait.',
    } as const;
    journal.troubleChanged('set-1', trouble);
    journal.troubleChanged('set-1', null);
    endSet(journal, 'set-1', 'halted');
    journal.endRun(RUN.id, { state: 'halted', sentence: 'It halted.', error: 'body-lost' });
    const after = Number(process.hrtime.bigint()) / 1e6;

    const all = journal.transitions();
    expect(all.map(({ about, set, number, from, to }) => [about, set, number, from, to])).toEqual([
      ['run', null, null, null, 'under-way'],
      ['set', 'set-1', null, null, 'preparing'],
      ['set', 'set-1', null, 'preparing', 'firing'],
      ['frame', 'set-1', 2, 'planned', 'armed'],
      ['frame', 'set-1', 2, 'armed', 'fired'],
      ['pass', 'set-1', 1, 'planned', 'done'],
      ['trouble', 'set-1', null, null, 'reconnecting'],
      ['trouble', 'set-1', null, null, 'over'],
      ['set', 'set-1', null, 'firing', 'putting-back'],
      ['set', 'set-1', null, 'putting-back', 'halted'],
      ['run', null, null, 'under-way', 'halted'],
    ]);
    expect(all.map(({ seq }) => seq)).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]);
    expect(new Set(all.map(({ at, run }) => `${at} ${run}`))).toEqual(new Set([`${AT} ${RUN.id}`]));
    const ticks = [before, ...all.map(({ monotonicMs }) => monotonicMs), after];
    expect(ticks).toEqual([...ticks].sort((a, b) => a - b));
    expect(all[4]?.detail).toEqual({ attempts: 1 });
    expect(all[6]?.detail).toEqual(trouble);
    expect(all[7]?.detail).toBeNull();
    expect(all.at(-1)?.detail).toEqual({ sentence: 'It halted.', error: 'body-lost' });

    expect(journal.transitions({ after: 3, limit: 2 }).map(({ seq }) => seq)).toEqual([4, 5]);
    expect(journal.transitions({ set: 'set-1', after: 8 }).map(({ seq }) => seq)).toEqual([9, 10]);
  });

  it('a mark on a verified frame is kept, and neither its time nor its file is another one for it', async () => {
    let now = NOW;
    const database = await openDatabase(
      state,
      (one) => kept.push(one),
      () => now,
    );
    const journal = new Journal(database, () => now);
    opened.push(journal);
    journal.beginRun(RUN);
    journal.beginSet(setBegun('set-1'));
    make(journal, 'set-1', 1);
    const before = journal.set('set-1')?.frames[0];
    now = new Date(NOW.getTime() + 600_000);
    const sentence = 'Its brightness does not fit its neighbours.';
    const marks = [{ code: 'ratio' as const, sentence }];
    journal.frameChanged('set-1', frame(1, 'verified', { file: '01.jpg', marks }));
    expect(journal.set('set-1')?.frames[0]).toEqual({ ...before, view: { ...before?.view, marks } });
    expect(journal.transitions({ set: 'set-1' }).at(-1)).toMatchObject({
      from: 'verified',
      to: 'verified',
      detail: { sentence },
    });
  });

  it('what the pictures tell is kept after the end, too: the light of the set, and marks of its verified frames alone', async () => {
    const journal = await withSet();
    make(journal, 'set-1', 1);
    endSet(journal, 'set-1', 'halted');
    expect(journal.set('set-1')?.light).toBeNull();
    const light = {
      ...{ sentence: 'The set holds everything.', coverage: null, frames: [], again: [1], map: 2 },
      proof: { sentence: 'A proof of 1 frame.', isMade: true, madeAt: NOW.toISOString() },
    };
    journal.lightChanged('set-1', light);
    expect(journal.set('set-1')?.light).toEqual(light);
    const before = journal.set('set-1')?.frames[0];
    const sentence =
      'The camera moved: this picture is shifted by about 8 pixels against most of the others.';
    const marks = [{ code: 'camera-moved' as const, sentence }];
    journal.marksChanged('set-1', frame(1, 'verified', { file: '01.jpg', marks }));
    expect(journal.set('set-1')?.frames[0]).toEqual({ ...before, view: { ...before?.view, marks } });
    expect(journal.transitions({ set: 'set-1' }).at(-1)).toMatchObject({
      ...{ about: 'frame', number: 1, from: 'verified', to: 'verified', detail: { sentence } },
    });
    expect(() => journal.marksChanged('set-1', frame(2, 'verified', { marks }))).toThrow(
      "The set 'set-1' has no verified frame 2.",
    );
    const odd = { ...light, again: ['one'] } as unknown as typeof light;
    expect(() => journal.lightChanged('set-1', odd)).toThrow(
      'light of a set in the journal is not understood',
    );
  });

  it('a frame of two files is kept with both, and with one once the other is not its any more', async () => {
    const journal = await withSet();
    make(journal, 'set-1', 1);
    journal.frameChanged('set-1', frame(1, 'verified', { file: '01.dng', partner: PARTNER }));
    const own = { number: 1, file: '01.dng', bytes: 1000, isPartner: false };
    expect(journal.keptNames(1)).toEqual([own, { number: 1, file: '01.jpg', bytes: 400, isPartner: true }]);
    expect(journal.transitions().at(-1)?.detail).toMatchObject({ file: '01.dng', partner: '01.jpg' });
    const missing = { state: 'missing', beside: 'EVRG0007.DNG' } as const;
    journal.frameChanged('set-1', frame(1, 'verified', { file: '01.dng', partner: missing }));
    expect(journal.keptNames(1)).toEqual([own]);
    expect(journal.set('set-1')?.frames[0]?.view.partner).toEqual(missing);
    expect(() =>
      journal.frameChanged('set-1', frame(1, 'verified', { partner: { state: 'lost' } as never })),
    ).toThrow('The record of a frame in the journal is not understood: partner.state');
  });

  it('is listed page by page, the newest first', async () => {
    const journal = await open();
    for (let run = 1; run <= 3; run += 1) {
      journal.beginRun({ ...RUN, id: `run-${run}` });
      for (let set = 1; set <= 3; set += 1) {
        journal.beginSet(setBegun(`set-${run}-${set}`, `run-${run}`));
        journal.setChanged(`set-${run}-${set}`, 'firing');
        for (let number = 1; number <= set; number += 1) make(journal, `set-${run}-${set}`, number);
        endSet(journal, `set-${run}-${set}`);
      }
      journal.endRun(`run-${run}`, { state: 'complete', sentence: 'Three sets.' });
    }
    const first = journal.sets({ limit: 4 });
    expect(first.map(({ id }) => id)).toEqual(['set-3-3', 'set-3-2', 'set-3-1', 'set-2-3']);
    expect(journal.sets({ limit: 4, before: first[3]?.number ?? 0 }).map(({ id }) => id)).toEqual([
      'set-2-2',
      'set-2-1',
      'set-1-3',
      'set-1-2',
    ]);
    expect(journal.sets({ run: 'run-2' }).map(({ id, ordinal }) => [id, ordinal])).toEqual([
      ['set-2-3', 3],
      ['set-2-2', 2],
      ['set-2-1', 1],
    ]);
    expect(journal.sets({ run: 'run-2', before: first[3]?.number ?? 0, limit: 1 })[0]?.id).toBe('set-2-2');
    expect(journal.sets({ run: 'none' })).toEqual([]);
    expect(first[1]).toEqual({
      number: 8,
      id: 'set-3-2',
      run: 'run-3',
      ordinal: 2,
      viewpoint: null,
      name: null,
      note: null,
      folder: '/pictures/set-3-2',
      state: 'complete',
      startedAt: '2026-11-25T15:42:10.000Z',
      endedAt: AT,
      sentence: 'It ended.',
      error: null,
      frames: 9,
      verified: 2,
      middle: 2,
    });
    const runs = journal.runs({ limit: 2 });
    expect(runs.map(({ id, sets, state }) => [id, sets, state])).toEqual([
      ['run-3', 3, 'complete'],
      ['run-2', 3, 'complete'],
    ]);
    expect(journal.runs({ before: runs[1]?.number ?? 0 }).map(({ id }) => id)).toEqual(['run-1']);
    expect(journal.unfinishedRun()).toBeNull();
  });

  it('is found by an index, however much there is', async () => {
    const { journal, database } = await openBare();
    const looked: string[] = [];
    const prepare = database.prepare.bind(database);
    database.prepare = ((sql: string) => {
      looked.push(sql);
      return prepare(sql);
    }) as typeof database.prepare;
    new Journal(database);
    const reads = looked.filter((sql) => sql.startsWith('SELECT'));
    expect(reads.length).toBeGreaterThan(15);
    for (const sql of reads) {
      const parameters = Array.from(sql.matchAll(/\?/g), () => 0);
      const steps = prepare<unknown[], { detail: string }>(`EXPLAIN QUERY PLAN ${sql}`).all(...parameters);
      const scans = steps.map(({ detail }) => detail).filter((detail) => /^SCAN (?!CONSTANT)/.test(detail));
      expect({ sql, scans }).toEqual({ sql, scans: [] });
    }
    expect(journal.runs()).toEqual([]);
  });

  it('a request stays as it was written, and one that is not understood any more is null', async () => {
    const { journal, database } = await openBare();
    journal.beginRun({ ...RUN, request: { frames: 9, step: '2/3' } });
    expect(journal.run(RUN.id)?.request).toEqual({ frames: 9, step: '2/3' });
    database.prepare('UPDATE runs SET request = ?').run('{"frames":9,"step":"1","gone":true}');
    expect(journal.run(RUN.id)?.request).toBeNull();
    expect(journal.unfinishedRun()?.run.id).toBe(RUN.id);
  });

  it('what a person writes is kept letter by letter', async () => {
    const journal = await open();
    const text = '"); DROP TABLE runs; -- \\ \n\u0000 Лодочный сарай ボート小屋 🛶';
    journal.beginRun({ ...RUN, options: { version: 7, content: { note: text } } });
    journal.changeOptions(RUN.id, { version: 8, content: { note: [text] } });
    journal.beginSet(setBegun('set-1', RUN.id, { note: text, name: text }));
    journal.addNote('set-1', text);
    expect(journal.run(RUN.id)?.options).toEqual({ version: 8, content: { note: [text] } });
    const set = journal.set('set-1');
    expect([set?.note, set?.name, set?.notes[0]]).toEqual([text, text, text]);
  });

  it('comes back from a journal that this version wrote when it was new', async () => {
    // A row as it lies in databases out there: where a schema of shared/ comes to refuse it, a new step has to bring it along.
    const { journal, database } = await openBare();
    journal.beginRun(RUN);
    journal.beginSet(setBegun('set-1'));
    const view =
      '{"number":1,"pass":1,"offset":-4,"exposureTime":0.0009765625,"shutter":"1/1000","state":"verified","attempts":1,"recorded":{"exposureTime":0.001,"fNumber":8,"iso":100},"clipped":{"dark":0.25,"light":0},"file":"01_-4EV.jpg","reason":null,"baseMoved":null}';
    database.prepare('UPDATE frames SET view = ? WHERE number = 1').run(view);
    database
      .prepare('UPDATE runs SET body = ?')
      .run('{"link":"usb","model":"Body of the boathouse","serial":null}');
    database
      .prepare('UPDATE sets SET plan = ?, base = ?')
      .run(
        '{"base":{"shutter":"1/60","exposureTime":0.015625},"offsets":[-4],"passes":[{"centre":-4,"step":0,"offsets":[-4],"frames":[{"offset":-4,"exposureTime":0.0009765625,"shutter":"1/1000","wanted":true}]}],"estimate":{"seconds":1,"passSeconds":[1],"actuations":1,"bytes":null,"longestGapSeconds":0},"warnings":[{"code":"hand-held","message":"Use a tripod."}],"provenLeast":true,"gapSeconds":0}',
        '{"shutter":"1/60","aperture":null,"iso":"100"}',
      );
    expect(journal.set('set-1')?.frames[0]?.view).toMatchObject({ state: 'verified', file: '01_-4EV.jpg' });
    // It was not kept then.
    expect(journal.set('set-1')?.frames[0]?.view.recorded).toMatchObject({ exposureTime: 0.001, bias: null });
    expect(journal.set('set-1')?.plan.passes).toHaveLength(1);
    expect(journal.run(RUN.id)?.body.serial).toBeNull();
  });
});

describe('refuses', () => {
  const unchanged = async (journal: Journal, work: () => void, words: string | RegExp) => {
    const before = dump(journal.file);
    expect(work).toThrow(words);
    expect(dump(journal.file)).toBe(before);
  };

  it('ways that the tables of states do not know', async () => {
    const journal = await withSet();
    await unchanged(
      journal,
      () => journal.frameChanged('set-1', frame(1, 'fired')),
      "There is no way from 'planned' to 'fired'.",
    );
    await unchanged(
      journal,
      () => journal.frameChanged('set-1', frame(1, 'planned')),
      "There is no way from 'planned' to 'planned'.",
    );
    await unchanged(
      journal,
      () => journal.setChanged('set-1', 'complete'),
      "There is no way from 'preparing' to 'complete'.",
    );
    endSet(journal, 'set-1');
    journal.endRun(RUN.id, { state: 'complete', sentence: 'Done.' });
    await unchanged(
      journal,
      () => journal.endRun(RUN.id, { state: 'halted', sentence: 'Again.' }),
      "There is no way from 'complete' to 'halted'.",
    );
    // The table knows that way, and it is taken with the run only.
    await unchanged(journal, () => journal.setChanged('set-1', 'preparing'), "The set 'set-1' has ended.");
  });

  it('a second run, a second set in hand, and ends out of their order', async () => {
    const journal = await withSet();
    await unchanged(journal, () => journal.beginRun({ ...RUN, id: 'run-2' }), /UNIQUE constraint failed/);
    await unchanged(journal, () => journal.beginSet(setBegun('set-2')), /UNIQUE constraint failed/);
    await unchanged(
      journal,
      () => journal.endRun(RUN.id, { state: 'complete', sentence: 'Done.' }),
      "The run 'run-1' cannot end: its set 'set-1' has not.",
    );
    endSet(journal, 'set-1');
    await unchanged(journal, () => journal.beginSet(setBegun('set-1')), /UNIQUE constraint failed/);
    await unchanged(
      journal,
      () => journal.frameChanged('set-1', frame(1, 'armed')),
      "The set 'set-1' has ended.",
    );
    await unchanged(journal, () => journal.passChanged('set-1', 1, 'done'), "The set 'set-1' has ended.");
    journal.endRun(RUN.id, { state: 'complete', sentence: 'Done.' });
    await unchanged(journal, () => journal.beginSet(setBegun('set-2')), "The run 'run-1' has ended.");
  });

  it('what it does not know', async () => {
    const journal = await withSet();
    const unknown = [
      () => journal.setChanged('x', 'firing'),
      () => journal.frameChanged('x', frame(1, 'armed')),
      () => journal.addNote('x', ''),
      () => journal.addAside('x', { file: 'a', reason: '' }),
      () => journal.rememberForSet('x', {}),
      () => journal.changeBase('x', setBegun('x').base),
      () => journal.troubleChanged('x', null),
    ];
    for (const work of unknown) await unchanged(journal, work, "The journal knows no set 'x'.");
    await unchanged(journal, () => journal.addRunNote('x', ''), "The journal knows no run 'x'.");
    await unchanged(
      journal,
      () => journal.frameChanged('set-1', { ...frame(9, 'armed'), number: 10 }),
      "The set 'set-1' has no frame 10.",
    );
    await unchanged(journal, () => journal.passChanged('set-1', 4, 'done'), "The set 'set-1' has no pass 4.");
  });

  it('what it could not read back', async () => {
    const journal = await withSet();
    await unchanged(
      journal,
      () => journal.frameChanged('set-1', frame(1, 'armed', { baseMoved: Number.NaN })),
      'The record of a frame in the journal is not understood',
    );
    await unchanged(
      journal,
      () => journal.changeBase('set-1', { shutter: '1/60' } as never),
      'The base of a set in the journal is not understood',
    );
  });

  it('everything once it is closed', async () => {
    const journal = await withSet();
    journal.close();
    journal.close();
    expect(() => journal.addNote('set-1', 'late')).toThrow('The journal is closed.');
    expect(() => journal.sets()).toThrow();
  });
});

describe('a set that is taken up again after its end', () => {
  const taken = async (kind: 'once' | 'scheduled' = 'once') => {
    const journal = await open();
    journal.beginRun({ ...RUN, kind });
    for (const id of ['set-1', 'set-2']) {
      journal.beginSet(setBegun(id));
      journal.setChanged(id, 'firing');
      make(journal, id, 1);
      endSet(journal, id, 'halted');
    }
    journal.endRun(RUN.id, { state: 'halted', sentence: 'It halted.', error: 'body-lost' });
    return journal;
  };

  it.each(['set-1', 'set-2'])('is under way with its run, and is found as such: %s', async (id) => {
    const journal = await taken('scheduled');
    journal.takeUpAgain(id);
    const found = journal.unfinishedRun();
    expect(found?.run).toMatchObject({ state: 'under-way', endedAt: null, sentence: null, error: null });
    expect(found?.set).toMatchObject({ id, state: 'preparing', endedAt: null, sentence: null, error: null });
    expect(found?.set?.frames[0]).toMatchObject({ view: { state: 'verified', file: '01.jpg' }, bytes: 1000 });
    const steps = journal.transitions().slice(-2);
    expect(steps.map(({ about, set, from, to }) => [about, set, from, to])).toEqual([
      ['run', null, 'halted', 'under-way'],
      ['set', id, 'halted', 'preparing'],
    ]);
    expect(() => journal.beginRun({ ...RUN, id: 'run-2' })).toThrow(/UNIQUE constraint failed/);
    endSet(journal, id);
    journal.endRun(RUN.id, { state: 'complete', sentence: 'Done.', endedAt: '2026-11-25T15:00:00.000Z' });
    expect(journal.run(RUN.id)).toMatchObject({ state: 'complete', endedAt: '2026-11-25T15:00:00.000Z' });
    expect(journal.unfinishedRun()).toBeNull();
  });

  it('only one, only once it has ended, and only while nothing else is under way', async () => {
    const journal = await taken();
    const refuses = (id: string, words: string | RegExp) => {
      const before = dump(journal.file);
      expect(() => journal.takeUpAgain(id)).toThrow(words);
      expect(dump(journal.file)).toBe(before);
    };
    refuses('set-9', "The journal knows no set 'set-9'.");
    journal.takeUpAgain('set-1');
    refuses('set-1', "The set 'set-1' has not ended.");
    refuses('set-2', "There is no way from 'under-way' to 'under-way'.");
    endSet(journal, 'set-1');
    refuses('set-1', "There is no way from 'under-way' to 'under-way'.");
    journal.endRun(RUN.id, { state: 'complete', sentence: 'Done.' });
    journal.beginRun({ ...RUN, id: 'run-2' });
    refuses('set-1', /UNIQUE constraint failed/);
  });

  it('has frames planned anew, and put back as they were, with their times', async () => {
    let now = NOW;
    const database = await openDatabase(
      state,
      (one) => kept.push(one),
      () => now,
    );
    const journal = new Journal(database, () => now);
    opened.push(journal);
    journal.beginRun(RUN);
    journal.beginSet(setBegun('set-1'));
    journal.setChanged('set-1', 'firing');
    make(journal, 'set-1', 1);
    endSet(journal, 'set-1');
    journal.endRun(RUN.id, { state: 'complete', sentence: 'Done.' });
    const before = journal.set('set-1')?.frames[0];
    now = new Date(NOW.getTime() + 600_000);
    journal.takeUpAgain('set-1');
    const none = { firedAt: null, storedAt: null, verifiedAt: null };
    const nothing = { arrived: null, sha256: null, bytes: null };
    journal.frameChanged('set-1', frame(1, 'planned', { attempts: 1 }), { ...nothing, times: none });
    expect(journal.set('set-1')?.frames[0]).toEqual({
      ...{ ...nothing, ...none },
      view: frame(1, 'planned', { attempts: 1 }),
    });
    fire(journal, 'set-1', 1);
    expect(journal.set('set-1')?.frames[0]?.firedAt).toBe(now.toISOString());
    journal.frameChanged('set-1', frame(1, 'rejected', { reason: 'Nothing came.' }));
    if (before === undefined) throw new Error('There is no frame.');
    const { view, sha256, bytes, firedAt, storedAt, verifiedAt } = before;
    journal.frameChanged('set-1', view, { sha256, bytes, times: { firedAt, storedAt, verifiedAt } });
    expect(journal.set('set-1')?.frames[0]).toEqual(before);
    expect(before.verifiedAt).toBe(AT);
  });

  it('and that nobody goes on with, ends as it is told', async () => {
    const journal = await taken();
    journal.takeUpAgain('set-1');
    journal.setChanged('set-1', 'making-up');
    journal.abandonSet('set-1', { state: 'stopped', sentence: 'It was left.' });
    expect(journal.set('set-1')).toMatchObject({ state: 'stopped', sentence: 'It was left.', endedAt: AT });
  });
});

/** A frame at either end of the nine, in passes of their own. */
const EXTENDED = {
  plan: {
    ...PLAN,
    offsets: [-5, ...PLAN.offsets, 5],
    passes: [
      ...PLAN.passes,
      ...[-5, 5].map((offset) => ({
        ...{ centre: offset, step: 0, offsets: [offset] },
        frames: [{ offset, exposureTime: 2 ** (offset - 6), shutter: `2^${offset - 6}`, wanted: true }],
      })),
    ],
  },
  frames: [-5, 5].map((offset, index) => ({
    ...frame(9),
    ...{ number: 10 + index, pass: 4 + index, offset, exposureTime: 2 ** (offset - 6) },
  })),
};

describe('a set that is extended', () => {
  const numbers = (journal: Journal) => journal.set('set-1')?.frames.map(({ view }) => view.number);

  it('has its frames from dark to light, whatever their numbers, and passes for them', async () => {
    const journal = await withSet();
    journal.extendSet('set-1', EXTENDED);
    const set = journal.set('set-1');
    expect(numbers(journal)).toEqual([10, 1, 2, 3, 4, 5, 6, 7, 8, 9, 11]);
    expect(set?.plan.offsets).toEqual([-5, -4, -3, -2, -1, 0, 1, 2, 3, 4, 5]);
    expect(set?.passes).toHaveLength(5);
    expect(set?.passes.slice(3)).toEqual(['planned', 'planned']);
    for (const view of EXTENDED.frames)
      for (const state of ['armed', 'fired'] as const) journal.frameChanged('set-1', { ...view, state });
    expect(journal.transitions({ set: 'set-1' }).filter(({ number }) => number === 10)).toMatchObject([
      { about: 'frame', from: null, to: 'planned', detail: { offset: -5 } },
      { from: 'planned', to: 'armed' },
      { from: 'armed', to: 'fired' },
    ]);
  });

  it('loses again what was not made, and the passes that only it had', async () => {
    const journal = await withSet();
    journal.extendSet('set-1', EXTENDED);
    const { plan } = EXTENDED;
    const [, ...rest] = plan.offsets;
    const passes = plan.passes.map((pass) =>
      pass.centre === -5 ? { ...pass, frames: pass.frames.map((one) => ({ ...one, wanted: false })) } : pass,
    );
    // The brighter one was made, and its pass keeps its number.
    journal.leaveOut('set-1', { plan: { ...plan, offsets: rest, passes }, frames: [10] });
    expect(numbers(journal)).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9, 11]);
    expect(journal.set('set-1')?.passes).toHaveLength(5);
    journal.leaveOut('set-1', { plan: PLAN, frames: [11, 12] });
    expect(numbers(journal)).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9]);
    expect(journal.set('set-1')?.passes).toHaveLength(3);
    expect(journal.transitions({ set: 'set-1' }).at(-1)).toMatchObject({ number: 11, to: 'left-out' });
  });

  it('has a middle that its offsets tell', async () => {
    const journal = await withSet();
    journal.extendSet('set-1', EXTENDED);
    const verify = (view: FrameView) => {
      for (const state of ['armed', 'fired', 'stored', 'verified'] as const)
        journal.frameChanged('set-1', { ...view, state });
    };
    for (const view of EXTENDED.frames) verify(view);
    // Both ends are equally far from the middle: the darker one counts.
    expect(journal.sets()[0]?.middle).toBe(10);
    verify(frame(4));
    expect(journal.sets()[0]?.middle).toBe(4);
    verify(frame(5));
    expect(journal.sets()[0]?.middle).toBe(5);
  });

  it('has to be in hand', async () => {
    const journal = await withSet();
    journal.abandonRun(RUN.id, 'Nobody resumes it.');
    expect(() => journal.extendSet('set-1', EXTENDED)).toThrow('has ended');
    expect(() => journal.leaveOut('set-1', { plan: PLAN, frames: [9] })).toThrow('has ended');
  });
});

describe('a transaction', () => {
  /** Each method that writes, from a set in hand with one frame fired. */
  const WRITES: Readonly<Record<string, (journal: Journal) => void>> = {
    beginRun: (journal) => {
      journal.abandonRun(RUN.id, 'Nobody resumes it.');
      journal.beginRun({ ...RUN, id: 'run-2' });
    },
    abandonRun: (journal) => journal.abandonRun(RUN.id, 'Nobody resumes it.'),
    changeOptions: (journal) => journal.changeOptions(RUN.id, { version: 2, content: null }),
    rememberForRun: (journal) => journal.rememberForRun(RUN.id, { due: 1 }),
    addRunNote: (journal) => journal.addRunNote(RUN.id, 'A note.'),
    'the next set': (journal) => {
      endSet(journal, 'set-1');
      journal.beginSet(setBegun('set-2'));
    },
    takeUpAgain: (journal) => {
      journal.abandonRun(RUN.id, 'Nobody resumes it.');
      journal.takeUpAgain('set-1');
    },
    abandonSet: (journal) =>
      journal.abandonSet('set-1', { state: 'stopped', sentence: 'Left.', error: 'internal' }),
    extendSet: (journal) => journal.extendSet('set-1', EXTENDED),
    leaveOut: (journal) => journal.leaveOut('set-1', { plan: PLAN, frames: [1, 9] }),
    changeBase: (journal) => journal.changeBase('set-1', { shutter: '1', aperture: null, iso: null }),
    setChanged: (journal) =>
      journal.setChanged('set-1', 'putting-back', { sentence: 'S.', error: 'internal', folder: null }),
    passChanged: (journal) => journal.passChanged('set-1', 2, 'arming'),
    frameChanged: (journal) => journal.frameChanged('set-1', frame(1, 'stored'), { arrived: 'a', bytes: 1 }),
    troubleChanged: (journal) => journal.troubleChanged('set-1', null),
    rememberForSet: (journal) => journal.rememberForSet('set-1', { a: 1 }),
    addNote: (journal) => journal.addNote('set-1', 'A note.'),
    addAside: (journal) => journal.addAside('set-1', { file: 'a', reason: 'b' }),
    addStray: (journal) =>
      journal.addStray('set-1', { frame: 1, offset: 0, shutter: '1', releasedAt: AT, reason: 'r' }),
  };

  it.each(Object.entries(WRITES))('%s: whichever write fails, none of it is there', async (_, write) => {
    const { journal, database } = await openBare();
    journal.beginRun(RUN);
    journal.beginSet(setBegun('set-1'));
    journal.setChanged('set-1', 'firing');
    fire(journal, 'set-1', 1);
    const before = dump(journal.file);
    // The n-th write to any table fails, for each n that there is.
    let writes = 0;
    let failAt = 1;
    database.function('counted', () => {
      writes += 1;
      return writes === failAt ? 1 : 0;
    });
    for (const table of ['runs', 'sets', 'passes', 'frames', 'asides', 'strays', 'notes', 'transitions'])
      for (const what of ['INSERT', 'UPDATE', 'DELETE'])
        database.exec(`CREATE TEMP TRIGGER ${what}_${table} BEFORE ${what} ON main.${table}
          BEGIN SELECT RAISE(ABORT, 'This write fails.') WHERE counted() = 1; END`);
    for (; ; failAt += 1) {
      writes = 0;
      let failed = false;
      try {
        journal.together(() => write(journal));
      } catch (cause) {
        failed = true;
        expect((cause as Error).message).toBe('This write fails.');
      }
      if (!failed) break;
      expect(dump(journal.file)).toBe(before);
      expect(failAt).toBeLessThan(100);
    }
    // Each was reached, and in the end all went well.
    expect(failAt).toBe(writes + 1);
    expect(writes).toBeGreaterThan(0);
    expect(dump(journal.file)).not.toBe(before);
  });

  it('of several calls is there whole or not at all', async () => {
    const journal = await withSet();
    const before = dump(journal.file);
    expect(() =>
      journal.together(() => {
        fire(journal, 'set-1', 1);
        journal.frameChanged('set-1', frame(1, 'verified'));
      }),
    ).toThrow("There is no way from 'fired' to 'verified'.");
    expect(dump(journal.file)).toBe(before);
    expect(journal.together(() => fire(journal, 'set-1', 1))).toBeUndefined();
    expect(journal.set('set-1')?.frames[0]?.view.state).toBe('fired');
  });

  it('on a full disk is told and leaves nothing half done; with room again the journal goes on', async () => {
    const { journal, database } = await openBare();
    journal.beginRun(RUN);
    journal.beginSet(setBegun('set-1'));
    journal.setChanged('set-1', 'firing');
    const pages = database.pragma('page_count', { simple: true }) as number;
    database.pragma(`max_page_count = ${pages}`);
    let failed: unknown;
    let before = '';
    for (let step = 0; failed === undefined; step += 1) {
      expect(step).toBeLessThan(1000);
      before = dump(journal.file);
      try {
        journal.together(() => {
          journal.addNote('set-1', `${step} ${'x'.repeat(500)}`);
          journal.addAside('set-1', { file: `set-aside/${step}`, reason: 'x'.repeat(500) });
        });
      } catch (cause) {
        failed = cause;
      }
    }
    expect(failed).toMatchObject({
      code: 'storing-failed',
      message: `What happens cannot be kept in the journal ${journal.file}: the disk is full. Make room there, then fire again.`,
      details: { sqlite: 'SQLITE_FULL' },
    });
    expect(dump(journal.file)).toBe(before);
    // A set does not fit in either: each of its rows may be the one that fails.
    expect(() => journal.abandonRun(RUN.id, 'x'.repeat(50_000))).toThrow('the disk is full');
    expect(dump(journal.file)).toBe(before);

    database.pragma(`max_page_count = ${pages + 1000}`);
    fire(journal, 'set-1', 1);
    journal.abandonRun(RUN.id, 'x'.repeat(50_000));
    expect(database.pragma('integrity_check')).toEqual([{ integrity_check: 'ok' }]);
    journal.close();
    expect((await open()).set('set-1')).toMatchObject({ state: 'halted', frames: { length: 9 } });
    expect(kept).toEqual([]);
  });

  it('about what has happened waits for room, and comes before whatever is written next, with its own time', async () => {
    let now = NOW;
    const { database, refuse } = await refusing();
    const journal = new Journal(database, () => now);
    opened.push(journal);
    journal.beginRun(RUN);
    journal.beginSet(setBegun('set-1'));
    fire(journal, 'set-1', 1);
    const before = dump(journal.file);

    refuse(true);
    for (const state of ['stored', 'verified'] as const)
      expect(journal.keepOrLater(() => journal.frameChanged('set-1', frame(1, state)))).toMatchObject({
        code: 'storing-failed',
        message: expect.stringContaining('the disk is full'),
      });
    expect(() => fire(journal, 'set-1', 2)).toThrow('the disk is full');
    expect(() => journal.catchUp()).toThrow('the disk is full');
    expect(dump(journal.file)).toBe(before);

    refuse(false);
    now = new Date(NOW.getTime() + 60_000);
    // What fails for another reason takes nothing with it.
    expect(() => journal.frameChanged('set-1', frame(2, 'rejected'))).toThrow('There is no way');
    expect(dump(journal.file)).toBe(before);
    journal.frameChanged('set-1', frame(2, 'armed'));
    expect(journal.set('set-1')?.frames.slice(0, 2)).toMatchObject([
      { view: { state: 'verified' }, storedAt: AT, verifiedAt: AT },
      { view: { state: 'armed' } },
    ]);
    expect(journal.transitions({ set: 'set-1' }).at(-1)?.at).toBe(now.toISOString());

    // Nothing is written twice, and what waits is written at the end, if it can be.
    const after = dump(journal.file);
    journal.catchUp();
    expect(dump(journal.file)).toBe(after);
    refuse(true);
    journal.keepOrLater(() => journal.addNote('set-1', 'A note.'));
    refuse(false);
    journal.close();
    expect((await open()).set('set-1')?.notes).toEqual(['A note.']);
  });

  it('waits for the disk at each commit', async () => {
    const { database } = await openBare();
    const pragma = (name: string) => database.pragma(name, { simple: true });
    expect(pragma('journal_mode')).toBe('wal');
    // 2 is FULL: https://sqlite.org/pragma.html#pragma_synchronous
    expect(pragma('synchronous')).toBe(2);
    expect(pragma('foreign_keys')).toBe(1);
    expect(pragma('application_id')).toBe(APPLICATION_ID);
    expect(pragma('user_version')).toBe(STEPS.length);
    const tables = database.prepare("SELECT name, strict FROM pragma_table_list WHERE schema = 'main'").all();
    for (const { name, strict } of tables as { name: string; strict: number }[])
      if (!name.startsWith('sqlite_')) expect([name, strict]).toEqual([name, 1]);
  });

  it('torn anywhere: what is there is a beginning of what was committed', async () => {
    const journal = await withSet();
    const states = [dump(journal.file)];
    const step = (work: () => void) => {
      work();
      states.push(dump(journal.file));
    };
    step(() => journal.setChanged('set-1', 'firing'));
    for (let number = 1; number <= 6; number += 1) {
      step(() => journal.together(() => fire(journal, 'set-1', number)));
      step(() => journal.frameChanged('set-1', frame(number, 'stored'), { arrived: 'a' }));
      step(() => journal.addNote('set-1', `note ${number}`));
      step(() => journal.frameChanged('set-1', frame(number, 'verified'), { arrived: null }));
    }
    const whole = (await stat(`${journal.file}-wal`)).size;
    const seen = new Set<number>();
    let last = -1;
    for (let cut = 1; cut <= 40; cut += 1) {
      const at = path.join(folder, `torn-${cut}`);
      await copyJournal(state, at, Math.floor((whole * cut) / 40));
      const after = await Journal.open(at, { onKeptAside: (one) => kept.push(one) });
      const found = states.indexOf(dump(after.file));
      after.close();
      // Before the first one that was noted there was the making of the set, and of the tables.
      if (seen.size > 0) expect(found).toBeGreaterThanOrEqual(Math.max(last, 0));
      if (found >= 0) seen.add(found);
      last = found;
    }
    expect(last).toBe(states.length - 1);
    expect(seen.size).toBeGreaterThan(states.length / 2);
    expect(kept).toEqual([]);
  });
});

describe('a run that nobody resumes', () => {
  it.each(['preparing', 'firing', 'putting-back'] as const)('ends with its set, from %s', async (from) => {
    const journal = await withSet();
    if (from === 'firing') {
      journal.setChanged('set-1', 'firing');
      fire(journal, 'set-1', 1);
    }
    if (from === 'putting-back') journal.setChanged('set-1', 'putting-back');
    journal.abandonRun(RUN.id, 'The program ended in the middle of it.');
    expect(journal.unfinishedRun()).toBeNull();
    const sentence = 'The program ended in the middle of it.';
    expect(journal.set('set-1')).toMatchObject({ state: 'halted', sentence, endedAt: AT });
    expect(journal.run(RUN.id)).toMatchObject({ state: 'halted', sentence, endedAt: AT });
    expect(journal.set('set-1')?.frames[0]?.view.state).toBe(from === 'firing' ? 'fired' : 'planned');
    journal.beginRun({ ...RUN, id: 'run-2' });
  });

  it('ends between two sets', async () => {
    const journal = await open();
    journal.beginRun(RUN);
    journal.abandonRun(RUN.id, 'It was left.');
    expect(journal.run(RUN.id)?.state).toBe('halted');
  });
});

describe('a file that is no use', () => {
  const SIBLINGS = ['', '-wal', '-shm'];

  /** A journal that was not closed, so that its log holds what the database does not. */
  async function lay(): Promise<string> {
    const journal = await withSet();
    for (let number = 1; number <= 9; number += 1) make(journal, 'set-1', number);
    const at = path.join(folder, 'laid');
    await copyJournal(state, at);
    return at;
  }

  /** One whose pages are all in the database. */
  async function layClosed(): Promise<string> {
    const journal = await withSet();
    for (let number = 1; number <= 9; number += 1) make(journal, 'set-1', number);
    journal.close();
    const at = path.join(folder, 'laid');
    await copyJournal(state, at);
    return at;
  }

  const page = (number: number) => (number - 1) * 4096;
  async function overwrite(file: string, at: number, bytes: Buffer): Promise<void> {
    const whole = await readFile(file);
    bytes.copy(whole, at);
    await writeFile(file, whole);
  }

  it.each<[string, (file: string) => Promise<unknown>]>([
    ['garbage', (file) => writeFile(file, Buffer.alloc(9000, 'boathouse '))],
    ['zeros', (file) => writeFile(file, Buffer.alloc(40_000))],
    ['a wrong header', (file) => overwrite(file, 0, Buffer.from('SQLite format 4'))],
    ['cut short in a page', (file) => truncate(file, page(4) + 100)],
    ['cut short between pages', (file) => truncate(file, page(8))],
    ['a damaged page', (file) => overwrite(file, page(3), Buffer.alloc(4096, 0xa5))],
    ['a page of zeros', (file) => overwrite(file, page(5), Buffer.alloc(4096))],
    ['nothing in it but its log', (file) => truncate(file, 0).then(() => writeFile(`${file}-wal`, 'log'))],
    ['a log without it', (file) => rm(file).then(() => writeFile(`${file}-wal`, 'log'))],
    ['a folder in its place', (file) => rm(file).then(() => mkdir(file))],
    [
      'a database of something else',
      async (file) => {
        await rm(file);
        const other = new Sqlite(file);
        other.exec('CREATE TABLE runs (a); PRAGMA user_version = 1');
        other.close();
      },
    ],
  ])('%s: kept whole under a name with its date, told, and another one is begun', async (_, damage) => {
    const at = await layClosed();
    const file = journalFile(at);
    await damage(file);
    const found = new Map<string, Buffer | 'folder' | null>();
    const content = (name: string) =>
      readFile(name).catch((cause: NodeJS.ErrnoException) => (cause.code === 'EISDIR' ? 'folder' : null));
    for (const sibling of SIBLINGS) found.set(sibling, await content(`${file}${sibling}`));

    const journal = await open(at);
    const aside = `${path.dirname(file)}.damaged-20261125-164210`;
    expect(kept).toEqual([
      {
        reason: 'damaged',
        path: aside,
        sentence: `The journal is damaged: it is kept in ${aside}, and a new one is begun. Sets on disk stay where they are.`,
      },
    ]);
    const asideOf = (sibling: string) => content(path.join(aside, `${path.basename(file)}${sibling}`));
    expect(await asideOf('')).toEqual(found.get(''));
    // Looking at it may lay an empty log beside it.
    expect((await asideOf('-wal')) ?? Buffer.of()).toEqual(found.get('-wal') ?? Buffer.of());
    expect(journal.runs()).toEqual([]);
    journal.beginRun(RUN);
    expect(journal.unfinishedRun()?.run.id).toBe(RUN.id);
  });

  it('its log and its index go with it', async () => {
    const at = await layClosed();
    const file = journalFile(at);
    const journal = await open(at);
    journal.addNote('set-1', 'In the log, and not in the database.');
    const damagedAt = path.join(folder, 'damaged');
    await copyJournal(at, damagedAt);
    const damaged = journalFile(damagedAt);
    await writeFile(`${damaged}-shm`, await readFile(`${file}-shm`));
    await truncate(damaged, page(8));
    const log = await readFile(`${damaged}-wal`);
    expect(log.length).toBeGreaterThan(4096);
    await open(damagedAt);
    const aside = kept[0]?.path ?? '';
    const names = ['journal.sqlite', 'journal.sqlite-shm', 'journal.sqlite-wal'];
    expect((await readdir(aside)).filter((name) => name !== 'about.txt').sort()).toEqual(names);
    expect((await readFile(path.join(aside, 'journal.sqlite-wal'))).equals(log)).toBe(true);
  });

  it('a damage that only shows with the log taken over is found, and the log stays', async () => {
    const at = await lay();
    const file = journalFile(at);
    // The frames of the log are whole; what they point to is not.
    const database = new Sqlite(file);
    database.pragma('wal_autocheckpoint = 0');
    database.unsafeMode(true);
    database.pragma('writable_schema = ON');
    database.prepare("UPDATE sqlite_schema SET rootpage = rootpage + 900 WHERE name = 'frames'").run();
    const damagedAt = path.join(folder, 'damaged');
    await copyJournal(at, damagedAt);
    database.close();
    const log = await readFile(`${journalFile(damagedAt)}-wal`);
    await open(damagedAt);
    expect(kept.map(({ reason }) => reason)).toEqual(['damaged']);
    expect((await readFile(path.join(kept[0]?.path ?? '', 'journal.sqlite-wal'))).equals(log)).toBe(true);
  });

  it('several on one second have names of their own', async () => {
    for (let time = 1; time <= 3; time += 1) {
      const journal = await open();
      journal.close();
      await writeFile(journalFile(state), 'boathouse');
    }
    await open();
    expect(kept.map(({ path: aside }) => path.basename(aside))).toEqual([
      'journal.damaged-20261125-164210',
      'journal.damaged-20261125-164210-2',
      'journal.damaged-20261125-164210-3',
    ]);
    for (const { path: aside } of kept)
      expect(await readFile(path.join(aside, 'journal.sqlite'), 'utf8')).toBe('boathouse');
  });

  it('a file in the place of its folder is kept aside too', async () => {
    await mkdir(state);
    await writeFile(path.join(state, 'journal'), 'boathouse');
    await open();
    expect(await readFile(kept[0]?.path ?? '', 'utf8')).toBe('boathouse');
  });

  it('an empty file, as a program leaves it that is killed while it makes it, is no damage', async () => {
    await mkdir(path.dirname(journalFile(state)), { recursive: true });
    await writeFile(journalFile(state), '');
    const journal = await open();
    journal.beginRun(RUN);
    expect(kept).toEqual([]);
  });

  it('damage that shows while it is in use is told', async () => {
    const at = await layClosed();
    const journal = await open(at);
    const size = (await stat(journalFile(at))).size;
    await writeFile(journalFile(at), Buffer.alloc(size, 0xa5));
    let failed: unknown;
    try {
      for (const { id } of journal.sets()) journal.set(id);
      journal.addNote('set-1', 'A note.');
    } catch (cause) {
      failed = cause;
    }
    expect(failed).toMatchObject({ code: 'storing-failed' });
    expect((failed as Error).message).toContain(
      'the file is damaged. Restart Evenrung: it keeps the damaged journal under another name and begins a new one.',
    );
  });
});

describe('a journal of another version', () => {
  it('newer: kept as it was for the program that wrote it', async () => {
    const journal = await withSet();
    journal.close();
    const later = new Sqlite(journalFile(state));
    later.exec('CREATE TABLE later (a) STRICT'.replace('(a)', '(a TEXT)'));
    later.pragma(`user_version = ${STEPS.length + 1}`);
    later.close();
    const bytes = await readFile(journalFile(state));

    const begun = await open();
    const aside = path.join(state, 'journal.newer-20261125-164210');
    expect(kept).toEqual([
      {
        reason: 'newer',
        path: aside,
        sentence: `The journal is from a newer Evenrung, which can use it: it is kept in ${aside}, and a new one is begun. Sets on disk stay where they are.`,
      },
    ]);
    expect((await readFile(path.join(aside, 'journal.sqlite'))).equals(bytes)).toBe(true);
    expect(begun.runs()).toEqual([]);
  });

  /** As the first version left it: a set of which one frame is verified. */
  async function ofFirstVersion(): Promise<void> {
    await mkdir(path.dirname(journalFile(state)), { recursive: true });
    const old = new Sqlite(journalFile(state));
    old.pragma('journal_mode = WAL');
    migrate(old, STEPS.slice(0, 1));
    const { id, kind, request, body, into } = RUN;
    old
      .prepare(`INSERT INTO runs VALUES (1, ?, ?, ?, 1, '{}', ?, ?, 'under-way', ?, NULL, NULL, NULL, NULL)`)
      .run(id, kind, JSON.stringify(request), JSON.stringify(body), into, AT);
    const { folder: in_, plan, base, startedAt } = setBegun('set-1');
    old
      .prepare(
        `INSERT INTO sets VALUES (1, 'set-1', 1, 1, NULL, NULL, NULL, ?, ?, ?, 'firing', ?, NULL, NULL, NULL, NULL)`,
      )
      .run(in_, JSON.stringify(plan), JSON.stringify(base), startedAt);
    const view = JSON.stringify(frame(1, 'verified', { file: '01.jpg' }));
    old
      .prepare(`INSERT INTO frames VALUES (1, 1, 'verified', 1, '01.jpg', NULL, ?, 1000, ?, ?, ?, ?)`)
      .run('ab'.repeat(32), AT, AT, AT, view);
    old.close();
  }

  it('of the first version: brought up to date with all that is in it', async () => {
    await ofFirstVersion();
    const journal = await open();
    expect(kept).toEqual([]);
    const [first] = journal.set('set-1')?.frames ?? [];
    expect(first).toMatchObject({ view: { file: '01.jpg' }, sha256: 'ab'.repeat(32), bytes: 1000 });
    expect(first?.view.partner).toBeUndefined();
    expect(journal.keptNames(1)).toEqual([{ number: 1, file: '01.jpg', bytes: 1000, isPartner: false }]);
    journal.frameChanged('set-1', frame(1, 'verified', { file: '01.dng', partner: PARTNER }));
    expect(journal.set('set-1')?.frames[0]?.view.partner).toEqual(PARTNER);
  });

  it('of the third version: its frames are listed by their offsets from then on', async () => {
    await ofFirstVersion();
    const old = new Sqlite(journalFile(state));
    migrate(old, STEPS.slice(0, 3));
    const columns = () => old.pragma('table_info(frames)') as { name: string }[];
    expect(columns().map(({ name }) => name)).not.toContain('offset_ev');
    const view = (number: number) => JSON.stringify(frame(number));
    const add = old.prepare(
      "INSERT INTO frames (set_number, number, state, attempts, view) VALUES (1, ?, 'planned', 0, ?)",
    );
    for (const number of [2, 3]) add.run(number, view(number));
    old.close();
    const journal = await open();
    expect(kept).toEqual([]);
    expect(journal.set('set-1')?.frames.map(({ view: { number, offset } }) => [number, offset])).toEqual([
      ...[1, 2, 3].map((number) => [number, number - 5]),
    ]);
    const database = new Sqlite(journalFile(state), { readonly: true });
    expect(database.prepare('SELECT offset_ev FROM frames ORDER BY number').pluck().all()).toEqual([
      ...[-4, -3, -2],
    ]);
    database.close();
  });

  it('of the first version: read as it is by whoever only reads, and not changed', async () => {
    await ofFirstVersion();
    const bytes = await readFile(journalFile(state));
    const reader = await JournalReader.open(state);
    if (reader === null) throw new Error('There is one.');
    opened.push(reader);
    expect(reader.keptNames(1)).toEqual([{ number: 1, file: '01.jpg', bytes: 1000, isPartner: false }]);
    expect(reader.unfinishedRun()?.set?.frames[0]?.view.state).toBe('verified');
    expect((await readFile(journalFile(state))).equals(bytes)).toBe(true);
  });

  it('older: brought up step by step, each whole or not at all', async () => {
    const { database } = await openBare();
    const added = 'ALTER TABLE sets ADD COLUMN weather TEXT';
    const broken = 'CREATE TABLE half (a TEXT) STRICT; CREATE TABLE sets (a TEXT)';
    expect(() => migrate(database, [...STEPS, added, broken])).toThrow('already exists');
    expect(database.pragma('user_version', { simple: true })).toBe(STEPS.length + 1);
    const tables = database.prepare("SELECT name FROM sqlite_schema WHERE name = 'half'").all();
    expect(tables).toEqual([]);
    migrate(database, [...STEPS, added, 'CREATE TABLE half (a TEXT) STRICT']);
    expect(database.pragma('user_version', { simple: true })).toBe(STEPS.length + 2);
    // Taken already: not once more.
    migrate(database, [...STEPS, added, 'CREATE TABLE half (a TEXT) STRICT']);
  });
});

describe('a state folder that cannot be written', () => {
  /** Permissions do not hold for root, who tries it as somebody else. */
  async function asSomebody<T>(work: () => Promise<T>): Promise<T> {
    if (process.getuid?.() !== 0) return work();
    process.seteuid?.(65534);
    try {
      return await work();
    } finally {
      process.seteuid?.(0);
    }
  }

  it('says so: read-only', async () => {
    await chmod(folder, 0o755);
    await mkdir(state, { mode: 0o555 });
    const message = `The state folder ${state} cannot be written: you have no permission. Name a state folder that can be written, in XDG_STATE_HOME.`;
    await expect(asSomebody(() => open())).rejects.toMatchObject({ code: 'state-not-writable', message });
    await chmod(folder, 0o555);
    const none = path.join(folder, 'none');
    await expect(asSomebody(() => open(none))).rejects.toMatchObject({ code: 'state-not-writable' });
    await chmod(folder, 0o755);
    await chmod(state, 0o755);
  });

  it('says so: a journal that somebody else left, as after a start with more rights', async () => {
    const journal = await withSet();
    journal.close();
    const file = journalFile(state);
    await chmod(folder, 0o755);
    for (const each of [state, path.dirname(file)]) await chmod(each, 0o777);
    for (const mode of [0o000, 0o444]) {
      await chmod(file, mode);
      const message = `The file ${file} cannot be used: you have no permission. Name a state folder that can be written, in XDG_STATE_HOME.`;
      await expect(asSomebody(() => open())).rejects.toMatchObject({ code: 'state-not-writable', message });
    }
    expect(kept).toEqual([]);
    expect(await readdir(state)).toEqual(['about.txt', 'journal']);
  });

  it('says so: where there can be none', async () => {
    await writeFile(state, '');
    await expect(open()).rejects.toMatchObject({
      code: 'state-not-writable',
      message: `The state folder ${state} cannot be written: part of its path is a file. Name a state folder that can be written, in XDG_STATE_HOME.`,
    });
    await expect(open('/proc/evenrung')).rejects.toMatchObject({ code: 'state-not-writable' });
  });

  it('a damaged journal that cannot be kept aside is an error, and stays', async () => {
    const journal = await open();
    journal.close();
    await writeFile(journalFile(state), 'boathouse');
    await chmod(folder, 0o755);
    await chmod(path.dirname(journalFile(state)), 0o777);
    await writeFile(path.join(state, 'about.txt'), '');
    // Where the sticky bit is set, others make files, and rename none that is not theirs; nobody is another one than himself.
    await chmod(state, process.getuid?.() === 0 ? 0o1777 : 0o555);
    await expect(asSomebody(() => open())).rejects.toMatchObject({ code: 'state-not-writable' });
    await chmod(state, 0o755);
    expect(kept).toEqual([]);
    expect(await readFile(journalFile(state), 'utf8')).toBe('boathouse');
  });
});

describe('reading beside the program that writes', () => {
  it('finds what was committed, and nothing where there is none', async () => {
    expect(await JournalReader.open(state)).toBeNull();
    await expect(readdir(state)).rejects.toThrow();
    const journal = await withSet();
    const reader = await JournalReader.open(state);
    if (reader === null) throw new Error('There is one.');
    opened.push(reader);
    fire(journal, 'set-1', 1);
    expect(reader.unfinishedRun()?.set?.frames[0]?.view.state).toBe('fired');
    expect(reader.sets()).toEqual(journal.sets());
    fire(journal, 'set-1', 2);
    expect(reader.set('set-1')?.frames[1]?.view.state).toBe('fired');
  });

  it('changes nothing, whatever is there', async () => {
    const journal = await withSet();
    journal.close();
    const file = journalFile(state);
    const newer = new Sqlite(file);
    newer.pragma(`user_version = ${STEPS.length + 1}`);
    newer.close();
    await expect(JournalReader.open(state)).rejects.toMatchObject({
      code: 'state-not-writable',
      message: `The journal ${file} was not written by this Evenrung. Read it with the one that wrote it.`,
    });
    await writeFile(file, 'boathouse');
    await expect(JournalReader.open(state)).rejects.toMatchObject({ code: 'state-not-writable' });
    expect(await readFile(file, 'utf8')).toBe('boathouse');
    await rename(file, `${file}-away`);
    await writeFile(file, '');
    expect(await JournalReader.open(state)).toBeNull();
  });
});
