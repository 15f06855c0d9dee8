// The clock of slots by the computer's own clocks; the rest of what it does is tried with a clock of the test's own
// (tests/pure/schedule.test.ts).
import { expect, it } from 'vitest';
import { parseScheduleRequest } from '../../shared/schedule.js';
import { resolveSchedule, SlotClock } from '../../src/series/index.js';
import { systemClock } from '../../src/system/index.js';
import { PACED, pace } from '../pace.js';

it('a slot is waited for in real time, and does not come early', PACED, async () => {
  const now = new Date(Date.now() + 300);
  const asked = parseScheduleRequest({ every: 5, count: 2 });
  const schedule = resolveSchedule(asked, { now, timeZone: 'Europe/Zurich', setSeconds: 1 });
  const slots = SlotClock.start(schedule, systemClock());
  const next = slots.next();
  if (next.kind === 'over') throw new Error('There is a slot to come.');
  expect(await slots.waitUntil(next.slot)).toBe('due');
  const late = Date.now() - now.getTime();
  expect(late).toBeGreaterThanOrEqual(-5);
  pace('a slot comes late by', late, 'ms', 100);
});
