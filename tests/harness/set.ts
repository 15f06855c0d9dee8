// One set over a practice body in this process: its plan, its folder, its events, and what it leaves on disk.

import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import { type Sixths, sixths } from '../../shared/ev.js';
import { type KeptSetRecord, readSetRecord } from '../../shared/set-record.js';
import type { FrameView, NumberedEvent, RunState, RunView } from '../../shared/state.js';
import { Body, type Link } from '../../src/camera/index.js';
import { type Naming, RECORD, SetFolder } from '../../src/frames/index.js';
import { type Plan, planSet, resolveBase } from '../../src/plan/index.js';
import { KEEPS_NOTHING, type SetMemo } from '../../src/set/book/keeper.js';
import { Run, type RunOptions } from '../../src/set/index.js';
import { EventLog } from '../../src/station/index.js';
import { ASKED } from '../asked.js';
import { namedBy } from '../set-naming.js';
import { TestLink } from './links.js';

export const THE_SET: RunView['set'] = {
  id: '3f2a91c0-boathouse',
  ordinal: 2,
  name: 'The boathouse at dusk',
  note: 'doors open',
  viewpoint: '3',
};

export interface SetOptions extends Pick<Partial<RunOptions>, 'patienceMs' | 'keepAwakeMs' | 'cameBefore'> {
  readonly settleSeconds?: number;
  readonly frames?: number;
  readonly mode?: 'manual' | 'aperture';
  readonly link?: Link;
  /** Given if the body has been met already. */
  readonly body?: Body;
  /** The plan of the set. If it is left out: so many frames, 1 EV apart, centred on 1/60 s. */
  readonly plan?: Plan;
  readonly naming?: Naming | undefined;
  readonly set?: RunView['set'];
  /** Takes what is kept of the set apart from its frames. */
  readonly memos?: SetMemo[];
  readonly during?: (event: NumberedEvent, run: Run) => void;
}

export interface PreparedSet {
  readonly run: Run;
  readonly body: Body;
  readonly plan: Plan;
  readonly folder: SetFolder;
  readonly log: EventLog;
  readonly events: readonly NumberedEvent[];
}

export interface FiredSet extends Omit<PreparedSet, 'folder'> {
  readonly state: RunState;
  readonly folder: string;
  /** Null if there is none. */
  readonly record: KeptSetRecord | null;
  /** The names of the files in its folder, sorted. */
  readonly files: readonly string[];
}

/** @returns offsets 1 EV apart; an even number has its extra one on the brighter side */
export const offsetsOf = (frames: number): Sixths[] =>
  Array.from({ length: frames }, (_, index) => sixths((index - Math.floor((frames - 1) / 2)) * 6));

/**
 * @param into an existing folder
 * @returns a set that is ready to be carried out
 */
export async function prepareSet(into: string, options: SetOptions = {}): Promise<PreparedSet> {
  const { frames = 3, mode = 'manual', set = THE_SET, naming, during, settleSeconds = 0 } = options;
  const body = options.body ?? (await Body.meet(options.link ?? new TestLink()));
  const base = resolveBase('1/60', body.limits);
  const plan =
    options.plan ??
    planSet({ offsets: offsetsOf(frames), step: sixths(6), mode, settleSeconds, base }, body.limits);
  const folder = await SetFolder.create(
    into,
    { ...namedBy(new Date()), set: set.ordinal, name: set.name, viewpoint: set.viewpoint },
    naming === undefined ? {} : { template: naming.set },
  );
  const log = new EventLog();
  const events: NumberedEvent[] = [];
  const { keepAwakeMs, cameBefore } = options;
  const run = new Run({
    ...{ id: 'a-run', set, plan, body, folder, naming, patienceMs: options.patienceMs ?? 1000 },
    ...(keepAwakeMs === undefined ? {} : { keepAwakeMs }),
    ...(cameBefore === undefined ? {} : { cameBefore }),
    asked: async () => ({ ...ASKED, mode }),
    keeper: { ...KEEPS_NOTHING, memo: (memo) => options.memos?.push(memo) },
    tell: (happening) => log.tell(happening),
  });
  log.watch((event) => {
    events.push(event);
    during?.(event, run);
  });
  return { run, body, plan, folder, log, events };
}

/** @param into an existing folder */
export async function fireSet(into: string, options: SetOptions = {}): Promise<FiredSet> {
  const { folder, ...prepared } = await prepareSet(into, options);
  const { state } = await prepared.run.carryOut();
  const files = (await readdir(folder.path, { recursive: true }).catch(() => [])).sort();
  return { ...prepared, state, folder: folder.path, record: await recordIn(folder.path), files };
}

/** @returns null if there is none */
export async function recordIn(folder: string): Promise<KeptSetRecord | null> {
  const text = await readFile(path.join(folder, RECORD), 'utf8').catch(() => null);
  return text === null ? null : readSetRecord(text).record;
}

/** The marks of a set, each as its code and the number of its frame. */
export const marksOf = (frames: readonly Pick<FrameView, 'number' | 'marks'>[]): [number, string][] =>
  frames.flatMap(({ number, marks }) => marks.map(({ code }): [number, string] => [number, code]));
