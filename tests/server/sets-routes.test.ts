// The sets that were fired, over HTTP: a list page by page, one set, its pictures and files, other names for it. Files come from the
// folder of the set, and from nowhere else, whatever the journal says.
import { mkdir, mkdtemp, readdir, readFile, rename, rm, symlink, utimes, writeFile } from 'node:fs/promises';
import http from 'node:http';
import os from 'node:os';
import path from 'node:path';
import Sqlite from 'better-sqlite3';
import pino from 'pino';
import sharp from 'sharp';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { type KeptSets, keptSetDetailSchema, keptSetsSchema, keptSetViewSchema } from '../../shared/kept.js';
import { readSetRecord, type SetRecord } from '../../shared/set-record.js';
import { foreseenScheduleSchema, type Partner } from '../../shared/state.js';
import { errorAnswerSchema } from '../../shared/stream.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import {
  CONTACT_SHEET,
  COVERAGE_MAP,
  checkSet,
  checksumOf,
  exifTool,
  PREVIEW,
  parseSums,
  RECORD,
  SetFolder,
  SUMS,
  sumsText,
} from '../../src/frames/index.js';
import { Journal, journalFile } from '../../src/journal/index.js';
import { FramePictures } from '../../src/server/frame-pictures.js';
import { type RunningServer, startServer } from '../../src/server/index.js';
import type { EventLog, Station } from '../../src/station/index.js';
import { FRAMES, keepRecord, makeSet } from '../frames/set-sample.js';
import { DyingLink, TestLink } from '../harness/links.js';
import { stationOver } from '../harness/station.js';
import { frame, PLAN, RUN, setBegun } from '../journal/journal-sample.js';
import { makeDng } from '../raw-files.js';

let root = '';
let sets = '';
let state = '';
let journal: Journal;
let events: EventLog;
let station: Station;
let server: RunningServer;
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  sets = path.join(root, 'sets');
  state = path.join(root, 'state');
  const panel = path.join(root, 'panel');
  await mkdir(panel);
  journal = await Journal.open(state);
  ({ station, events } = stationOver(root, new TestLink(), { journal }));
  const log = pino({ level: 'silent' });
  server = await startServer({ station, events, journal, log, panel, notes: root, port: 0 });
});
afterEach(async () => {
  await station.close();
  await server.close();
  await exifTool.end();
  journal.close();
  await rm(root, { recursive: true, force: true });
});

interface Answer {
  readonly status: number;
  readonly headers: http.IncomingHttpHeaders;
  readonly bytes: Buffer;
}

function ask(
  method: string,
  at: string,
  body?: unknown,
  headers: Record<string, string> = {},
): Promise<Answer> {
  const type: Record<string, string> = body === undefined ? {} : { 'content-type': 'application/json' };
  return new Promise((resolve, reject) => {
    const options = { method, headers: { ...type, ...headers } };
    const request = http.request(`${server.address}${at}`, options, (answer) => {
      const parts: Buffer[] = [];
      answer.on('data', (part: Buffer) => parts.push(part));
      answer.on('end', () =>
        resolve({
          status: answer.statusCode ?? 0,
          headers: answer.headers,
          bytes: Buffer.concat(parts),
        }),
      );
    });
    request.on('error', reject);
    request.end(body === undefined ? undefined : JSON.stringify(body));
  });
}

const get = (at: string, headers: Record<string, string> = {}) => ask('GET', at, undefined, headers);
const json = ({ bytes }: Answer): unknown => JSON.parse(bytes.toString());
const errorOf = (answer: Answer) => errorAnswerSchema.parse(json(answer)).error;
const refusal = (answer: Answer) => [answer.status, errorOf(answer).code];

const folderOf = (id: string) => path.join(sets, id);
const OFFSETS = [-1, 0, 1];

/** A set of three frames that are in its folder, and everything beside them. */
async function kept(id: string, more: Partial<SetRecord> = {}, files: readonly string[] = FRAMES) {
  await makeSet(folderOf(id), { id, ...more });
  journal.beginRun({ ...RUN, id: `run-of-${id}`, kind: 'once', into: sets });
  const frames = OFFSETS.map((offset, index) => ({ ...frame(index + 1), offset, pass: 1 }));
  const { name = null, note = null, viewpoint = null } = more;
  journal.beginSet({
    ...setBegun(id, `run-of-${id}`),
    ...{ folder: folderOf(id), frames, name, note, viewpoint },
  });
  journal.setChanged(id, 'firing');
  for (const [index, view] of frames.entries()) {
    const told = { ...view, attempts: 1 };
    journal.frameChanged(id, { ...told, state: 'armed' });
    journal.frameChanged(id, { ...told, state: 'fired' });
    journal.frameChanged(id, { ...told, state: 'stored' });
    journal.frameChanged(id, { ...told, state: 'verified', file: files[index] ?? null });
  }
  journal.addNote(id, 'A note.');
  journal.setChanged(id, 'putting-back');
  journal.setChanged(id, 'complete', { sentence: 'All 3 frames are verified.' });
  journal.endRun(`run-of-${id}`, { state: 'complete', sentence: 'All 3 frames are verified.' });
}

/** As the journal has it once its second file is there, whatever that is called. */
function giveFrame(id: string, number: number, partner: Partner): void {
  const database = new Sqlite(journalFile(state));
  database
    .prepare(
      `UPDATE frames SET view = json_set(view, '$.partner', json(?))
       WHERE number = ? AND set_number = (SELECT number FROM sets WHERE id = ?)`,
    )
    .run(JSON.stringify(partner), number, id);
  database.close();
}

/** As somebody would who writes into the database by hand. */
function tamper(id: string, file: string, number = 1): void {
  const database = new Sqlite(journalFile(state));
  database
    .prepare(
      `UPDATE frames SET view = json_set(view, '$.file', ?), file = ?
       WHERE number = ? AND set_number = (SELECT number FROM sets WHERE id = ?)`,
    )
    .run(file, file, number, id);
  database.close();
}

const recordIn = async (id: string) =>
  readSetRecord(await readFile(path.join(folderOf(id), RECORD), 'utf8')).record;
const listed = async (query = ''): Promise<KeptSets> =>
  keptSetsSchema.parse(json(await get(`/api/sets${query}`)));

describe('the list', () => {
  it('is empty at first, and where nothing is kept', async () => {
    expect(await listed()).toEqual({ sets: [], next: null });
  });

  it('has the newest first, page by page', async () => {
    for (const id of ['one', 'two', 'three', 'four', 'five']) await kept(id);
    const first = await listed('?limit=2');
    expect(first.sets.map(({ id }) => id)).toEqual(['five', 'four']);
    const second = await listed(`?limit=2&before=${first.next}`);
    expect(second.sets.map(({ id }) => id)).toEqual(['three', 'two']);
    const last = await listed(`?limit=2&before=${second.next}`);
    expect([last.sets.map(({ id }) => id), last.next]).toEqual([['one'], null]);
    expect((await listed()).sets).toHaveLength(5);
    // As many as there are: no other page is promised.
    expect((await listed('?limit=5')).next).toBeNull();
  });

  it('tells what a set is, and never where it lies', async () => {
    await kept('one', { name: 'Boathouse', viewpoint: '7' });
    journal.beginRun({ ...RUN, id: 'night', into: sets });
    journal.beginSet(setBegun('two', 'night'));
    const answer = await get('/api/sets');
    expect(answer.bytes.toString()).not.toContain(sets);
    const [two, one] = keptSetsSchema.parse(json(answer)).sets;
    expect(one).toEqual({
      ...{ id: 'one', number: 1, run: 'run-of-one', ordinal: 1, scheduled: false, practice: true },
      ...{ name: 'Boathouse', note: null, viewpoint: '7', state: 'complete', error: null },
      ...{ startedAt: '2026-11-25T15:42:10.000Z', endedAt: expect.any(String) },
      ...{ sentence: 'All 3 frames are verified.', frames: 3, verified: 3, middle: 2 },
      ...{ folderName: 'one', hasSheet: true, hasPreview: false },
      onDisk: { state: 'whole', missing: [], changed: [], sentence: null },
    });
    expect(two).toMatchObject({
      scheduled: true,
      endedAt: null,
      frames: 9,
      verified: 0,
      middle: null,
      hasSheet: false,
    });
  });

  it('looks at what is there of each set, every time', async () => {
    await kept('one');
    await kept('two');
    await rm(path.join(folderOf('one'), FRAMES[0] ?? ''));
    const away = path.join(root, 'away');
    await rename(folderOf('two'), away);
    const [two, one] = (await listed()).sets;
    expect(two?.onDisk).toMatchObject({ state: 'gone', missing: [1, 2, 3] });
    expect(two?.hasSheet).toBe(false);
    expect(one?.onDisk).toMatchObject({ state: 'lacking', missing: [1], changed: [] });
    const detail = keptSetDetailSchema.parse(json(await get('/api/sets/two')));
    expect(detail.onDisk).toEqual(two?.onDisk);
    await rename(away, folderOf('two'));
    expect((await listed()).sets[0]?.onDisk).toMatchObject({ state: 'whole' });
  });

  it.each([
    '?limit=0',
    '?limit=101',
    '?limit=x',
    '?before=0',
    '?before=-1',
    '?into=/etc',
    '?limit=1&limit=2',
  ])('%s: malformed', async (query) => {
    expect(refusal(await get(`/api/sets${query}`))).toEqual([400, 'malformed-request']);
  });
});

describe('one set', () => {
  it('is told with its passes, frames and what else is known', async () => {
    await kept('one');
    const detail = keptSetDetailSchema.parse(json(await get('/api/sets/one')));
    expect(detail).toMatchObject({ id: 'one', verified: 3, notes: ['A note.'], asides: [], strays: [] });
    expect(detail.passes).toEqual(PLAN.passes);
    expect(detail.frames.map(({ file }) => file)).toEqual(FRAMES);
    expect(detail.base).toEqual({ shutter: '1/60', aperture: 'f/8', iso: '100' });
  });

  it.each(['nothing', '..', '%2e%2e%2fetc', 'on'])('%s: there is none', async (id) => {
    await kept('one');
    for (const at of [
      '',
      '/contact-sheet',
      '/preview',
      '/coverage',
      '/frames/1/picture',
      '/frames/1/thumbnail',
      '/frames/1/file',
    ])
      expect((await get(`/api/sets/${id}${at}`)).status).toBe(404);
  });

  it('no other page, and no other host, gets anything of it', async () => {
    await kept('one');
    for (const at of ['/api/sets', '/api/sets/one', '/api/sets/one/frames/1/file']) {
      expect(refusal(await get(at, { host: 'evil.example' }))).toEqual([403, 'foreign-host']);
      expect(refusal(await get(at, { origin: 'http://evil.example' }))).toEqual([403, 'foreign-origin']);
    }
    const patched = await ask('PATCH', '/api/sets/one', { name: 'Theirs' }, { origin: 'null' });
    expect(refusal(patched)).toEqual([403, 'foreign-origin']);
    expect(journal.set('one')?.name).toBeNull();
  });
});

describe('pictures and files', () => {
  const at = (what: string, number: number | string = 1) => `/api/sets/one/frames/${number}/${what}`;

  it('a JPEG frame is shown as it is; what was not changed is not sent again', async () => {
    await kept('one');
    const answer = await get(at('picture', 2));
    expect([answer.status, answer.headers['content-type']]).toEqual([200, 'image/jpeg']);
    expect(answer.bytes).toEqual(await readFile(path.join(folderOf('one'), FRAMES[1] ?? '')));
    const { etag = '', 'last-modified': date } = answer.headers;
    expect([etag.length > 0, date?.endsWith('GMT')]).toEqual([true, true]);
    const again = await get(at('picture', 2), { 'if-none-match': etag });
    expect([again.status, again.bytes.length]).toEqual([304, 0]);
  });

  it('the file is a download with its name, also in parts', async () => {
    await kept('one');
    const whole = await get(at('file', 3));
    expect(whole.status).toBe(200);
    expect(whole.headers['content-disposition']).toBe('attachment; filename="03_+1EV.jpg"');
    const part = await get(at('file', 3), { range: 'bytes=10-19' });
    expect([part.status, part.headers['content-range']]).toEqual([206, `bytes 10-19/${whole.bytes.length}`]);
    expect(part.bytes).toEqual(whole.bytes.subarray(10, 20));
  });

  it('a small copy is made, and made anew where the file is another one', async () => {
    await kept('one');
    const file = path.join(folderOf('one'), FRAMES[0] ?? '');
    const picture = (width: number) =>
      sharp({ create: { width, height: 600, channels: 3, background: '#346' } })
        .jpeg()
        .toBuffer();
    await writeFile(file, await picture(900));
    const small = await get(at('thumbnail'));
    expect(small.headers['content-type']).toBe('image/jpeg');
    expect(await sharp(small.bytes).metadata()).toMatchObject({ format: 'jpeg', width: 320 });
    expect((await get(at('thumbnail'), { 'if-none-match': small.headers.etag ?? '' })).status).toBe(304);
    await writeFile(file, await picture(600));
    await utimes(file, new Date(), new Date(Date.now() + 5000));
    const other = await get(at('thumbnail'), { 'if-none-match': small.headers.etag ?? '' });
    expect(other.status).toBe(200);
    expect(await sharp(other.bytes).metadata()).toMatchObject({ width: 320, height: 320 });
  });

  it('the picture of a run that is none any more is that of its set; no other address is led to', async () => {
    const of = (set: string) =>
      get(`/api/run/gone/frames/1/thumbnail?set=${encodeURIComponent(set)}&attempt=1`);
    const led = await of('one');
    expect([led.status, led.headers.location]).toEqual([302, '/api/sets/one/frames/1/thumbnail']);
    for (const set of ['', '../one', '//elsewhere', 'one?', 'x'.repeat(65)])
      expect((await of(set)).status).toBe(404);
  });

  it('of a raw frame the preview in it is shown', async () => {
    await kept('one', {}, ['01_-1EV.dng', '02_0EV.jpg', '03_+1EV.jpg']);
    const preview = await sharp({ create: { width: 400, height: 300, channels: 3, background: '#346' } })
      .jpeg()
      .toBuffer();
    const facts = { exposureTime: [1, 125], fNumber: [8, 1], iso: 100, bias: [0, 1] } as const;
    const raw = makeDng({ ...facts, preview }, 'little');
    await writeFile(path.join(folderOf('one'), '01_-1EV.dng'), raw);
    const answer = await get(at('picture'));
    expect([answer.status, answer.headers['content-type']]).toEqual([200, 'image/jpeg']);
    expect(await sharp(answer.bytes).metadata()).toMatchObject({ width: 400, height: 300 });
    const { etag = '' } = answer.headers;
    expect((await get(at('picture'), { 'if-none-match': `"other", W/${etag}` })).status).toBe(304);
    expect((await get(at('file'))).bytes).toEqual(raw);
    expect(await sharp((await get(at('thumbnail'))).bytes).metadata()).toMatchObject({ width: 320 });
  });

  it('a frame of two files is shown by its JPEG, and both are handed out; without the JPEG, by the raw file', async () => {
    await kept('one', {}, ['01_-1EV.dng', '02_0EV.jpg', '03_+1EV.jpg']);
    const plain = (width: number, height: number) =>
      sharp({ create: { width, height, channels: 3, background: '#346' } })
        .jpeg()
        .toBuffer();
    const [preview, jpeg] = [await plain(400, 300), await plain(900, 600)];
    const facts = { exposureTime: [1, 125], fNumber: [8, 1], iso: 100, bias: [0, 1] } as const;
    const raw = makeDng({ ...facts, preview }, 'little');
    await writeFile(path.join(folderOf('one'), '01_-1EV.dng'), raw);
    await writeFile(path.join(folderOf('one'), '01_-1EV.jpg'), jpeg);
    expect(refusal(await get(at('partner')))).toEqual([404, 'not-found']);
    const partner = {
      state: 'there',
      file: '01_-1EV.jpg',
      sha256: null,
      bytes: jpeg.length,
      recorded: null,
    } as const;
    giveFrame('one', 1, partner);

    expect((await get(at('picture'))).bytes).toEqual(jpeg);
    expect(await sharp((await get(at('thumbnail'))).bytes).metadata()).toMatchObject({ height: 213 });
    expect((await get(at('file'))).bytes).toEqual(raw);
    const second = await get(at('partner'));
    expect([second.bytes, second.headers['content-disposition']]).toEqual([
      jpeg,
      'attachment; filename="01_-1EV.jpg"',
    ]);
    const detail = keptSetDetailSchema.parse(json(await get('/api/sets/one')));
    expect(detail.frames[0]?.partner).toEqual(partner);

    await rm(path.join(folderOf('one'), '01_-1EV.jpg'));
    expect(await sharp((await get(at('picture'))).bytes).metadata()).toMatchObject({ width: 400 });
    expect(refusal(await get(at('partner')))).toEqual([404, 'not-found']);
    giveFrame('one', 1, { ...partner, file: '../../state/about.txt' });
    expect(refusal(await get(at('partner')))).toEqual([404, 'not-found']);
    expect((await get(at('picture'))).status).toBe(200);
  });

  it('a raw frame with nothing in it to be shown says so', async () => {
    await kept('one', {}, ['01_-1EV.dng', '02_0EV.jpg', '03_+1EV.jpg']);
    const facts = { exposureTime: [1, 125], fNumber: [8, 1], iso: 100, bias: [0, 1] } as const;
    await writeFile(path.join(folderOf('one'), '01_-1EV.dng'), makeDng(facts, 'little'));
    for (const what of ['picture', 'thumbnail'])
      expect(errorOf(await get(at(what)))).toMatchObject({
        code: 'not-found',
        message: '01_-1EV.dng holds no picture that can be shown here: open the file itself.',
      });
  });

  it('the contact sheet is shown where there is one', async () => {
    await kept('one');
    const sheet = await get('/api/sets/one/contact-sheet');
    expect([sheet.status, sheet.headers['content-type']]).toEqual([200, 'image/jpeg']);
    expect(sheet.bytes.toString()).toBe('a sheet');
    await rm(path.join(folderOf('one'), CONTACT_SHEET));
    expect(refusal(await get('/api/sets/one/contact-sheet'))).toEqual([404, 'not-found']);
    expect((await listed()).sets[0]?.hasSheet).toBe(false);
  });

  it('what the set can become, and what it holds, are shown once they are there', async () => {
    await kept('one');
    for (const [at, name, type] of [
      ['preview', PREVIEW, 'image/jpeg'],
      ['coverage', COVERAGE_MAP, 'image/png'],
    ] as const) {
      expect(refusal(await get(`/api/sets/one/${at}`))).toEqual([404, 'not-found']);
      await writeFile(path.join(folderOf('one'), name), `the ${at}`);
      const answer = await get(`/api/sets/one/${at}`);
      expect([answer.status, answer.headers['content-type']]).toEqual([200, type]);
      expect(answer.bytes.toString()).toBe(`the ${at}`);
    }
    expect((await listed()).sets[0]?.hasPreview).toBe(true);
    // While a set is made, its own page asks for it under the run; afterwards it is in the folder.
    expect(refusal(await get('/api/run/run-of-one/coverage'))).toEqual([404, 'not-found']);
    const { status, headers } = await get('/api/run/run-of-one/coverage?set=one');
    expect([status, headers.location]).toEqual([302, '/api/sets/one/coverage']);
    // A link leads anywhere.
    await rm(path.join(folderOf('one'), PREVIEW));
    await symlink(path.join(root, 'secret.jpg'), path.join(folderOf('one'), PREVIEW));
    expect(refusal(await get('/api/sets/one/preview'))).toEqual([404, 'not-found']);
    expect((await listed()).sets[0]?.hasPreview).toBe(false);
  });

  it.each(['0', '4', '-1', 'x', '1.5'])('frame %s: there is none', async (number) => {
    await kept('one');
    expect(refusal(await get(at('picture', number)))).toEqual([404, 'not-found']);
  });

  it('a frame that was not made has none', async () => {
    await kept('one', {}, ['01_-1EV.jpg', '02_0EV.jpg']);
    expect(errorOf(await get(at('file', 3))).message).toBe('Frame 3 is missing, or has no file in the set.');
  });

  it('a folder that is gone is said to be', async () => {
    await kept('one');
    await rename(folderOf('one'), folderOf('elsewhere'));
    for (const what of ['picture', 'thumbnail', 'file']) {
      const error = errorOf(await get(at(what)));
      expect(error.message).toBe(
        'The set folder one is missing: it was moved or deleted, or its disk is not connected.',
      );
      expect(error.code).toBe('not-found');
    }
    expect((await get('/api/sets/one/contact-sheet')).status).toBe(404);
    expect((await get('/api/sets/one')).status).toBe(200);
  });

  it('a file that is gone is said to be', async () => {
    await kept('one');
    await rm(path.join(folderOf('one'), FRAMES[0] ?? ''));
    expect(errorOf(await get(at('file'))).message).toBe(
      '01_-1EV.jpg in the set folder one was moved or deleted.',
    );
  });
});

describe('what lies outside the set folder', () => {
  const SECRET = 'a secret of somebody else';
  const everywhere = ['picture', 'thumbnail', 'file'].map((what) => `/api/sets/one/frames/1/${what}`);

  beforeEach(async () => {
    await kept('one');
    await writeFile(path.join(root, 'secret.jpg'), SECRET);
    await writeFile(path.join(sets, 'secret.jpg'), SECRET);
  });

  async function isHandedOut(): Promise<boolean> {
    const answers = await Promise.all(everywhere.map((at) => get(at)));
    for (const answer of answers) expect(refusal(answer)).toEqual([404, 'not-found']);
    return answers.some(({ bytes }) => bytes.includes(SECRET));
  }

  it.each([
    '../secret.jpg',
    '..',
    '.',
    '',
    'sub/../../secret.jpg',
    '/etc/passwd',
    '..\\secret.jpg',
    'a\u0000b',
  ])('is not handed out, although the journal names it: %j', async (file) => {
    tamper('one', file);
    expect(journal.set('one')?.frames[0]?.view.file).toBe(file);
    expect(await isHandedOut()).toBe(false);
  });

  it('is not handed out through a link, whether of a frame or of the sheet', async () => {
    for (const name of [FRAMES[0] ?? '', CONTACT_SHEET]) {
      await rm(path.join(folderOf('one'), name));
      await symlink(path.join(root, 'secret.jpg'), path.join(folderOf('one'), name));
    }
    expect(await isHandedOut()).toBe(false);
    expect(refusal(await get('/api/sets/one/contact-sheet'))).toEqual([404, 'not-found']);
    expect((await listed()).sets[0]?.hasSheet).toBe(false);
  });

  it('is not a folder either', async () => {
    await mkdir(path.join(folderOf('one'), 'folder.jpg'));
    await writeFile(path.join(folderOf('one'), 'folder.jpg', 'index.html'), SECRET);
    tamper('one', 'folder.jpg');
    expect(await isHandedOut()).toBe(false);
  });
});

describe('small copies in memory', () => {
  it('stay within their bound, the longest unused goes first', async () => {
    const files = await Promise.all(
      [1, 2, 3].map(async (number) => {
        const file = path.join(root, `${number}.jpg`);
        await sharp({ create: { width: 64, height: 64, channels: 3, background: '#346' } }).toFile(file);
        return { path: file, tag: `${number}` };
      }),
    );
    const [one, two, three] = files as [(typeof files)[0], (typeof files)[0], (typeof files)[0]];
    const bytes = (await new FramePictures().small(one)).length;
    const pictures = new FramePictures(2 * bytes + 10);
    const first = await pictures.small(one);
    const second = await pictures.small(two);
    expect(await pictures.small(one)).toBe(first);
    await pictures.small(three);
    expect(pictures.size).toBe(2 * bytes);
    expect(await pictures.small(one)).toBe(first);
    // It had to go, and is made anew.
    expect(await pictures.small(two)).not.toBe(second);
  });

  it('two who ask at once get the same', async () => {
    const file = path.join(root, '1.jpg');
    await sharp({ create: { width: 64, height: 64, channels: 3, background: '#346' } }).toFile(file);
    const pictures = new FramePictures();
    const asked = { path: file, tag: '1' };
    const [one, other] = await Promise.all([pictures.small(asked), pictures.small(asked)]);
    expect(one).toBe(other);
  });

  it('one that cannot be read holds up no other', async () => {
    const broken = path.join(root, 'broken.jpg');
    const whole = path.join(root, 'whole.jpg');
    await writeFile(broken, 'no picture');
    await sharp({ create: { width: 64, height: 64, channels: 3, background: '#346' } }).toFile(whole);
    const pictures = new FramePictures();
    const failed = Array.from({ length: 6 }, (_, tag) =>
      pictures.small({ path: broken, tag: `${tag}` }).catch((cause: { code?: string }) => cause.code),
    );
    expect((await pictures.small({ path: whole, tag: '' })).length).toBeGreaterThan(0);
    expect(new Set(await Promise.all(failed))).toEqual(new Set(['frame-unreadable']));
  });
});

describe('another name for a set', () => {
  const patch = (body: unknown, id = 'one') => ask('PATCH', `/api/sets/${id}`, body);

  it('is in the journal, the record, the sidecars and the list of checksums', async () => {
    await kept('one', { name: 'Boathouse', note: 'Dusk', viewpoint: '1' });
    const inSet = (name: string) => path.join(folderOf('one'), name);
    // As somebody keeps it who lists everything.
    const names = [...FRAMES, '01_-1EV.xmp', '02_0EV.xmp', RECORD];
    const sums = await Promise.all(
      names.map(async (file) => ({ file, sha256: (await checksumOf(inSet(file))).sha256 })),
    );
    await writeFile(inSet(SUMS), `# a line of somebody else\n${sumsText(sums)}`);
    // Written as the sample does: without names. From here on as a run does.
    const bare = await readFile(inSet('01_-1EV.xmp'), 'utf8');
    expect(bare).not.toContain('dc:title');

    const answer = await patch({ name: '  The lake <at> "dusk"\n', note: null, viewpoint: 12 });
    expect(answer.status).toBe(200);
    expect(keptSetViewSchema.parse(json(answer))).toMatchObject({
      name: 'The lake <at> "dusk"',
      note: null,
      viewpoint: '12',
    });
    expect(journal.set('one')).toMatchObject({ name: 'The lake <at> "dusk"', note: null, viewpoint: '12' });
    const record = await recordIn('one');
    expect(record).toMatchObject({ name: 'The lake <at> "dusk"', note: null, viewpoint: '12' });
    expect(record.frames.map(({ file }) => file)).toEqual(FRAMES);
    // The sidecars do not say what the record said: somebody else's work stays.
    expect(await readFile(inSet('01_-1EV.xmp'), 'utf8')).toBe(bare);
    const list = await readFile(inSet(SUMS), 'utf8');
    expect(list.startsWith('# a line of somebody else\n')).toBe(true);
    for (const { file, sha256 } of parseSums(list)) {
      expect([file, sha256]).toEqual([file, (await checksumOf(inSet(file))).sha256]);
    }
    expect((await checkSet(folderOf('one'))).findings).toEqual([]);
    expect((await readdir(folderOf('one'))).filter((name) => name.endsWith('.part'))).toEqual([]);
  });

  it('is in sidecars that are as they were written', async () => {
    await kept('one');
    const sidecar = path.join(folderOf('one'), '02_0EV.xmp');
    const before = await readFile(sidecar, 'utf8');
    expect((await patch({ name: 'Boathouse', note: 'Doors\nopen', viewpoint: 3 })).status).toBe(200);
    const named = await readFile(sidecar, 'utf8');
    expect(named).toContain('<dc:title><rdf:Alt><rdf:li xml:lang="x-default">Boathouse</rdf:li>');
    expect(named).toContain('>Doors\nopen<');
    expect(named).toContain('<evenrung:Viewpoint>3</evenrung:Viewpoint>');
    expect((await checkSet(folderOf('one'))).findings).toEqual([]);
    expect((await patch({ name: null, note: '', viewpoint: null })).status).toBe(200);
    expect(await readFile(sidecar, 'utf8')).toBe(before);
    expect(await recordIn('one')).toMatchObject({ name: null, note: null, viewpoint: null });
  });

  it('leaves what is not named as it is, and tells everyone who watches the set', async () => {
    await kept('one', { name: 'Boathouse', note: 'Dusk' });
    expect((await patch({ viewpoint: 2 })).status).toBe(200);
    expect(await recordIn('one')).toMatchObject({ name: 'Boathouse', note: 'Dusk', viewpoint: '2' });
    // Another set is shown at the moment.
    expect(events.state.run).toBeNull();
  });

  it.each([
    {},
    { name: 7 },
    { name: 'x'.repeat(301) },
    { viewpoint: 0 },
    { viewpoint: 'west door' },
    { name: 'Boathouse', folder: '/etc' },
    { name: 'Boathouse', template: '{name}' },
    null,
    'Boathouse',
  ])('%j: malformed, nothing is changed', async (body) => {
    await kept('one');
    expect(refusal(await patch(body))).toEqual([400, 'malformed-request']);
    expect(journal.set('one')).toMatchObject({ name: null, viewpoint: null });
  });

  it('of a set that there is not', async () => {
    expect(refusal(await patch({ name: 'Boathouse' }, 'nothing'))).toEqual([404, 'no-such-set']);
  });

  it('without its folder, or where that holds another set by now, only the journal says so', async () => {
    await kept('one');
    await kept('two');
    await rename(folderOf('one'), folderOf('elsewhere'));
    expect((await patch({ name: 'Boathouse' })).status).toBe(200);
    expect(journal.set('one')?.name).toBe('Boathouse');
    await rename(folderOf('elsewhere'), path.join(root, 'aside'));
    await rm(folderOf('two'), { recursive: true });
    await rename(path.join(root, 'aside'), folderOf('two'));
    const before = await readFile(path.join(folderOf('two'), RECORD), 'utf8');
    expect((await patch({ name: 'Lake' }, 'two')).status).toBe(200);
    expect(journal.set('two')?.name).toBe('Lake');
    expect(await readFile(path.join(folderOf('two'), RECORD), 'utf8')).toBe(before);
  });

  it('where the record cannot be read nothing is changed', async () => {
    await kept('one');
    await writeFile(path.join(folderOf('one'), RECORD), '{"version": 2');
    expect(refusal(await patch({ name: 'Boathouse' }))).toEqual([422, 'record-unreadable']);
    expect(journal.set('one')?.name).toBeNull();
  });

  it('a record of this version keeps what this program does not know', async () => {
    await kept('one');
    await keepRecord(folderOf('one'), { ...(await recordIn('one')), weather: 'fog' });
    expect((await patch({ name: 'Boathouse' })).status).toBe(200);
    const text = await readFile(path.join(folderOf('one'), RECORD), 'utf8');
    expect(JSON.parse(text)).toMatchObject({ weather: 'fog', name: 'Boathouse' });
  });

  it('many at once: the journal and the record say the same', async () => {
    await kept('one');
    const answers = await Promise.all(Array.from({ length: 12 }, (_, n) => patch({ name: `Name ${n}` })));
    expect(answers.map(({ status }) => status)).toEqual(Array(12).fill(200));
    expect((await recordIn('one')).name).toBe(journal.set('one')?.name);
  });
});

describe('another name for the set that is being fired', () => {
  const fired = async (id: string) => {
    for (;;) {
      const set = journal.set(id);
      if (set?.endedAt != null) return set;
      await new Promise((resolve) => setTimeout(resolve, 5));
    }
  };

  it('is in its record when it ends, and everyone who watches sees it at once', async () => {
    await station.look();
    await station.start({ frames: 9, step: 1, base: '1/60', name: 'Boathouse' });
    const id = events.state.run?.set.id ?? '';
    expect(journal.set(id)).toMatchObject({ name: 'Boathouse', endedAt: null });
    const answer = await ask('PATCH', `/api/sets/${id}`, { name: 'Lake', viewpoint: 4 });
    expect(answer.status).toBe(200);
    expect(events.state.run?.set).toMatchObject({ id, name: 'Lake', viewpoint: '4' });
    await station.settled();
    const { folder } = await fired(id);
    const { record } = readSetRecord(await readFile(path.join(folder ?? '', RECORD), 'utf8'));
    expect(record).toMatchObject({ complete: true, name: 'Lake', note: null, viewpoint: '4' });
    expect(events.state.run).toMatchObject({ state: 'complete', set: { name: 'Lake' } });
    expect((await checkSet(folder ?? '')).findings).toEqual([]);
    // Once more, now that it has ended: everything beside the frames says so, too.
    const sheet = () => readFile(path.join(folder ?? '', CONTACT_SHEET));
    const before = await sheet();
    expect((await ask('PATCH', `/api/sets/${id}`, { note: 'doors open' })).status).toBe(200);
    expect(before.equals(await sheet())).toBe(true);
    expect((await ask('PATCH', `/api/sets/${id}`, { name: 'Shore' })).status).toBe(200);
    const titled = await sheet();
    expect(before.equals(titled)).toBe(false);
    // Its pictures are those of before, a little way below the title.
    const cell = (of: Buffer) =>
      sharp(of).extract({ left: 100, top: 200, width: 200, height: 80 }).raw().toBuffer();
    const [one, other] = [await cell(before), await cell(titled)];
    const differences = one.map((value, index) => Math.abs(value - (other[index] ?? 0)));
    expect(differences.reduce((sum, each) => sum + each, 0) / one.length).toBeLessThan(6);
    const sidecars = record.frames.map(({ sidecar }) => path.join(folder ?? '', sidecar ?? ''));
    for (const sidecar of sidecars) expect(await readFile(sidecar, 'utf8')).toContain('>Shore<');
    const sums = parseSums(await readFile(path.join(folder ?? '', SUMS), 'utf8'));
    expect(sums.length).toBeGreaterThanOrEqual(9);
    for (const { file, sha256 } of sums)
      expect([file, (await checksumOf(path.join(folder ?? '', file))).sha256]).toEqual([file, sha256]);
    expect((await checkSet(folder ?? '')).findings).toEqual([]);
  });

  it('a sheet whose pictures cannot all be drawn again keeps its title, and one that is gone is not made', async () => {
    await kept('one');
    const sheet = path.join(folderOf('one'), CONTACT_SHEET);
    await rm(path.join(folderOf('one'), FRAMES[1] ?? ''));
    expect((await ask('PATCH', '/api/sets/one', { name: 'Lake' })).status).toBe(200);
    expect(await readFile(sheet, 'utf8')).toBe('a sheet');
    await rm(sheet);
    expect((await ask('PATCH', '/api/sets/one', { name: 'Shore' })).status).toBe(200);
    expect(await readdir(folderOf('one'))).not.toContain(CONTACT_SHEET);
  });

  it('is kept where the set was cut off, and gone on with', async () => {
    const body = new PracticeBody(AT_ONCE);
    const { station: dying } = stationOver(root, new DyingLink(body, 2), { journal });
    await dying.look();
    await dying.start({ frames: 3, step: 1, base: '1/60', name: 'Boathouse' });
    while (journal.sets()[0]?.verified !== 2) await new Promise((resolve) => setTimeout(resolve, 5));
    const id = journal.sets()[0]?.id ?? '';
    await station.look();
    expect((await ask('PATCH', `/api/sets/${id}`, { name: 'Lake' })).status).toBe(200);
    await station.resume();
    await station.settled();
    const { folder } = await fired(id);
    const { record } = readSetRecord(await readFile(path.join(folder ?? '', RECORD), 'utf8'));
    expect([record.complete, record.name]).toEqual([true, 'Lake']);
  });

  it('while its record is being written it is not lost', async () => {
    await station.look();
    const finish = SetFolder.prototype.finish;
    let change: Promise<void> | undefined;
    SetFolder.prototype.finish = async function (record) {
      change = station.relabel(events.state.run?.set.id ?? '', { name: 'Lake' });
      await finish.call(this, record);
    };
    try {
      await station.start({ frames: 3, step: 1, base: '1/60', name: 'Boathouse' });
      await station.settled();
    } finally {
      SetFolder.prototype.finish = finish;
    }
    await change;
    const { folder, name } = await fired(events.state.run?.set.id ?? '');
    const { record } = readSetRecord(await readFile(path.join(folder ?? '', RECORD), 'utf8'));
    expect([name, record.name, record.complete]).toEqual(['Lake', 'Lake', true]);
  });
});

describe('a set that is under way', () => {
  it('hands out the frames that are verified, whole, and no others', async () => {
    await station.look();
    await station.start({ frames: 9, step: 1, base: '1/60' });
    const id = events.state.run?.set.id ?? '';
    const made = () => events.state.run?.frames.filter(({ file }) => file !== null).length ?? 0;
    await expect.poll(made, { interval: 2, timeout: 5000 }).toBeGreaterThan(0);
    station.hold();
    const inHand = () =>
      events.state.run?.frames.some(({ state }) => state === 'fired' || state === 'stored');
    await expect.poll(() => [events.state.run?.state, inHand()]).toEqual(['held', false]);
    expect(made()).toBeLessThan(9);
    const frames = events.state.run?.frames ?? [];
    for (const { number, file } of frames) {
      const answer = await get(`/api/sets/${id}/frames/${number}/picture`);
      if (file === null) {
        expect(refusal(answer)).toEqual([404, 'not-found']);
        continue;
      }
      expect(answer.status).toBe(200);
      expect(answer.bytes).toEqual(await readFile(path.join(journal.set(id)?.folder ?? '', file)));
    }
    // What has come back and is not looked at yet is no frame.
    await writeFile(path.join(journal.set(id)?.folder ?? '', '.incoming', 'new.jpg'), 'not looked at');
    for (const named of ['.incoming%2Fnew.jpg', '..%2F1', '0', '1.5'])
      expect((await get(`/api/sets/${id}/frames/${named}/picture`)).status).toBe(404);
    station.letGo();
    await station.settled();
    expect(events.state.run?.state).toBe('complete');
    for (const { number } of frames)
      expect((await get(`/api/sets/${id}/frames/${number}/picture`)).status).toBe(200);
  });
});

describe('frames that are made again', () => {
  const post = (at: string, body?: unknown) => ask('POST', `/api/sets/${at}`, body);
  const fire = async () => {
    await station.look();
    await station.start({ frames: 3, step: 1, base: '1/60' });
    await station.settled();
    return events.state.run?.set.id ?? '';
  };

  it.each([
    [{ frames: [2] }, [1, 2, 1]],
    [{ pass: 1 }, [2, 2, 2]],
  ])('%j: those are fired, and no others', async (chosen, attempts) => {
    const id = await fire();
    const answer = await post(`${id}/again`, chosen);
    expect([answer.status, json(answer)]).toEqual([202, { run: journal.set(id)?.run }]);
    await station.settled();
    const detail = keptSetDetailSchema.parse(json(await get(`/api/sets/${id}`)));
    expect(detail.state).toBe('complete');
    expect(detail.frames.map((one) => one.attempts)).toEqual(attempts);
    for (const number of [1, 2, 3])
      expect((await get(`/api/sets/${id}/frames/${number}/picture`)).status).toBe(200);
  });

  it.each([
    ['again', {}, 400, 'malformed-request'],
    ['again', undefined, 400, 'malformed-request'],
    ['again', { frames: [] }, 400, 'malformed-request'],
    ['again', { frames: [1.5] }, 400, 'malformed-request'],
    ['again', { frames: [1], pass: 1 }, 400, 'malformed-request'],
    ['again', { frames: Array(62).fill(1) }, 400, 'malformed-request'],
    ['again', { frames: [4] }, 400, 'frames-out-of-range'],
    ['again', { pass: 9 }, 400, 'frames-out-of-range'],
    ['complete', { frames: [1] }, 400, 'malformed-request'],
    ['complete', {}, 409, 'nothing-to-complete'],
    ['extend', { darker: 0 }, 400, 'malformed-request'],
    ['extend', { darker: 0, brighter: 0 }, 400, 'malformed-request'],
    ['extend', { darker: -1 }, 400, 'malformed-request'],
    ['extend', { brighter: 1.5 }, 400, 'malformed-request'],
    ['extend', { darker: 61 }, 400, 'malformed-request'],
    ['extend', { frames: [4] }, 400, 'malformed-request'],
    ['extend', { darker: 30, brighter: 30 }, 400, 'frames-out-of-range'],
    ['extend', { darker: 20 }, 422, 'outside-shutter-range'],
  ])('%s %j: %s %s, and nothing is fired', async (what, body, status, code) => {
    const id = await fire();
    const before = journal.set(id);
    expect(refusal(await post(`${id}/${what}`, body))).toEqual([status, code]);
    await station.settled();
    expect(journal.set(id)).toEqual(before);
  });

  it('beyond its ends: they are fired into the same set, and a press that is sent twice counts once', async () => {
    const id = await fire();
    const key = { 'idempotency-key': '7d7c1a52-1f0e-4f6f-9a53-0c2f4f3b8f10' };
    const press = () => ask('POST', `/api/sets/${id}/extend`, { darker: 1, brighter: 1 }, key);
    const answer = await press();
    expect([answer.status, json(answer)]).toEqual([202, { run: journal.set(id)?.run }]);
    await station.settled();
    expect(json(await press())).toEqual(json(answer));
    await station.settled();
    const detail = keptSetDetailSchema.parse(json(await get(`/api/sets/${id}`)));
    expect(detail).toMatchObject({
      state: 'complete',
      sentence: expect.stringContaining('Frames 4, 5 were added.'),
    });
    expect(detail.frames.map(({ number, offset }) => [number, offset])).toEqual([
      ...[
        [4, -2],
        [1, -1],
        [2, 0],
        [3, 1],
        [5, 2],
      ],
    ]);
    for (const number of [1, 2, 3, 4, 5])
      expect((await get(`/api/sets/${id}/frames/${number}/picture`)).status).toBe(200);
    expect(journal.runs()).toHaveLength(1);
  });

  it('beyond its ends, with nothing said: where it has lost something', async () => {
    await station.look();
    await station.start({ frames: 3, step: 1, base: '1/15' });
    await station.settled();
    const id = events.state.run?.set.id ?? '';
    expect((await post(`${id}/extend`)).status).toBe(202);
    await station.settled();
    expect(journal.set(id)?.plan.offsets).toEqual([-2, -1, 0, 1]);
    // A set that is asked for with it is told before, with all that it may come to.
    const asked = { frames: 3, step: 1, base: '1/15', extend: 1 };
    const foreseen = json(
      await ask('POST', '/api/schedule', { ...asked, schedule: { every: '4min', count: 2 } }),
    );
    expect(foreseenScheduleSchema.parse(foreseen).estimate.actuations).toBe(10);
    expect((await ask('POST', '/api/run', asked)).status).toBe(202);
    await station.settled();
    expect(events.state.run?.frames.map(({ offset }) => offset)).toEqual([-2, -1, 0, 1]);
    for (const extend of [-1, 61, 1.5, '1'])
      expect(refusal(await ask('POST', '/api/run', { ...asked, extend }))).toEqual([
        400,
        'malformed-request',
      ]);
  });

  it.each(['again', 'complete', 'extend'])('%s: only the whole id is one', async (what) => {
    const id = await fire();
    const body = what === 'again' ? { pass: 1 } : {};
    for (const other of ['nothing', id.slice(0, 8)])
      expect(refusal(await post(`${other}/${what}`, body))).toEqual([404, 'no-such-set']);
  });
});

describe('a schedule before it is begun', () => {
  const NINE = { frames: 9, step: 1, base: '1/60' };

  it('is told with its words, what it takes and what to be careful of', async () => {
    await station.look();
    const schedule = { every: '4min', count: 60, place: '47.5N 8.5E' };
    const answer = await ask('POST', '/api/schedule', { ...NINE, schedule });
    expect(answer.status).toBe(200);
    const foreseen = foreseenScheduleSchema.parse(json(answer));
    expect(foreseen.estimate).toMatchObject({ sets: 60, actuations: 540 });
    expect(foreseen.words).toMatch(/^60 sets, one every 4 min, from /);
    expect(journal.runs()).toEqual([]);
  });

  it.each([
    [{ ...NINE }, 400, 'malformed-request'],
    [{ ...NINE, schedule: { every: 'often', count: 3 } }, 400, 'unreadable-schedule'],
    [{ ...NINE, base: '1/4', schedule: { every: '5s', count: 3 } }, 422, 'schedule-impossible'],
    [{ ...NINE, schedule: { every: '4min', until: 'dawn' } }, 422, 'schedule-impossible'],
    [{ ...NINE, schedule: { every: '4min', until: '2020-01-01T05:00' } }, 422, 'schedule-past'],
    [{ ...NINE, schedule: { every: '4min', count: 3 }, into: '/etc' }, 400, 'malformed-request'],
    [{ ...NINE, schedule: { every: '4min', count: 3 }, onHalt: 'true' }, 400, 'malformed-request'],
    [{ ...NINE, schedule: { every: '4min', count: 3 }, webhook: 'http://x' }, 400, 'malformed-request'],
  ])('%j: %s %s', async (body, status, code) => {
    await station.look();
    expect(refusal(await ask('POST', '/api/schedule', body))).toEqual([status, code]);
  });
});
