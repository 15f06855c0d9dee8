// A process that is going to be killed: opens the journal as it is, makes seeded random steps that the tables
// of states allow, for ever, and prints each one once it is committed. `node journal-walker.js STATE-FOLDER
// SEED`
import { writeSync } from 'node:fs';
import { ENDED } from '../../shared/fold.js';
import type { RunState } from '../../shared/state.js';
import { Journal, type StoredFrame } from '../../src/journal/index.js';
import { FRAME_WAYS, RUN_WAYS } from '../../src/journal/ways.js';
import { frame, RUN, setBegun } from './journal-sample.js';

const [stateFolder = '', seed = '1'] = process.argv.slice(2);
let random = Number(seed) >>> 0;
/** mulberry32: good enough to choose by. @returns 0 up to 1 */
function next(): number {
  random = (random + 0x6d2b79f5) >>> 0;
  let mixed = Math.imul(random ^ (random >>> 15), random | 1);
  mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
  return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
}
const oneOf = <T>(choices: readonly T[]): T => choices[Math.floor(next() * choices.length)] as T;

function say(...lines: string[]): void {
  const text = lines.map((line) => `${line}\n`).join('');
  for (let at = 0; at < text.length; ) {
    try {
      at += writeSync(1, text.slice(at));
    } catch (cause) {
      // The pipe is full.
      if ((cause as NodeJS.ErrnoException).code !== 'EAGAIN') throw cause;
    }
  }
}

const journal = await Journal.open(stateFolder, {
  onKeptAside: ({ sentence }) => {
    say(`aside ${sentence}`);
    process.exit(1);
  },
});
say('open');

const ENDS = ['complete', 'stopped', 'halted'] as const;

/**
 * Every function makes one step, committed when it returns.
 * @returns what is printed of it
 */
type Told = string[];

function beginRun(): Told {
  const id = `run-${(journal.runs({ limit: 1 })[0]?.number ?? 0) + 1}`;
  journal.beginRun({ ...RUN, id });
  return [`run ${id} under-way`];
}

/** @returns null if no set has ended yet */
function takeUpAgain(): Told | null {
  const sets = journal.sets({ limit: 5 });
  if (sets.length === 0) return null;
  const { id, run } = oneOf(sets);
  journal.takeUpAgain(id);
  return [`run ${run} under-way`, `set ${id} preparing`];
}

function betweenSets(run: string): Told {
  if (next() < 0.1) {
    const state = oneOf(ENDS);
    journal.endRun(run, { state, sentence: 'It ended.' });
    return [`run ${run} ${state}`];
  }
  const id = `set-${(journal.sets({ limit: 1 })[0]?.number ?? 0) + 1}`;
  journal.beginSet(setBegun(id, run));
  return [`set ${id} preparing`];
}

function besideStates(set: string, step: number): Told {
  const file = `set-aside/other_${step}.jpg`;
  const pass = 1 + Math.floor(next() * 3);
  switch (Math.floor(next() * 4)) {
    case 0:
      journal.addNote(set, `note ${step}`);
      return [`note ${set} ${step}`];
    case 1:
      journal.addAside(set, { file, reason: 'A repeat.' });
      return [`aside-file ${set} ${file}`];
    case 2:
      journal.rememberForSet(set, { step });
      return [`memo ${set} ${step}`];
    default:
      journal.passChanged(set, pass, 'firing');
      return [`pass ${set} ${pass} firing`];
  }
}

function stepOfFrame(set: string, { view }: StoredFrame): Told {
  const state = oneOf(FRAME_WAYS[view.state]);
  const { number } = view;
  if (state === 'armed') {
    const attempts = view.attempts + 1;
    journal.together(() => {
      journal.frameChanged(set, frame(number, 'armed', { attempts }));
      journal.frameChanged(set, frame(number, 'fired', { attempts }));
    });
    return [`frame ${set} ${number} armed`, `frame ${set} ${number} fired`];
  }
  const file = state === 'verified' ? `0${number}.jpg` : null;
  journal.frameChanged(set, frame(number, state, { attempts: view.attempts, file }), {
    arrived: state === 'stored' ? `.incoming/${number}.jpg` : null,
  });
  return [`frame ${set} ${number} ${state}`];
}

function stepOfSet(set: string, from: RunState): Told {
  const state = oneOf(RUN_WAYS[from]);
  journal.setChanged(set, state, ENDED.has(state) ? { sentence: 'It ended.' } : {});
  return [`set ${set} ${state}`];
}

function anyStep(step: number): Told {
  const unfinished = journal.unfinishedRun();
  if (unfinished === null) return (next() < 0.5 ? takeUpAgain() : null) ?? beginRun();
  if (unfinished.set === null) return betweenSets(unfinished.run.id);
  const { id, state, frames } = unfinished.set;
  const open = frames.filter(({ view }) => FRAME_WAYS[view.state].length > 0);
  const chance = next();
  if (open.length === 0 || chance < 0.05) return stepOfSet(id, state);
  return chance < 0.2 ? besideStates(id, step) : stepOfFrame(id, oneOf(open));
}

for (let step = 1; ; step += 1) say(...anyStep(step));
