// `sets`: what was fired, read beside whoever fires; one set by the beginning of its id; a check and a copy with their exit codes.
import { mkdir, mkdtemp, readdir, readFile, rm, truncate, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { FrameView } from '../../shared/state.js';
import { checkSets, exportTo, folderOf, listSets, type Say, showSet } from '../../src/commands/sets.js';
import { Journal, JournalReader, journalFile, type SetBegun } from '../../src/journal/index.js';
import { run as runProgram } from '../built.js';
import { asVersion1, FRAMES, keepRecord, makeSet } from '../frames/set-sample.js';
import { PairLink } from '../harness/pair-link.js';
import { fireSet } from '../harness/set.js';
import { frame, PARTNER, RUN, setBegun } from '../journal/journal-sample.js';

let root = '';
let state = '';
let journal: Journal;
let reader: JournalReader;
let said: string[] = [];
const say: Say = (line) => said.push(line);
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  state = path.join(root, 'state', 'evenrung');
  said = [];
  journal = await Journal.open(state, { onKeptAside: ({ sentence }) => expect(sentence).toBeUndefined() });
  reader = (await JournalReader.open(state)) as JournalReader;
});
afterEach(async () => {
  reader.close();
  journal.close();
  await rm(root, { recursive: true, force: true });
});

/** Sets are looked for by the clock on the wall: 26 November, some minutes past ten. */
const at = (minute: number, day = 26) => new Date(2026, 10, day, 10, minute).toISOString();

function begin(id: string, run: string, more: Partial<SetBegun> = {}): void {
  journal.beginSet(setBegun(id, run, { startedAt: at(0), ...more }));
}

/** Three frames are verified, one of them with black parts, and one is rejected and has no file. */
function end(id: string, sha256 = 'ab'.repeat(32)): void {
  journal.setChanged(id, 'firing');
  for (const number of [1, 2, 3, 4]) {
    journal.frameChanged(id, frame(number, 'armed'));
    journal.frameChanged(id, frame(number, 'fired'));
    if (number < 4) {
      journal.frameChanged(id, frame(number, 'stored'), { bytes: 1000 });
      const file = `0${number}_${number - 5}EV.jpg`;
      const clipped = { dark: number === 1 ? 0.118 : 0.001, light: 0 };
      journal.frameChanged(id, frame(number, 'verified', { file, clipped, attempts: number === 3 ? 2 : 1 }), {
        sha256,
      });
    } else journal.frameChanged(id, frame(number, 'rejected', { reason: 'No frame came back.' }));
  }
  journal.setChanged(id, 'putting-back');
  journal.setChanged(id, 'halted', { sentence: 'Failed after 3 of 9 frames.', error: 'frame-missing' });
}

function once(run: string, set: string, more: Partial<SetBegun> = {}): void {
  journal.beginRun({ ...RUN, id: run, kind: 'once' });
  begin(set, run, more);
  end(set);
  journal.endRun(run, { state: 'halted', sentence: 'Halted.' });
}

const whole = () => said.join('\n');
const objects = () => said.map((line) => JSON.parse(line) as Record<string, unknown>);
const refusal = (work: () => unknown): Promise<unknown> =>
  Promise.resolve()
    .then(work)
    .then(
      () => null,
      (cause: unknown) => cause,
    );

describe('the list', () => {
  it('has a line for each set, the newest first, under its day and folder', async () => {
    once('r1', 'aaaaaaaa-1111', { startedAt: at(5, 25), folder: '/pictures/boathouse/set-20261125-100500' });
    once('r2', 'bbbbbbbb-2222', { startedAt: at(7), name: 'Boathouse', viewpoint: 'west door' });
    journal.beginRun({ ...RUN, id: 'cccccccc-run' });
    begin('dddddddd-3333', 'cccccccc-run', { startedAt: at(9) });
    expect(await listSets(reader, { limit: 20 }, say)).toBe(3);
    expect(said).toEqual([
      '2026-11-26  /pictures/boathouse, scheduled run cccccccc: under way, 1 set',
      '  dddddddd  10:09  folder gone     0 of 9  dddddddd-3333',
      '',
      '2026-11-26  /pictures/boathouse',
      '  bbbbbbbb  10:07  folder gone     3 of 9  bbbbbbbb-2222  Boathouse, west door',
      '',
      '2026-11-25  /pictures/boathouse',
      '  aaaaaaaa  10:05  folder gone     3 of 9  set-20261125-100500',
    ]);
  });

  it('says what is not on the disk any more, and what is there again', async () => {
    const folder = path.join(root, 'set-20261126-100700');
    once('r1', 'aaaaaaaa-1111', { folder });
    const state = async () => {
      said = [];
      await listSets(reader, { limit: 20 }, say);
      return said[1]?.slice(19, 31).trim();
    };
    expect(await state()).toBe('folder gone');
    await mkdir(folder);
    expect(await state()).toBe('files gone');
    for (const number of [1, 2, 3])
      await writeFile(path.join(folder, `0${number}_${number - 5}EV.jpg`), Buffer.alloc(1000));
    expect(await state()).toBe('halted');
    said = [];
    await listSets(reader, { limit: 20, json: true }, say);
    expect(objects()[0]?.onDisk).toEqual({ state: 'whole', missing: [], changed: [], sentence: null });
  });

  it('says where a run has no set yet', async () => {
    journal.beginRun(RUN);
    await listSets(reader, { limit: 20 }, say);
    expect(said[1]).toBe('  no set yet');
  });

  it('is no wider than 80 columns, and no name steers the terminal', async () => {
    const long = 'The boathouse at dusk, from the far side of the lake, with its doors open';
    once('r1', 'a'.repeat(36), {
      name: long,
      viewpoint: '\u001b[2Jred',
      folder: `/elsewhere/${'deep/'.repeat(20)}set`,
    });
    once('r2', 'b'.repeat(36), {
      name: 'B\u001b[31m\nB\u202e',
      folder: `/pictures/boathouse/${'x'.repeat(90)}`,
    });
    once('r3', 'c'.repeat(36), { folder: path.join(os.homedir(), 'y'.repeat(90)) });
    await listSets(reader, { limit: 20 }, say);
    for (const line of said) expect(line.length).toBeLessThanOrEqual(80);
    // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what must not be there
    expect(whole()).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u202e]/);
    // Both are still to be told from others.
    expect(said.find((line) => line.includes('aaaaaaaa'))).toMatch(/deep\/set {2}The boathouse/);
  });

  it('ends at its limit, says so, and goes on to the end with --all', async () => {
    for (let set = 10; set < 35; set += 1) once(`run-${set}`, `set-${set}`);
    await listSets(reader, { limit: 20 }, say);
    expect(said.filter((line) => line.includes('set-'))).toHaveLength(20);
    expect(whole()).toMatch(/set-34[\s\S]*set-15[\s\S]*--all/);
    said = [];
    await listSets(reader, { limit: 25 }, say);
    expect(whole()).not.toMatch(/--all/);
    said = [];
    await listSets(reader, { limit: 1, all: true, json: true }, say);
    expect(objects().map(({ set }) => (set as { id: string }).id)).toEqual(
      Array.from({ length: 25 }, (_, index) => `set-${34 - index}`),
    );
  });

  it('goes through more sets than a page of the journal holds', async () => {
    journal.beginRun(RUN);
    journal.together(() => {
      for (let set = 0; set < 450; set += 1) {
        begin(`set-${set}`, RUN.id);
        journal.setChanged(`set-${set}`, 'putting-back');
        journal.setChanged(`set-${set}`, 'stopped');
      }
    });
    expect(await listSets(reader, { limit: 1, all: true, json: true }, say)).toBe(450);
    expect(new Set(objects().map(({ set }) => (set as { id: string }).id)).size).toBe(450);
  });

  it('with --json is one object a line, with the run of each set', async () => {
    once('r1', 'aaaaaaaa-1111', { name: 'Boathouse' });
    await listSets(reader, { limit: 20, json: true }, say);
    expect(objects()).toEqual([
      {
        set: expect.objectContaining({
          id: 'aaaaaaaa-1111',
          name: 'Boathouse',
          state: 'halted',
          verified: 3,
          frames: 9,
        }),
        onDisk: expect.objectContaining({ state: 'gone' }),
        run: expect.objectContaining({
          id: 'r1',
          kind: 'once',
          state: 'halted',
          into: '/pictures/boathouse',
        }),
      },
    ]);
    expect(whole()).not.toMatch(/memo/);
  });

  it('is what was committed, while another connection writes', async () => {
    journal.together(() => {
      once('r1', 'aaaaaaaa-1111');
      expect(reader.sets()).toEqual([]);
    });
    expect(await listSets(reader, { limit: 20 }, say)).toBe(1);
  });
});

describe('one set', () => {
  beforeEach(() => {
    once('f1f1f1f1-run', '3f2a91c0-aaaa', {
      name: 'Boathouse',
      viewpoint: 'west door',
      note: 'Wind from the lake.',
    });
    once('f2f2f2f2-run', '3f2a0000-bbbb');
  });

  it('shows its frames with time, state, marks, file and checksum', async () => {
    await showSet(reader, '3f2a9', {}, say);
    expect(whole()).toContain(
      'Set 3f2a91c0-aaaa\n  name:       Boathouse\n  viewpoint:  west door\n  note:       Wind',
    );
    expect(whole()).toContain(
      'state:      halted, 3 of 9 frames verified\n              Failed after 3 of 9 frames.',
    );
    expect(whole()).toContain('base:       1/60 s, f/8, ISO 100');
    expect(whole()).toContain('folder:     /pictures/boathouse/3f2a91c0-aaaa (missing)');
    const rows = said.filter((line) => /^ {4}\d {2}/.test(line));
    expect(rows).toHaveLength(9);
    expect(rows[0]).toBe('    1  −4      2^-10 s    verified  01_-4EV.jpg  abababab  12% black');
    expect(rows[1]).toBe('    2  −3      2^-9 s     verified  02_-3EV.jpg  abababab');
    expect(rows[2]).toMatch(/fired 2 times$/);
    expect(rows[3]).toBe('    4  −1      2^-7 s     rejected  -            -');
    expect(whole()).toContain('  frame 4: No frame came back.');
    for (const line of said) expect(line.length).toBeLessThanOrEqual(80);
  });

  it('shows both files of a frame that is two, and says of which one is missing', async () => {
    journal.beginRun({ ...RUN, id: 'a-run', kind: 'once' });
    begin('a-set', 'a-run');
    const make = (number: number, more: Partial<FrameView>) => {
      journal.frameChanged('a-set', frame(number, 'stored'));
      journal.frameChanged('a-set', frame(number, 'verified', more), {
        sha256: 'ab'.repeat(32),
        bytes: 1000,
      });
    };
    const partner = { ...PARTNER, file: '02_-3EV.jpg' } as const;
    make(2, { file: '02_-3EV.dng', partner });
    const sentence =
      "Only the raw file of its two files has come. The other one may be on the camera's card.";
    make(3, {
      file: '03_-2EV.dng',
      partner: { state: 'missing', beside: 'EVRG0003.DNG' },
      marks: [{ code: 'partner-missing', sentence }],
    });
    await showSet(reader, 'a-set', {}, say);
    const at = said.findIndex((line) => line.includes('02_-3EV.dng'));
    expect(
      said.slice(at, at + 3).map((line) => line.replaceAll('\u00a0', ' ').trim().split(/ {2,}/)),
    ).toEqual([
      ['2', '−3', '2^-9 s', 'verified', '02_-3EV.dng', 'abababab'],
      ['02_-3EV.jpg', 'cdcdcdcd'],
      ['3', '−2', '2^-8 s', 'verified', '03_-2EV.dng', 'abababab'],
    ]);
    expect(whole().replaceAll('\n    ', ' ')).toContain(`frame 3: ${sentence}`);
    for (const line of said) expect(line.length).toBeLessThanOrEqual(80);
    said = [];
    await showSet(reader, 'a-set', { json: true }, say);
    const { set } = objects()[0] as { set: { frames: { view: FrameView }[] } };
    expect(set.frames[1]?.view.partner).toEqual(partner);
  });

  it('shows strays, what was set aside, notes, and with --log every step', async () => {
    journal.addNote('3f2a91c0-aaaa', 'The clock of the camera is 7 s ahead.');
    journal.addAside('3f2a91c0-aaaa', { file: 'set-aside/frame-02.jpg', reason: 'A repeat.' });
    const stray = {
      frame: 4,
      offset: -1,
      shutter: '1/125',
      releasedAt: at(3),
      reason: 'It may be on the card.',
    };
    journal.addStray('3f2a91c0-aaaa', stray);
    await showSet(reader, '3f2a91c0-aaaa', {}, say);
    expect(whole()).toContain('  The clock of the camera is 7 s ahead.');
    expect(whole()).toContain('  set-aside/frame-02.jpg: A repeat.');
    expect(whole().replaceAll('\n    ', ' ')).toContain(
      'frame 4 (−1 EV, 1/125 s), fired 2026-11-26 10:03:00: It may be on the card.',
    );
    expect(whole()).not.toContain('armed ->');
    said = [];
    await showSet(reader, '3f2a91c0-aaaa', { log: true }, say);
    // Begun, firing, putting back, halted; armed and fired for four frames, stored and verified for three, rejected for one.
    expect(said.slice(said.indexOf('log') + 1).filter((line) => /^ {2}\d{4}-/.test(line))).toHaveLength(
      4 + 8 + 6 + 1,
    );
    expect(whole()).toMatch(/frame 4 {3}fired -> rejected: No frame came back\./);
    for (const line of said) expect(line.length).toBeLessThanOrEqual(80);
  });

  it('with --json is one object, the steps in it where they are asked for', async () => {
    await showSet(reader, '3f2a9', { json: true }, say);
    await showSet(reader, '3f2a9', { json: true, log: true }, say);
    const [plain, logged] = objects();
    expect(plain).toMatchObject({
      set: { id: '3f2a91c0-aaaa', verified: 3 },
      run: { id: 'f1f1f1f1-run' },
      marks: [],
    });
    expect(plain).not.toHaveProperty('log');
    expect(logged?.log).toHaveLength(19);
    expect(said).toHaveLength(2);
  });

  it('has the marks that the journal keeps, as long as there is no record', async () => {
    journal.beginRun({ ...RUN, id: 'a-run', kind: 'once' });
    begin('a-set', 'a-run');
    journal.frameChanged('a-set', frame(2, 'stored'));
    const marks = [{ code: 'time' as const, sentence: 'Its file says that it was taken 7 min before.' }];
    journal.frameChanged('a-set', frame(2, 'verified', { file: '02_-3EV.jpg', marks }));
    await showSet(reader, 'a-set', {}, say);
    expect(whole()).toContain('  frame 2: Its file says that it was taken 7 min before.');
    said = [];
    await showSet(reader, 'a-set', { json: true }, say);
    expect(objects()[0]?.marks).toEqual([{ frame: 2, ...marks[0] }]);
  });

  it.each([2, 1])('has the marks of a record of version %i that lies in its folder', async (version) => {
    const folder = path.join(root, 'set-1');
    once('a-run', 'a-set', { folder });
    const record = await makeSet(folder, { id: 'a-run' });
    const marks = [{ code: 'ratio' as const, sentence: 'It is brighter than planned.' }];
    const marked = {
      ...record,
      frames: record.frames.map((one, index) => (index === 1 ? { ...one, marks } : one)),
    };
    await keepRecord(folder, version === 1 ? asVersion1(record) : marked);
    await showSet(reader, 'a-set', {}, say);
    expect(whole().includes('  frame 2: It is brighter than planned.')).toBe(version === 2);
    expect(whole()).not.toContain('(missing)');
  });

  it('tells of a record that cannot be read, and takes none of another set', async () => {
    const folder = path.join(root, 'set-1');
    once('a-run', 'a-set', { folder });
    const other = await makeSet(folder, { id: 'another' });
    const marks = [{ code: 'ratio', sentence: 'It is brighter than planned.' }];
    await keepRecord(folder, { ...other, frames: other.frames.map((one) => ({ ...one, marks })) });
    await showSet(reader, 'a-set', { json: true }, say);
    expect(objects()[0]).toMatchObject({ marks: [], recordProblem: null, isFolderThere: true });
    await writeFile(path.join(folder, 'set.json'), '{');
    said = [];
    await showSet(reader, 'a-set', {}, say);
    expect(whole().replaceAll('\n    ', ' ')).toContain('  The record set.json cannot be read');
  });

  it('is found by its whole id, by letters of either case, and by the id of its run', async () => {
    // An id that others begin with is an id all the same.
    once('r3', '3f2a');
    for (const written of ['3f2a', '3F2A91', 'f2f2']) await showSet(reader, written, { json: true }, say);
    expect(objects().map(({ set }) => (set as { id: string }).id)).toEqual([
      '3f2a',
      '3f2a91c0-aaaa',
      '3f2a0000-bbbb',
    ]);
  });

  it.each([
    ['nine', /no set whose id begins with 'nine'/],
    ['', /no set whose id/],
    ['3f2', /'3f2' stands for 2 sets: 3f2a0000-bbbb, 3f2a91c0-aaaa\./],
    ['f', /stands for 2 sets/],
    ['%', /no set whose id/],
  ] as const)('is not found by %j', async (written, sentence) => {
    expect(await refusal(() => showSet(reader, written, {}, say))).toMatchObject({
      code: 'no-such-set',
      message: expect.stringMatching(sentence),
    });
    expect(said).toEqual([]);
  });
});

describe('a check', () => {
  it('of a set that is right: one line, and 0', async () => {
    await makeSet(path.join(root, 'set-1'));
    expect(await checkSets(path.join(root, 'set-1'), {}, say)).toBe(0);
    expect(said).toEqual(['set-1: all 3 frames are intact']);
  });

  it('of a record of version 1, which kept no checksums: 0, and what cannot be told', async () => {
    const folder = path.join(root, 'set-1');
    await keepRecord(folder, asVersion1(await makeSet(folder)));
    await rm(path.join(folder, 'SHA256SUMS'));
    expect(await checkSets(folder, {}, say)).toBe(0);
    expect(said[0]).toBe('set-1: 3 frames, all right as far as can be told');
    expect(said[1]).toMatch(/^ {2}note {3}There is no checksum for any frame/);
  });

  it('of a folder that holds several: each with what is wrong, a line each, and 1', async () => {
    await makeSet(path.join(root, 'sets', 'set-1'));
    await makeSet(path.join(root, 'sets', 'set-2'));
    await rm(path.join(root, 'sets', 'set-2', FRAMES[0] as string));
    await writeFile(path.join(root, 'sets', 'set-2', FRAMES[1] as string), 'garbled');
    expect(await checkSets(path.join(root, 'sets'), {}, say)).toBe(1);
    expect(said).toEqual([
      'set-1: all 3 frames are intact',
      'set-2: 3 things are wrong',
      expect.stringMatching(/^ {2}wrong {2}Frame 1 \(−1 EV\): its file 01_-1EV.jpg is missing\.$/),
      expect.stringMatching(/^ {2}wrong {2}Frame 2 \(0 EV\): 02_0EV.jpg has changed since it came/),
      expect.stringMatching(/^ {2}wrong {2}Frame 2 /),
      '1 of 2 sets are all right',
    ]);
    said = [];
    expect(await checkSets(path.join(root, 'sets'), { json: true }, say)).toBe(1);
    expect(objects()).toMatchObject([
      {
        folder: path.join(root, 'sets', 'set-1'),
        right: true,
        version: 2,
        frames: 3,
        intact: 3,
        findings: [],
      },
      { right: false, intact: 1, findings: [{ code: 'frame-missing' }, { code: 'frame-changed' }, {}] },
    ]);
  });

  it('of a set that was cut off: 1', async () => {
    await mkdir(path.join(root, 'set-1', '.incoming'), { recursive: true });
    expect(await checkSets(path.join(root, 'set-1'), {}, say)).toBe(1);
    expect(said[1]).toMatch(/was not finished/);
  });

  it('of what is no set folder is refused', async () => {
    expect(await refusal(() => checkSets(state, {}, say))).toMatchObject({ code: 'no-such-set' });
  });
});

describe('a copy', () => {
  const withReader = <T>(use: (journal: JournalReader | null) => T | Promise<T>) =>
    Promise.resolve(use(reader));

  it('is made of a folder, or of the set that an id stands for', async () => {
    const folder = path.join(root, 'set-1');
    await makeSet(folder);
    once('a-run', '3f2a91c0-aaaa', { folder });
    expect(await folderOf(folder, () => Promise.reject(new Error('The journal is not needed.')))).toBe(
      folder,
    );
    expect(await folderOf('3f2a', withReader)).toBe(folder);
    await exportTo(folder, { into: path.join(root, 'disk') }, say);
    expect(whole().replaceAll('\n  ', ' ')).toContain(
      `3 frames and 7 files beside them, 1 MB, copied and verified: ${path.join(root, 'disk', 'set-1')}`,
    );
    expect(whole()).toContain('not copied, as not part of the set: set-aside/frame-02.jpg');
  });

  it('counts frames, and the files of frames that are two', async () => {
    const { folder } = await fireSet(root, { frames: 3, link: new PairLink() });
    await exportTo(folder, { into: path.join(root, 'disk') }, say);
    expect(whole().replaceAll('\n  ', ' ')).toContain(
      '3 frames in 6 files and 10 files beside them, 1 MB, copied and verified',
    );
    said = [];
    expect(await checkSets(folder, {}, say)).toBe(0);
    expect(whole()).toBe(`${path.basename(folder)}: all 3 frames are intact`);
    await rm(path.join(folder, '02_0EV.jpg'));
    said = [];
    expect(await checkSets(folder, {}, say)).toBe(1);
    expect(whole()).toContain('wrong  Frame 2 (0 EV): its file 02_0EV.jpg is missing.');
  });

  it('with --json tells each file', async () => {
    const record = await makeSet(path.join(root, 'set-1'));
    await exportTo(
      path.join(root, 'set-1'),
      { into: path.join(root, 'disk'), only: 'frames', json: true },
      say,
    );
    expect(objects()).toMatchObject([
      {
        folder: path.join(root, 'disk', 'set-1'),
        frames: 3,
        files: record.frames.map(({ file, sha256, bytes }) => ({ file, sha256, bytes })),
      },
    ]);
  });

  it('is not made of what is not there', async () => {
    once('a-run', '3f2a91c0-aaaa');
    for (const written of ['nine', path.join(root, 'nowhere'), './nowhere'])
      expect(await refusal(() => folderOf(written, withReader))).toMatchObject({ code: 'no-such-set' });
    // The folder of this one is gone.
    const gone = await folderOf('3f2a', withReader);
    expect(await refusal(() => exportTo(gone, { into: path.join(root, 'disk') }, say))).toMatchObject({
      code: 'no-such-set',
    });
    expect(await readdir(root)).toEqual(['state']);
  });
});

describe('the program', () => {
  const env = () => ({ XDG_STATE_HOME: path.join(root, 'state') });

  it('lists, shows, checks and exports what it has fired', async () => {
    const fire = [
      'fire',
      '--frames',
      '3',
      '--step',
      '1',
      '--body',
      'practice',
      '--into',
      path.join(root, 'sets'),
    ];
    expect(await runProgram(fire, env())).toMatchObject({ code: 0 });
    // The journal of this test is open all the while: that is how it is beside a daemon.
    const list = await runProgram(['sets', '--json'], env());
    expect([list.code, list.stderr]).toEqual([0, '']);
    const { set } = JSON.parse(list.stdout) as { set: { id: string; folder: string } };
    expect(set).toMatchObject({ state: 'complete', verified: 3, frames: 3 });
    const short = set.id.slice(0, 8);
    expect((await runProgram(['sets'], env())).stdout).toMatch(new RegExp(`^ {2}${short}  .* 3 of 3  `, 'm'));
    const shown = await runProgram(['sets', 'show', short, '--log'], env());
    expect([shown.code, shown.stderr]).toEqual([0, '']);
    expect(shown.stdout).toMatch(/putting-back -> complete: All 3 frames are\s+verified/);
    expect(await runProgram(['sets', 'check', path.join(root, 'sets')], env())).toMatchObject({
      code: 0,
      stderr: '',
    });
    const exported = await runProgram(
      ['sets', 'export', short, '--into', path.join(root, 'disk'), '--json'],
      env(),
    );
    expect([exported.code, exported.stderr]).toEqual([0, '']);
    const copy = (JSON.parse(exported.stdout) as { folder: string }).folder;
    expect(await readdir(path.join(root, 'disk'))).toEqual([path.basename(set.folder)]);
    const [frameFile] = (await readdir(copy)).filter((name) => name.endsWith('.jpg'));
    const file = path.join(copy, frameFile as string);
    expect((await readFile(file)).equals(await readFile(path.join(set.folder, frameFile as string)))).toBe(
      true,
    );
    await truncate(file, 1000);
    const wrong = await runProgram(['sets', 'check', copy, '--json'], env());
    expect([wrong.code, wrong.stderr]).toEqual([1, '']);
    expect(JSON.parse(wrong.stdout)).toMatchObject({ right: false });
  });

  it('has one sentence and exit 2 for what is not there', async () => {
    const nowhere = { XDG_STATE_HOME: path.join(root, 'nowhere') };
    const list = await runProgram(['sets'], nowhere);
    expect(list).toMatchObject({
      code: 0,
      stderr: '',
      stdout: expect.stringMatching(/^No set was shot yet .*\n$/),
    });
    const json = await runProgram(['sets', '--json'], nowhere);
    expect(json).toMatchObject({
      code: 0,
      stdout: '',
      stderr: expect.stringMatching(/^No set was shot yet/),
    });
    for (const args of [
      ['show', '3f2a'],
      ['check', root],
      ['export', '3f2a', '--into', root],
    ]) {
      const ended = await runProgram(['sets', ...args, '--json'], nowhere);
      expect([args, ended.code]).toEqual([args, 2]);
      expect(JSON.parse(ended.stdout)).toMatchObject({ error: { code: 'no-such-set' } });
    }
    for (const args of [
      ['nonsense'],
      ['show'],
      ['show', 'x', '--limit', '3'],
      ['--limit', '0'],
      ['export', 'x'],
    ]) {
      const ended = await runProgram(['sets', ...args], nowhere);
      expect([args, ended.code, ended.stdout]).toEqual([args, 2, '']);
    }
    // Looking makes nothing.
    expect(await readdir(root)).toEqual(['state']);
    // Whoever only looks changes nothing about a journal that is damaged either.
    reader.close();
    journal.close();
    await writeFile(
      journalFile(state),
      'no database, but long enough to be looked at by whoever opens it'.repeat(99),
    );
    const damaged = await runProgram(['sets'], env());
    expect(damaged).toMatchObject({ code: 2, stdout: '', stderr: expect.stringMatching(/journal.*damaged/) });
  });
});
