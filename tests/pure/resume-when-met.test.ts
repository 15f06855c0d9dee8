// `serve --resume always`: when a run that was cut off is gone on with.
import { setImmediate as turn } from 'node:timers/promises';
import { describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import type { BodyState, Unfinished } from '../../shared/state.js';
import { resumeWhenMet } from '../../src/commands/resume-when-met.js';
import type { Run } from '../../src/set/index.js';
import { EventLog } from '../../src/station/index.js';

const LEFT: Unfinished = {
  ...{ run: 'one', startedAt: '2026-11-25T15:40:00Z', verified: 4, frames: 9, folder: null },
  ...{ set: null, scheduled: true, sentence: 'Cut off.' },
};
const READY = { state: 'ready' } as BodyState;

/** @param refusals why it cannot be gone on with at first */
function stage(refusals: (EvenrungError | null)[]) {
  const events = new EventLog();
  const said: string[] = [];
  let begun = 0;
  let resumed = 0;
  let unfinished: Unfinished | null = LEFT;
  const station = {
    isRunning: false,
    unfinished: () => unfinished,
    resume: async () => {
      begun += 1;
      await turn();
      const refusal = refusals.shift() ?? null;
      if (refusal !== null) throw refusal;
      resumed += 1;
      unfinished = null;
      return {} as Run;
    },
  };
  resumeWhenMet(station, events, { warn: (line: string) => said.push(line) } as never);
  const tell = async (body: BodyState) => {
    events.tell({ type: 'body', body });
    for (let turns = 0; turns < 4; turns += 1) await turn();
  };
  return { tell, said, resumed: () => resumed, begun: () => begun };
}

describe('a run that was cut off', () => {
  it('is gone on with when its camera is met, however late, and once', async () => {
    const { tell, said, resumed } = stage([]);
    await tell({ state: 'looking' });
    await tell({
      ...{ state: 'absent', sentence: 'Nothing is there.', error: 'no-body', next: null, choices: [] },
    });
    expect(resumed()).toBe(0);
    await tell(READY);
    await tell(READY);
    expect(resumed()).toBe(1);
    expect(said).toEqual([]);
  });

  it('is tried once at a time, however often its camera is told of', async () => {
    const { tell, said, begun } = stage([]);
    await Promise.all([tell(READY), tell(READY)]);
    expect(begun()).toBe(1);
    expect(said).toEqual([]);
  });

  it('waits for the right camera where another one is met first; that is said once', async () => {
    const other = new EvenrungError('body-not-ready', 'The run was begun with another body.');
    const { tell, said, resumed } = stage([other, other]);
    await tell(READY);
    await tell(READY);
    expect(resumed()).toBe(0);
    expect(said).toEqual(['The interrupted set is not resumed: The run was begun with another body.']);
    await tell(READY);
    expect(resumed()).toBe(1);
  });
});
