// The part `journal` of the bench `run`: what a transition costs that is on disk when the call comes back, beside the bare write of a
// page that is on disk when the call comes back, in turns on the same disk; and what a journal of many frames costs to open
// and to read.
import { closeSync, fsyncSync, openSync, writeSync } from 'node:fs';
import { rm, stat, statfs } from 'node:fs/promises';
import path from 'node:path';
import type { FrameState } from '../../shared/state.js';
import { Journal, journalFile } from '../../src/journal/index.js';
import { frame, RUN, setBegun } from '../journal/journal-sample.js';
import { quantile } from './wire-watch.js';

const TRANSITIONS = 2000;
const MOST_P99_MS = 5;
/** 2000 sets of nine frames, and some. */
const MANY_FRAMES = 20_000;
const FRAMES_A_SET = 9;
const PAGE_BYTES = 4096;
/** tmpfs and ramfs, as in linux/magic.h: there, nothing waits for a disk. */
const IN_MEMORY: ReadonlySet<number> = new Set([0x01021994, 0x858458f6]);

/** Of each frame, in this order. */
const STATES: readonly FrameState[] = ['armed', 'fired', 'stored', 'verified'];
const FILES = {
  stored: { arrived: '.incoming/frame.jpg', bytes: 24_000_000 },
  verified: { arrived: null, sha256: 'a5'.repeat(32) },
} as const;

const ms = (value: number, digits = 2) => value.toFixed(digits).padStart(9);

function row(what: string, times: readonly number[], verdict = ''): void {
  const figures = [0.5, 0.99, 1].map((share) => ms(quantile(times, share))).join(' ');
  console.log(`${what.padEnd(44)} ${String(times.length).padStart(6)} ${figures}  ${verdict}`);
}

function timed(times: number[], work: () => void): void {
  const began = performance.now();
  work();
  times.push(performance.now() - began);
}

function change(journal: Journal, set: string, number: number, state: FrameState): void {
  const view = frame(number, state, {
    recorded: state === 'verified' ? { exposureTime: 1 / 60, fNumber: 8, iso: 100, bias: 0 } : null,
    clipped: state === 'verified' ? { dark: 0.125, light: 0.0625 } : null,
    file: state === 'verified' ? `0${number}_-4EV.jpg` : null,
  });
  journal.frameChanged(set, view, state === 'stored' || state === 'verified' ? FILES[state] : {});
}

function endSet(journal: Journal, set: string): void {
  journal.setChanged(set, 'putting-back');
  journal.setChanged(set, 'complete', { sentence: 'All 9 frames are verified.' });
}

interface Times {
  readonly transitions: number[];
  readonly bare: number[];
  readonly begins: number[];
  readonly ends: number[];
}

/** Sets as a run makes them; after each transition, and before the next, the bare write. */
function measure(journal: Journal, scratch: string, names: string): Times {
  const times: Times = { transitions: [], bare: [], begins: [], ends: [] };
  const page = Buffer.alloc(PAGE_BYTES, 0xa5);
  const bare = openSync(path.join(scratch, 'bare'), 'w');
  try {
    for (let set = 1; times.transitions.length < TRANSITIONS; set += 1) {
      const id = `${names}-${set}`;
      timed(times.begins, () => journal.beginSet(setBegun(id)));
      journal.setChanged(id, 'firing');
      for (let number = 1; number <= FRAMES_A_SET; number += 1) {
        for (const state of STATES) {
          timed(times.transitions, () => change(journal, id, number, state));
          timed(times.bare, () => {
            writeSync(bare, page);
            fsyncSync(bare);
          });
        }
      }
      timed(times.ends, () => endSet(journal, id));
    }
  } finally {
    closeSync(bare);
  }
  return times;
}

function printTimes({ transitions, bare, begins, ends }: Times, what: string): string[] {
  const p99 = quantile(transitions, 0.99);
  const isMet = p99 < MOST_P99_MS;
  row(
    `journalled transition${what}`,
    transitions,
    `goal: p99 under ${MOST_P99_MS} ms: ${isMet ? 'met' : 'MISSED'}`,
  );
  row('bare write and fsync of 4 KiB', bare);
  const ratios = [0.5, 0.99].map((share) =>
    (quantile(transitions, share) / quantile(bare, share)).toFixed(2),
  );
  console.log(`transition/bare: ${ratios[0]} at the median, ${ratios[1]} at the 99th percentile`);
  row('a set begins: its plan and nine frames', begins);
  row('a set ends, the log is copied', ends);
  return isMet
    ? []
    : [
        `journalled transition${what}: p99 ${p99.toFixed(2)} ms, where the bare write took ${quantile(bare, 0.99).toFixed(2)} ms`,
      ];
}

/** As many frames as a season brings, without waiting for the disk at each. */
function fill(journal: Journal): void {
  for (let frames = 0, set = 1; frames < MANY_FRAMES; frames += FRAMES_A_SET, set += 1) {
    const id = `filled-${set}`;
    journal.together(() => {
      journal.beginSet(setBegun(id));
      journal.setChanged(id, 'firing');
      for (let number = 1; number <= FRAMES_A_SET; number += 1)
        for (const state of STATES) change(journal, id, number, state);
      endSet(journal, id);
    });
  }
}

const opened = (stateFolder: string): Promise<Journal> =>
  Journal.open(stateFolder, {
    onKeptAside: ({ sentence }) => {
      throw new Error(sentence);
    },
  });

async function printMany(stateFolder: string): Promise<Journal> {
  const opens: number[] = [];
  let journal = await opened(stateFolder);
  for (let time = 0; time < 5; time += 1) {
    journal.close();
    const began = performance.now();
    journal = await opened(stateFolder);
    opens.push(performance.now() - began);
  }
  row('opened, its integrity checked', opens);
  const page: number[] = [];
  const last: number[] = [];
  const one: number[] = [];
  const unfinished: number[] = [];
  for (let time = 0; time < 50; time += 1) {
    timed(page, () => journal.sets({ limit: 50 }));
    timed(last, () => journal.sets({ limit: 50, before: 60 }));
    timed(one, () => journal.set('filled-1000'));
    timed(unfinished, () => journal.unfinishedRun());
  }
  row('the newest 50 sets', page);
  row('the oldest 50 sets', last);
  row('one set with its frames', one);
  row('the unfinished run', unfinished);
  return journal;
}

/** @returns the goals that were missed, a line each */
export async function benchJournal(scratch: string): Promise<string[]> {
  const { type } = await statfs(scratch);
  console.log(
    `in ${path.dirname(scratch)}, file system 0x${type.toString(16)}${IN_MEMORY.has(type) ? ': IN MEMORY, these figures say nothing of a disk (TMPDIR names another folder)' : ''}`,
  );
  console.log(`${'ms'.padEnd(44)}  times    median       p99      most`);
  const stateFolder = path.join(scratch, 'state');
  let journal = await opened(stateFolder);
  try {
    journal.beginRun(RUN);
    const missed = printTimes(measure(journal, scratch, 'first'), '');

    fill(journal);
    journal.close();
    const bytes = (await stat(journalFile(stateFolder))).size;
    console.log(`\na journal of ${MANY_FRAMES} frames more, ${(bytes / 2 ** 20).toFixed(0)} MiB:`);
    journal = await printMany(stateFolder);
    const before = process.memoryUsage().heapUsed;
    missed.push(...printTimes(measure(journal, scratch, 'later'), ' there'));
    const grown = (process.memoryUsage().heapUsed - before) / 2 ** 20;
    console.log(
      `heap after these ${TRANSITIONS} transitions: ${grown >= 0 ? '+' : ''}${grown.toFixed(1)} MiB (rubbish in it)`,
    );
    return missed;
  } finally {
    journal.close();
    await rm(stateFolder, { recursive: true, force: true });
  }
}
