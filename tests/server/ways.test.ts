// What one release fires, and the least time or spread, over HTTP: on a body whose limits say that it can.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import pino from 'pino';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { planSchema } from '../../shared/plan.js';
import { errorAnswerSchema } from '../../shared/stream.js';
import type { BodyLimits } from '../../src/exposure/index.js';
import { type RunningServer, startServer } from '../../src/server/index.js';
import type { EventLog, Station } from '../../src/station/index.js';
import { TestLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';

let folder = '';
let events: EventLog;
let station: Station;
let server: RunningServer;

/** Times are invented. */
const eitherWay = (limits: BodyLimits): BodyLimits => ({
  ...limits,
  brackets: [...limits.brackets, ...limits.brackets.map((shape) => ({ ...shape, isOneRelease: true }))],
  secondsPerChange: 0.3,
  apart: {
    secondsBeforeExposure: 0.06,
    secondsAfterExposure: 0.14,
    secondsPerTransfer: 0.8,
    secondsPerPiece: 0.25,
    mostInOneGo: 5,
  },
});

async function serve(see?: (limits: BodyLimits) => BodyLimits): Promise<void> {
  ({ station, events } = await openStation(folder, new TestLink(), see === undefined ? {} : { see }));
  const log = pino({ level: 'silent' });
  server = await startServer({ station, events, log, panel: folder, notes: folder, port: 0 });
}

beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  await writeFile(path.join(folder, 'index.html'), '<title>panel</title>');
});
afterEach(async () => {
  await station.close();
  await server.close();
  await rm(folder, { recursive: true, force: true });
});

async function send(
  method: string,
  at: string,
  written: unknown,
): Promise<{ status: number; body: unknown }> {
  const headers = { 'content-type': 'application/json' };
  const answer = await fetch(new URL(at, server.address), { method, headers, body: JSON.stringify(written) });
  return { status: answer.status, body: await answer.json() };
}

const NINE = { frames: 9, step: 1, base: '1/60' };
const bodyNow = () => (events.state.body.state === 'ready' ? events.state.body.body : null);

describe('a body that can fire a pass from one release', () => {
  it('says so, and with what plans count', async () => {
    await serve(eitherWay);
    expect(bodyNow()).toMatchObject({
      oneRelease: true,
      timing: { apart: { secondsPerTransfer: 0.8, mostInOneGo: 5 } },
    });
    expect(bodyNow()?.brackets.filter(({ step }) => step === 1)).toEqual([{ frames: 3, step: 1 }]);
  });

  it('is planned for as it is asked', async () => {
    await serve(eitherWay);
    const plan = async (more: object) => {
      const { status, body } = await send('POST', '/api/plan', { ...NINE, ...more });
      expect(status).toBe(200);
      return planSchema.parse(body);
    };
    const framewise = await plan({});
    const together = await plan({ release: 'pass' });
    expect([framewise.release, together.release]).toEqual(['frame', 'pass']);
    expect(together.passes.map(({ oneRelease }) => oneRelease)).toEqual([true, true, true]);
    expect(framewise.passes.some((pass) => 'oneRelease' in pass)).toBe(false);
    // In one release seven waits for a piece fall away, and the lags of six frames that are no pass's first.
    const saved = (framewise.estimate.spreadSeconds ?? 0) - (together.estimate.spreadSeconds ?? 0);
    expect(saved).toBeCloseTo(7 * 0.25 + 6 * 0.06, 3);
    expect((await plan({ least: 'spread' })).release).toBe('pass');
    expect((await plan({ least: 'spread', release: 'frame' })).release).toBe('frame');
  });

  it('what stands in the panels has it, as it was written', async () => {
    await serve(eitherWay);
    const asked = { ...NINE, release: 'pass', least: 'spread' };
    expect((await send('PUT', '/api/asked', asked)).status).toBe(200);
    expect(events.state.asked).toEqual(asked);
    expect((await send('PUT', '/api/asked', NINE)).status).toBe(200);
    expect(events.state.asked).toEqual(NINE);
  });
});

describe('a body that cannot', () => {
  it('says so, and one release a pass is refused with what would do', async () => {
    await serve(({ apart: _, ...limits }) => limits);
    expect(bodyNow()).toMatchObject({ oneRelease: false, timing: { apart: null } });
    for (const at of ['/api/plan', '/api/run']) {
      const { status, body } = await send('POST', at, { ...NINE, release: 'pass' });
      const { error } = errorAnswerSchema.parse(body);
      expect([status, error.code]).toEqual([422, 'one-release-not-offered']);
      expect(error).toMatchObject({ field: 'release', suggestions: [{ change: { release: 'frame' } }] });
    }
    expect((await send('POST', '/api/plan', { ...NINE, least: 'spread' })).status).toBe(200);
    expect(events.state.run).toBeNull();
  });

  it.each([{ release: 'burst' }, { release: null }, { least: 'frames' }, { least: '' }])(
    '%j is not understood',
    async (wrong) => {
      await serve();
      const { status, body } = await send('POST', '/api/plan', { ...NINE, ...wrong });
      expect([status, errorAnswerSchema.parse(body).error.code]).toEqual([400, 'malformed-request']);
    },
  );
});
