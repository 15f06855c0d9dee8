// `sets`: lists sets, shows one, checks whether a set folder still holds what its record says, and copies it
// elsewhere. That only reads, even beside a daemon that is firing. Taking a set up again is in sets-again.ts.
import { readFile, stat } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { type Command, InvalidArgumentError, Option } from 'commander';
import type { Logger } from 'pino';
import { EvenrungError } from '../../shared/errors.js';
import { readSetRecord } from '../../shared/set-record.js';
import { checkSet, exifTool, exportSet, RECORD, type SetCheck, setFoldersIn } from '../frames/index.js';
import {
  findSet,
  JournalReader,
  newestSets,
  type StoredRun,
  type StoredSet,
  type Transition,
} from '../journal/index.js';
import { setOnDisk } from '../station/index.js';
import { stateFolder } from './options/places.js';
import { onStopSignal } from './process.js';
import { addAgain, addComplete, addExtend, addFetch } from './sets-again.js';
import {
  checkInWords,
  exportInWords,
  isRight,
  type ListedEntry,
  listInWords,
  marksIn,
  type ShownSet,
  setInWords,
  sumOfChecks,
} from './words/sets-words.js';

export interface ListOptions {
  readonly limit: number;
  readonly all?: boolean;
  readonly json?: boolean;
}

export interface ShowOptions {
  readonly log?: boolean;
  readonly json?: boolean;
}

export interface ExportCommandOptions {
  readonly into: string;
  readonly only?: 'frames';
  readonly json?: boolean;
}

/** Takes a line for standard output, without its end. */
export type Say = (line: string) => void;

const DEFAULT_LIMIT = 20;

export function addSets(program: Command, log: Logger): void {
  const say: Say = (line) => process.stdout.write(`${line}\n`);
  const sets = program
    .command('sets')
    .description('list the sets that were shot, the newest first')
    // Options behind a subcommand belong to it.
    .enablePositionalOptions()
    .option('--limit <n>', 'how many are listed', wholeNumber, DEFAULT_LIMIT)
    .option('--all', 'list all of them')
    .option('--json', 'print JSON, an object a line')
    .action(async (options: ListOptions) => {
      const sentence = await withJournal((journal) => {
        if (journal === null) return nothingYet();
        return listSets(journal, options, say).then((count) => (count === 0 ? nothingYet() : null));
      });
      if (sentence === null) return;
      // With --json, standard output has only objects.
      if (options.json) process.stderr.write(`${sentence}\n`);
      else say(sentence);
    });
  sets
    .command('show')
    .description('show one set')
    .argument('<id>', 'id of the set, or the beginning of it')
    .option('--log', 'show each step of the set, its passes and frames')
    .option('--json', 'print JSON')
    .action(async (id: string, _: unknown, command: Command) => {
      const options: ShowOptions = command.optsWithGlobals();
      await withJournal(async (journal) => showSet(must(journal), id, options, say));
    });
  sets
    .command('check')
    .description('check a set folder against its record')
    .argument('<folder>', 'a set folder, or one that holds several')
    .option('--json', 'print JSON, an object a line')
    .action(async (folder: string, _: unknown, command: Command) => {
      process.exitCode = await checkSets(folder, command.optsWithGlobals(), say);
    });
  sets
    .command('export')
    .description('copy a set, and verify the copy')
    .argument('<set>', 'its folder, its id, or the beginning of its id')
    .requiredOption('--into <folder>', 'folder that takes the copy')
    .addOption(
      new Option('--only <what>', 'frames: copy the frames without the files beside them').choices([
        'frames',
      ]),
    )
    .option('--json', 'print JSON')
    .action(async (set: string, _: unknown, command: Command) => {
      const folder = await folderOf(set, (use) => withJournal(use));
      await exportTo(folder, command.optsWithGlobals(), say);
    });
  addAgain(sets, log);
  addComplete(sets, log);
  addExtend(sets, log);
  addFetch(sets, log);
}

/** @returns how many there are, counted to one more than the limit */
export async function listSets(
  journal: JournalReader,
  { limit, all, json }: ListOptions,
  say: Say,
): Promise<number> {
  const sets = newestSets(journal);
  const most = all ? Number.POSITIVE_INFINITY : limit;
  let count = 0;
  async function* upTo(): AsyncGenerator<ListedEntry> {
    for (const entry of sets) {
      count += 1;
      if (count > most) return;
      yield { ...entry, onDisk: entry.set === null ? null : await setOnDisk(journal, entry.set) };
    }
  }
  if (json) for await (const entry of upTo()) say(JSON.stringify(listedOnWire(entry)));
  else for await (const line of listInWords(upTo(), os.homedir())) say(line);
  if (count > most && !json) {
    say('');
    say('There are older sets: --all lists all, --limit N the newest N.');
  }
  return count;
}

const listedOnWire = ({ run, set, onDisk }: ListedEntry) => ({ set, onDisk, run: runOnWire(run) });

/** @throws EvenrungError no-such-set */
export async function showSet(
  journal: JournalReader,
  id: string,
  { log, json }: ShowOptions,
  say: Say,
): Promise<void> {
  const set = findSet(journal, id);
  const shown: ShownSet = {
    set,
    run: journal.run(set.run),
    ...(await beside(set)),
    log: log ? [...stepsOf(journal, set.id)] : null,
  };
  if (json) say(JSON.stringify(shownOnWire(shown)));
  else for (const line of setInWords(shown)) say(line);
}

function shownOnWire({ set, run, record, problem, isFolderThere, log }: ShownSet) {
  // The memo is a run's own, and nothing that others may rely on.
  const { memo: _, ...told } = set;
  return {
    set: told,
    run: run === null ? null : runOnWire(run),
    marks: marksIn({ record, set }),
    recordProblem: problem,
    isFolderThere,
    ...(log === null ? {} : { log }),
  };
}

function runOnWire(run: StoredRun) {
  const { memo: _, ...told } = run;
  return told;
}

/** The record in the set folder, or why there is none. */
async function beside(set: StoredSet): Promise<Pick<ShownSet, 'record' | 'problem' | 'isFolderThere'>> {
  const none = { record: null, problem: null };
  if (set.folder === null || !(await isFolder(set.folder))) return { ...none, isFolderThere: false };
  const file = path.join(set.folder, RECORD);
  const text = await readFile(file, 'utf8').catch(() => null);
  if (text === null) return { ...none, isFolderThere: true };
  try {
    const { record } = readSetRecord(text);
    // The folder may have been given to another set.
    const isOfThis = record.id === set.id || record.id === set.run;
    return { record: isOfThis ? record : null, problem: null, isFolderThere: true };
  } catch (cause) {
    if (!(cause instanceof EvenrungError)) throw cause;
    return { record: null, problem: cause.message, isFolderThere: true };
  }
}

function* stepsOf(journal: JournalReader, set: string): Generator<Transition> {
  let after = 0;
  for (;;) {
    const page = journal.transitions({ set, after });
    const last = page.at(-1);
    if (last === undefined) return;
    yield* page;
    after = last.seq;
  }
}

/**
 * @returns the exit code: 0 if everything is right, 1 if something is wrong
 * @throws EvenrungError no-such-set
 */
export async function checkSets(folder: string, { json }: { json?: boolean }, say: Say): Promise<number> {
  const checks: SetCheck[] = [];
  try {
    for (const set of await setFoldersIn(path.resolve(folder))) {
      const check = await checkSet(set);
      checks.push(check);
      if (json) say(JSON.stringify(checkOnWire(set, check)));
      else for (const line of checkInWords({ folder: set, check })) say(line);
    }
  } finally {
    await exifTool.end();
  }
  if (!json) for (const line of sumOfChecks(checks)) say(line);
  return checks.every(isRight) ? 0 : 1;
}

const checkOnWire = (folder: string, check: SetCheck) => ({
  folder,
  right: isRight(check),
  version: check.version,
  frames: check.record?.frames.length ?? null,
  intact: check.intact,
  findings: check.findings,
});

/**
 * @param written a folder, or the beginning of an id
 * @param withReader provides the journal, or null if there is none
 * @throws EvenrungError no-such-set
 */
export async function folderOf(
  written: string,
  withReader: <T>(use: (journal: JournalReader | null) => T | Promise<T>) => Promise<T>,
): Promise<string> {
  if (await isFolder(written)) return path.resolve(written);
  if (/[/\\]/.test(written)) throw new EvenrungError('no-such-set', `There is no folder ${written}.`);
  return withReader((journal) => {
    const { id, folder } = findSet(must(journal), written);
    if (folder !== null) return folder;
    throw new EvenrungError('no-such-set', `The set ${id} has no folder: nothing of it was stored.`);
  });
}

/** A signal ends it, and nothing of the copy is left. @throws what exportSet throws */
export async function exportTo(
  folder: string,
  { into, only, json }: ExportCommandOptions,
  say: Say,
): Promise<void> {
  const stop = new AbortController();
  const forget = onStopSignal(() => stop.abort());
  try {
    const exported = await exportSet(folder, into, { only, signal: stop.signal });
    if (json) say(JSON.stringify(exported));
    else for (const line of exportInWords(exported)) say(line);
  } finally {
    forget();
    await exifTool.end();
  }
}

async function withJournal<T>(use: (journal: JournalReader | null) => T | Promise<T>): Promise<T> {
  const journal = await JournalReader.open(stateFolder());
  try {
    return await use(journal);
  } finally {
    journal?.close();
  }
}

function must(journal: JournalReader | null): JournalReader {
  if (journal !== null) return journal;
  throw new EvenrungError('no-such-set', nothingYet());
}

const nothingYet = (): string => `No set was shot yet with the state folder ${stateFolder()}.`;

const isFolder = async (folder: string): Promise<boolean> =>
  (await stat(folder).catch(() => null))?.isDirectory() ?? false;

function wholeNumber(text: string): number {
  if (/^\d{1,9}$/.test(text) && Number(text) > 0) return Number(text);
  throw new InvalidArgumentError('give a whole number, 1 or more.');
}
