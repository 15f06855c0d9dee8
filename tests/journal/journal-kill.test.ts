// A program that is killed at any moment leaves a journal that can be read, and in it everything that it was told was committed.
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import Sqlite from 'better-sqlite3';
import { build } from 'vite';
import { afterAll, beforeAll, expect, it } from 'vitest';
import type { FrameView } from '../../shared/state.js';
import { Journal, journalFile, type StoredSet, type Transition } from '../../src/journal/index.js';

const KILLS = 20;
const SEED = 20261125;
/** In the project, where the program's libraries are found. */
const OUT = fileURLToPath(new URL('../../dist/tests/journal', import.meta.url));
const WALKER = path.join(OUT, 'journal-walker.js');

let folder = '';
beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  await build({
    configFile: false,
    logLevel: 'silent',
    publicDir: false,
    build: {
      ssr: fileURLToPath(new URL('./journal-walker.ts', import.meta.url)),
      outDir: OUT,
      emptyOutDir: false,
      minify: false,
      target: 'node20',
    },
  });
});
afterAll(() => rm(folder, { recursive: true, force: true }));

/**
 * @param after lines that it prints, and then milliseconds, before it is killed
 * @returns what it printed, line by line
 */
async function killed(seed: number, after: { lines: number; milliseconds: number }): Promise<string[]> {
  const child = spawn(process.execPath, [WALKER, folder, String(seed)], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  let said = '';
  const linesSaid = () => said.split('\n').length - 1;
  child.stdout.setEncoding('utf8').on('data', (text: string) => {
    said += text;
  });
  const ended = once(child, 'close');
  let isOver = false;
  void ended.then(() => {
    isOver = true;
  });
  try {
    while (!isOver && linesSaid() < after.lines) await Promise.race([once(child.stdout, 'data'), ended]);
    if (after.milliseconds > 0) await Promise.race([pause(after.milliseconds), ended]);
  } finally {
    child.kill('SIGKILL');
  }
  const [code, signal] = await ended;
  expect({ code, signal }).toEqual({ code: null, signal: 'SIGKILL' });
  // The last line may be cut: then it says nothing.
  return said.split('\n').slice(0, -1);
}

const inWords = ({ about, run, set, number, to }: Transition): string =>
  [about, about === 'run' ? run : set, ...(number === null ? [] : [number]), to].join(' ');

function allTransitions(journal: Journal): Transition[] {
  const all: Transition[] = [];
  for (;;) {
    const page = journal.transitions({ after: all.at(-1)?.seq ?? 0, limit: 97 });
    if (page.length === 0) return all;
    all.push(...page);
  }
}

/** What a frame stands at is what the last transition of it says. */
function expectAsLogged(set: StoredSet, transitions: readonly Transition[]): void {
  const last = new Map<number, string>();
  for (const one of transitions) {
    if (one.set === set.id && one.about === 'frame' && one.number !== null) last.set(one.number, one.to);
  }
  const stands = (view: FrameView) => last.get(view.number) ?? 'planned';
  expect(set.frames.map(({ view }) => view.state)).toEqual(set.frames.map(({ view }) => stands(view)));
  for (const { view, arrived } of set.frames) {
    expect(view.file !== null).toBe(view.state === 'verified');
    expect(arrived !== null).toBe(view.state === 'stored');
  }
}

const LOGGED = /^(run|set|pass|frame) /;

it(`${KILLS} kills: all that was told is there, in its order, and nothing is half there`, async () => {
  let random = SEED;
  const next = () => {
    random = (Math.imul(random, 1664525) + 1013904223) >>> 0;
    return random / 2 ** 32;
  };
  /** All that the journal held after the last kill. */
  let known: string[] = [];
  const beside = { note: 0, 'aside-file': 0, memo: 0 };
  for (let kill = 1; kill <= KILLS; kill += 1) {
    // One in five while it starts and opens the journal, which takes longer than that on a busy machine.
    const after =
      kill % 5 === 0
        ? { lines: 0, milliseconds: next() * 400 }
        : { lines: 1 + Math.floor(next() * 30), milliseconds: kill % 2 === 0 ? 0 : next() * 12 };
    const said = await killed(SEED + kill, after);
    const told = said.filter((line) => line !== 'open');
    expect(told.filter((line) => line.startsWith('aside '))).toEqual([]);

    const journal = await Journal.open(folder, {
      onKeptAside: ({ sentence }) => {
        throw new Error(sentence);
      },
    });
    try {
      const transitions = allTransitions(journal);
      const now = transitions.map(inWords);
      const mustBe = [...known, ...told.filter((line) => LOGGED.test(line))];
      expect(now.slice(0, mustBe.length)).toEqual(mustBe);
      // What was committed and not yet told: one commit, of two steps at most.
      expect(now.length - mustBe.length).toBeLessThanOrEqual(2);
      known = now;

      for (const line of told) {
        const [kind = '', id = '', rest = ''] = line.split(' ');
        const set = LOGGED.test(line) ? null : journal.set(id);
        if (set === null) continue;
        beside[kind as keyof typeof beside] += 1;
        if (kind === 'note') expect(set.notes).toContain(`note ${rest}`);
        if (kind === 'aside-file') expect(set.asides.map(({ file }) => file)).toContain(rest);
      }
      const lastMemo = told.findLast((line) => line.startsWith('memo '))?.split(' ');
      if (lastMemo !== undefined) {
        const memo = journal.set(lastMemo[1] ?? '')?.memo;
        // A later one may have been committed and not told.
        expect((memo as { step: number } | undefined)?.step).toBeGreaterThanOrEqual(Number(lastMemo[2]));
      }

      const unfinished = journal.unfinishedRun();
      const runs = journal.runs({ limit: 1000 });
      expect(runs.filter(({ state }) => state === 'under-way').map(({ id }) => id)).toEqual(
        unfinished === null ? [] : [unfinished.run.id],
      );
      for (const { id } of journal.sets({ limit: 1000 })) {
        const set = journal.set(id);
        expect(set?.frames).toHaveLength(9);
        if (set !== null) expectAsLogged(set, transitions);
      }
    } finally {
      journal.close();
    }
    const database = new Sqlite(journalFile(folder), { readonly: true });
    expect(database.pragma('integrity_check')).toEqual([{ integrity_check: 'ok' }]);
    expect(database.pragma('foreign_key_check')).toEqual([]);
    database.close();
  }
  // It was killed among steps of every kind, not before or after them all.
  for (const count of Object.values(beside)) expect(count).toBeGreaterThan(0);
  for (const kind of ['run', 'set', 'pass', 'frame'])
    expect(known.some((line) => line.startsWith(`${kind} `))).toBe(true);
  expect(known.length).toBeGreaterThan(KILLS * 5);
}, 120_000);
