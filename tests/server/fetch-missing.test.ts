// A file that never came of a set that has ended, over HTTP: what its page is told, and having it looked for in the camera.
import { mkdir, mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import pino from 'pino';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { keptSetDetailSchema } from '../../shared/kept.js';
import { errorAnswerSchema } from '../../shared/stream.js';
import type { Link } from '../../src/camera/index.js';
import { PracticeBody } from '../../src/camera/practice/model.js';
import { exifTool } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { type RunningServer, startServer } from '../../src/server/index.js';
import type { Station } from '../../src/station/index.js';
import { ApartTestLink, PulledLink, TestLink } from '../harness/links.js';
import { openStation, stationOver } from '../harness/station.js';

const QUICK = { change: 0, changePerSetting: 0, releaseLag: 0.01, cycle: 0.02, exposureScale: 0.05 };

let root = '';
let journal: Journal;
let body: PracticeBody;
let station: Station | undefined;
let server: RunningServer | undefined;
let id = '';
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
  body = new PracticeBody({ timing: QUICK, picture: 'full' });
  await body.change('target', 'card');
  const link = new PulledLink(body, 'while it comes');
  const halting = await openStation(root, link, { journal, patienceMs: 50 });
  await halting.station.start({ frames: 5, step: 1, base: '1/60' });
  await halting.station.settled();
  await halting.station.close();
  id = halting.events.state.run?.set.id ?? '';
});
afterEach(async () => {
  await station?.close();
  await server?.close();
  station = undefined;
  server = undefined;
  await exifTool.end();
  journal.close();
  await rm(root, { recursive: true, force: true });
});

/** A daemon whose station has not looked for its body yet. */
async function serve(link: Link): Promise<Station> {
  const panel = path.join(root, 'panel');
  await mkdir(panel);
  const { station: over, events } = stationOver(root, link, { journal });
  station = over;
  const log = pino({ level: 'silent' });
  server = await startServer({ station: over, events, journal, log, panel, notes: root, port: 0 });
  return over;
}

const detail = async () =>
  keptSetDetailSchema.parse(await (await fetch(`${server?.address}/api/sets/${id}`)).json());

async function ask(of = id, sent?: object) {
  const more =
    sent === undefined ? {} : { body: JSON.stringify(sent), headers: { 'content-type': 'application/json' } };
  const answer = await fetch(`${server?.address}/api/sets/${of}/fetch`, { method: 'POST', ...more });
  return { status: answer.status, body: (await answer.json()) as unknown };
}
const codeOf = ({ body: answer }: { body: unknown }) => errorAnswerSchema.parse(answer).error.code;

it('is told of, offered as soon as the camera is there, fetched, and then not offered any more', async () => {
  const over = await serve(new ApartTestLink(body));
  expect((await detail()).inCamera).toEqual({ files: 1, canLook: false });
  await over.look();
  expect(await detail()).toMatchObject({ state: 'halted', inCamera: { files: 1, canLook: true } });
  const answer = await ask();
  expect(answer).toEqual({ status: 202, body: { run: journal.set(id)?.run } });
  await over.settled();
  expect(body.shots).toHaveLength(5);
  const now = await detail();
  expect(now).toMatchObject({ state: 'complete', verified: 5, strays: [], inCamera: { files: 0 } });
  expect(now.sentence).toMatch(/^Frame \d was fetched from the camera\. All 5 frames are verified\.$/);
  const again = await ask();
  expect([again.status, codeOf(again)]).toEqual([409, 'nothing-to-complete']);
});

it('over a connection that cannot look is not offered, and refused', async () => {
  const over = await serve(new TestLink(body));
  await over.look();
  expect((await detail()).inCamera).toEqual({ files: 1, canLook: false });
  const answer = await ask();
  expect([answer.status, codeOf(answer)]).toEqual([409, 'body-not-ready']);
  expect(journal.set(id)).toMatchObject({ state: 'halted' });
  expect(journal.unfinishedRun()).toBeNull();
});

it('without a camera, of a set that there is not, or with a body: refused, and nothing is changed', async () => {
  await serve(new ApartTestLink(body));
  const refused = await Promise.all([ask(), ask('nothing'), ask(id, { frames: [1] })]);
  expect(refused.map(codeOf)).toEqual(['no-body', 'no-such-set', 'malformed-request']);
  expect(journal.set(id)).toMatchObject({ state: 'halted' });
});
