// One set of an engine over the practice body in this process, for tests of what it leaves on disk.
import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { type KeptSetRecord, readSetRecord } from '../shared/set-record.js';
import type { FrameView, NumberedEvent, RunState, RunView } from '../shared/state.js';
import { Body, type Link } from '../src/camera/index.js';
import { AT_ONCE, PracticeBody } from '../src/camera/practice/model.js';
import { PracticeLink } from '../src/camera/practice/practice-link.js';
import { type Naming, RECORD, SetFolder } from '../src/frames/index.js';
import { planSet, resolveBase } from '../src/plan/index.js';
import { Run } from '../src/set/index.js';
import { KEEPS_NOTHING, type SetMemo } from '../src/set/keeper.js';
import { EventLog } from '../src/station/index.js';
import { ASKED } from './asked.js';
import { namedBy } from './set-naming.js';

export const THE_SET: RunView['set'] = {
  id: '3f2a91c0-boathouse',
  ordinal: 2,
  name: 'The boathouse at dusk',
  note: 'doors open',
  viewpoint: '3',
};

export interface FiredSet {
  readonly state: RunState;
  readonly run: Run;
  readonly log: EventLog;
  readonly events: readonly NumberedEvent[];
  readonly folder: string;
  /** Null where there is none. */
  readonly record: KeptSetRecord | null;
}

export interface FireSetOptions {
  readonly frames?: number;
  readonly mode?: 'manual' | 'aperture';
  readonly link?: Link;
  readonly naming?: Naming;
  readonly set?: RunView['set'];
  /** Takes what is kept of the set beyond its frames. */
  readonly memos?: SetMemo[];
  readonly during?: (event: NumberedEvent, run: Run) => void;
}

/** @param into an existing folder */
export async function fireSet(into: string, options: FireSetOptions = {}): Promise<FiredSet> {
  const { frames = 3, mode = 'manual', set = THE_SET, naming, during } = options;
  const link = options.link ?? new PracticeLink(new PracticeBody(AT_ONCE));
  const body = await Body.meet(link);
  const offsets = Array.from({ length: frames }, (_, index) => (index - Math.floor((frames - 1) / 2)) * 6);
  const base = resolveBase('1/60', body.limits);
  const plan = planSet({ offsets, step: 6, mode, settleSeconds: 0, base }, body.limits);
  const folder = await SetFolder.create(
    into,
    { ...namedBy(new Date()), set: set.ordinal, name: set.name, viewpoint: set.viewpoint },
    naming === undefined ? {} : { template: naming.set },
  );
  const log = new EventLog();
  const events: NumberedEvent[] = [];
  const run = new Run({
    ...{ id: 'a-run', set, plan, body, folder, naming, patienceMs: 1000 },
    asked: async () => ({ ...ASKED, mode }),
    keeper: { ...KEEPS_NOTHING, memo: (memo) => options.memos?.push(memo) },
    tell: (happening) => log.tell(happening),
  });
  log.watch((event) => {
    events.push(event);
    during?.(event, run);
  });
  const { state } = await run.carryOut();
  return { state, run, log, events, folder: folder.path, record: await recordIn(folder.path) };
}

export async function recordIn(folder: string): Promise<KeptSetRecord | null> {
  const text = await readFile(path.join(folder, RECORD), 'utf8').catch(() => null);
  return text === null ? null : readSetRecord(text).record;
}

/** The marks of a set, as the code of each and its frame. */
export const marksOf = (frames: readonly Pick<FrameView, 'number' | 'marks'>[]): [number, string][] =>
  frames.flatMap(({ number, marks }) => marks.map(({ code }): [number, string] => [number, code]));
