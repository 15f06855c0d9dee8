// Begins a set that is a run by itself: makes its folder, enters it in the journal, and has it fired.
import { randomUUID } from 'node:crypto';
import type { RunRequest } from '../../shared/run-request.js';
import type { Body } from '../camera/index.js';
import type { Plan } from '../plan/index.js';
import type { Run } from '../set/index.js';
import { forgetSchedule } from './firing.js';
import type { Parts } from './parts.js';
import { SINGLE_OPTIONS_VERSION, type SingleOptions } from './single-options.js';

export interface SetAsked {
  readonly request: RunRequest;
  readonly plan: Plan;
  readonly body: Body;
  /** Before this moment nothing is fired. */
  readonly beginsAt: Date | null;
  readonly startedBy: string;
}

/**
 * Returns as soon as the set is under way.
 * @throws EvenrungError folder-not-writable, storing-failed, ending; then nothing of the set is left
 */
export async function beginSet(
  {
    one,
    folders,
    firing,
    planner,
    events,
    journal,
  }: Pick<Parts, 'one' | 'folders' | 'firing' | 'planner' | 'events' | 'journal'>,
  { request: { set: asked, writtenSet, labels }, plan, body, beginsAt, startedBy }: SetAsked,
): Promise<Run> {
  const id = randomUUID();
  const set = { id: randomUUID(), ordinal: 1, ...labels };
  const folder = await folders.make(id, set);
  try {
    one.mustNotBeEnding();
    const run = firing.makeRun({
      ...{ id, set, plan, body, folder, beginsAt, startedBy },
      ...{
        extend: asked.extend,
        limits: planner.limitsOf(body),
        conditions: planner.conditionsOf({ ...asked, base: plan.base.label }, body),
      },
    });
    forgetSchedule(events);
    const kept: SingleOptions = { beginsAt: beginsAt?.toISOString() ?? null, startedBy };
    journal?.together(() => {
      const { base, frames, startedAt, plan: wire } = run.view;
      journal.beginRun({
        ...{ id, kind: 'once', request: writtenSet, body: body.identity, into: folders.into },
        options: { version: SINGLE_OPTIONS_VERSION, content: kept },
      });
      journal.beginSet({
        ...{ id: set.id, run: id, ...labels, folder: folder.path },
        ...{ plan: wire, base, frames, startedAt },
      });
    });
    firing.begin(startedBy, run, body);
    return run;
  } catch (cause) {
    await folder.removeIfEmpty();
    throw cause;
  }
}
