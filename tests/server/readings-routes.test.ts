// Two spot readings over HTTP: planned, told to other panels as they were written, foreseen on a schedule, refused with a field.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import pino from 'pino';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { planSchema } from '../../shared/plan.js';
import { foreseenScheduleSchema } from '../../shared/state.js';
import { type RunningServer, startServer } from '../../src/server/index.js';
import type { EventLog, Station } from '../../src/station/index.js';
import { fieldsOf, keyOf, readRequest, USUAL_REQUEST, writeAsked } from '../../web/src/request.js';
import { TestLink } from '../harness/links.js';
import { stationOver } from '../harness/station.js';

const METERED = { readings: { darkest: 'EV 8', brightest: '1/500' }, step: '1' };

let folder = '';
let events: EventLog;
let station: Station;
let server: RunningServer;
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  await writeFile(path.join(folder, 'index.html'), '<title>panel</title>');
  ({ station, events } = stationOver(folder, new TestLink()));
  const log = pino({ level: 'silent' });
  server = await startServer({ station, events, log, panel: folder, notes: folder, port: 0 });
  await station.look();
});
afterEach(async () => {
  await station.close();
  await server.close();
  await rm(folder, { recursive: true, force: true });
});

async function send(method: 'POST' | 'PUT', at: string, body: unknown) {
  const headers = { 'content-type': 'application/json' };
  const answer = await fetch(new URL(at, server.address), { method, headers, body: JSON.stringify(body) });
  return { status: answer.status, body: (await answer.json()) as Record<string, unknown> };
}

describe('readings over HTTP', () => {
  it('are planned for the camera that is there: base, frames, and where each falls', async () => {
    const { status, body } = await send('POST', '/api/plan', METERED);
    expect(status).toBe(200);
    const plan = planSchema.parse(body);
    // At f/8 and ISO 100 Tv 2 and 9 (1/500 is 1/512): as in tests/engine/readings.test.ts.
    expect(plan.base.shutter).toBe('1/50');
    expect(plan.offsets).toEqual([-1, 0, 1]);
    expect(plan.readings).toMatchObject({
      darkest: { written: 'EV 8', ev100: 8, shutter: '1/4', frame: 3 },
      brightest: { written: '1/500', ev100: 15, shutter: '1/500', frame: 1 },
    });
    expect(plan.readings?.brightest.sentence).toBe(
      'The brightest part (1/500 s) falls 2 1/3 stops above middle grey in frame 1 (1/100 s), 1/6 stop below clipping.',
    );
    expect(plan.readings?.darkest.sentence).toBe(
      'The darkest part (EV 8) falls 2 2/3 stops below middle grey in frame 3 (1/25 s), 1/3 stop above where noise drowns detail.',
    );
  });

  it('are told to other panels as they were written, and read back into the same fields', async () => {
    const asked = { ...METERED, name: 'Boathouse at dusk' };
    expect((await send('PUT', '/api/asked', asked)).status).toBe(200);
    expect(events.state.asked).toEqual(asked);
    const form = fieldsOf(asked);
    expect(form).toMatchObject({
      ...{ by: 'readings', framesWritten: USUAL_REQUEST.framesWritten, base: null },
      readings: { darkest: 'EV 8', brightest: '1/500' },
    });
    // No base goes with them, whatever stands in the field.
    expect(readRequest({ ...form, base: '1/8' }, '1/8')).toEqual({ ...METERED, mode: 'manual', settle: 0 });
    const back = writeAsked(form);
    expect(back === null ? '' : keyOf(back)).toBe(keyOf(asked));
    expect(keyOf({ ...asked, readings: { ...asked.readings, darkest: 'EV 7' } })).not.toBe(keyOf(asked));
    expect(keyOf({ frames: 9, step: '1' })).not.toBe(keyOf(METERED));
    // What a script says besides stays.
    const measured = { ...METERED, readings: { ...METERED.readings, roomBelow: 5 } };
    expect(readRequest(fieldsOf(measured), null)).toMatchObject(measured);
  });

  it.each([
    [{ ...METERED, readings: { darkest: 'EV 8', brightest: 'EV 8' } }, 422, 'readings-unusable', 'brightest'],
    [{ ...METERED, readings: { darkest: 'EV 8', brightest: 'EV 4' } }, 422, 'readings-unusable', 'darkest'],
    [{ ...METERED, readings: { darkest: 'dark', brightest: 'EV 4' } }, 400, 'unreadable-reading', 'darkest'],
    [
      { ...METERED, readings: { darkest: 'EV 8', brightest: 'EV 30' } },
      422,
      'outside-shutter-range',
      'brightest',
    ],
    [{ ...METERED, readings: { ...METERED.readings, aperture: 2 } }, 400, 'limits-contradict', 'aperture'],
    [{ ...METERED, base: '1/60' }, 400, 'malformed-request', 'base'],
    [{ ...METERED, frames: 3 }, 400, 'malformed-request', undefined],
    [{ readings: { darkest: 'EV 8' }, step: 1 }, 400, 'malformed-request', undefined],
  ])('%j: %s %s', async (asked, status, code, field) => {
    const answer = await send('POST', '/api/plan', asked);
    expect([answer.status, answer.body.error]).toEqual([
      status,
      expect.objectContaining({ code, ...(field === undefined ? {} : { field }) }),
    ]);
    const run = await send('POST', '/api/run', asked);
    expect(run.body.error).toMatchObject({ code });
    expect(events.state.run).toBeNull();
  });

  it('are foreseen on a schedule, with the caution on the sun first', async () => {
    const schedule = { every: '4min', count: 3 };
    const calm = await send('POST', '/api/schedule', { ...METERED, schedule });
    expect(foreseenScheduleSchema.parse(calm.body)).toMatchObject({
      ...{ estimate: { sets: 3, actuations: 9 }, cautions: [] },
    });
    const sunny = { readings: { darkest: 'EV 8', brightest: '350000 cd/m2' }, step: 2, schedule };
    const { body } = await send('POST', '/api/schedule', sunny);
    expect(foreseenScheduleSchema.parse(body).cautions[0]?.sentence).toMatch(
      /only the sun or its reflection/,
    );
  });

  it('are fired', async () => {
    const { status } = await send('POST', '/api/run', METERED);
    expect(status).toBe(202);
    await station.settled();
    expect(events.state.run).toMatchObject({ state: 'complete', base: { shutter: '1/50' } });
    expect(events.state.run?.plan.readings?.darkest.written).toBe('EV 8');
  });
});
