// Soundings over HTTP: begun, told on the stream, looked at, stopped, put away, refused.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import pino from 'pino';
import sharp from 'sharp';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { soundingViewSchema } from '../../shared/sounding.js';
import { daemonStateSchema } from '../../shared/state.js';
import { type RunningServer, startServer } from '../../src/server/index.js';
import type { EventLog, Station } from '../../src/station/index.js';
import { readRequest, USUAL_REQUEST } from '../../web/src/request.js';
import { asProposed } from '../../web/src/sounding-form.js';
import { TestLink } from '../harness/links.js';
import { AT_BUILT, bodyBefore } from '../harness/sounding.js';
import { stationOver } from '../harness/station.js';

let folder = '';
let link: TestLink;
let events: EventLog;
let station: Station;
let server: RunningServer;
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  await writeFile(path.join(folder, 'index.html'), '<title>panel</title>');
  link = new TestLink(bodyBefore('flat'));
  ({ station, events } = stationOver(folder, link, AT_BUILT));
  const log = pino({ level: 'silent' });
  server = await startServer({ station, events, log, panel: folder, notes: folder, port: 0 });
  await station.look();
});
afterEach(async () => {
  await station.close();
  await server.close();
  await rm(folder, { recursive: true, force: true });
});

async function post(at: string, body: unknown = {}) {
  const headers = { 'content-type': 'application/json' };
  const answer = await fetch(new URL(at, server.address), {
    ...{ method: 'POST', headers, body: JSON.stringify(body) },
  });
  return { status: answer.status, body: (await answer.json()) as Record<string, unknown> };
}

const state = async () => {
  const answer = await fetch(new URL('/api/state', server.address));
  return daemonStateSchema.parse(((await answer.json()) as { state: unknown }).state);
};
const ended = () => expect.poll(() => events.state.sounding?.state, { timeout: 40_000 }).not.toBe('firing');

describe('a sounding over HTTP', () => {
  it('is begun at once, told as it goes, and has pictures and a set in the end, until it is put away', async () => {
    const begun = await post('/api/sound', { step: 1 });
    expect(begun).toMatchObject({ status: 202, body: { sounding: expect.any(String) } });
    expect((await state()).sounding).toMatchObject({ id: begun.body.sounding, state: 'firing' });
    expect((await post('/api/sound', { step: 1 })).body.error).toMatchObject({ code: 'run-under-way' });
    expect((await post('/api/run', { frames: 3, step: 1 })).body.error).toMatchObject({
      code: 'run-under-way',
    });
    await ended();
    const view = soundingViewSchema.parse((await state()).sounding);
    expect(view).toMatchObject({ state: 'proposed', proposal: { frames: 1 } });
    const at = `/api/sound/${view.id}/frames/${view.proposal?.darkest.testFrame}/thumbnail`;
    const picture = await fetch(new URL(at, server.address));
    expect([picture.status, picture.headers.get('content-type')]).toEqual([200, 'image/jpeg']);
    expect(await sharp(Buffer.from(await picture.arrayBuffer())).metadata()).toMatchObject({ width: 320 });
    expect((await post('/api/sound/put-away')).status).toBe(200);
    expect((await state()).sounding).toBeNull();
    expect((await fetch(new URL(at, server.address))).status).toBe(404);
  });

  it('what it proposes fills the fields of the panel, and is planned as it was proposed', async () => {
    await post('/api/sound', { step: 1, from: '1/15' });
    await ended();
    const { proposal } = (await state()).sounding ?? {};
    if (!proposal) throw new Error('Nothing was proposed.');
    const form = asProposed(USUAL_REQUEST, proposal.set);
    const request = readRequest(form, form.base);
    const plan = await post('/api/plan', request);
    expect(plan).toMatchObject({ status: 200, body: { base: { shutter: proposal.set.base } } });
    expect((plan.body.offsets as number[]).length).toBe(proposal.frames);
  });

  it('is stopped', async () => {
    link.afterFire = async (count) => {
      if (count === 1) expect((await post('/api/sound/stop')).status).toBe(202);
    };
    await post('/api/sound', { step: 1 });
    await ended();
    expect(events.state.sounding).toMatchObject({ state: 'stopped', proposal: null });
    expect(link.releases).toBe(1);
  });

  it.each([
    ['/api/sound', {}, 400, 'malformed-request'],
    ['/api/sound', { step: 9 }, 400, 'step-out-of-range'],
    ['/api/sound', { step: 1, from: 'soon' }, 400, 'unreadable-shutter'],
    ['/api/sound', { step: 1, frames: 9 }, 400, 'malformed-request'],
    ['/api/sound', { step: 1, from: 'x'.repeat(400) }, 400, 'malformed-request'],
    ['/api/sound/stop', {}, 409, 'nothing-to-stop'],
    ['/api/sound/stop', { now: true }, 400, 'malformed-request'],
  ])('%s with %j is answered %i %s, and nothing is fired', async (at, body, status, code) => {
    expect(await post(at, body)).toMatchObject({ status, body: { error: { code } } });
    expect([link.releases, events.state.sounding]).toEqual([0, null]);
  });

  it('of a picture that is not there is told so', async () => {
    for (const at of [
      '/api/sound/x/frames/1/thumbnail',
      '/api/sound/x/frames/0/thumbnail',
      '/api/sound/x/frames/no/thumbnail',
    ])
      expect((await fetch(new URL(at, server.address))).status).toBe(404);
  });
});
