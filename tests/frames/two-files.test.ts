// A set folder of which each frame is two files: what a check finds, what is copied, what another name changes. The files are a fired set's.
import {
  appendFile,
  cp,
  mkdtemp,
  readdir,
  readFile,
  rename,
  rm,
  truncate,
  writeFile,
} from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { readSetRecord } from '../../shared/set-record.js';
import {
  CONTACT_SHEET,
  checkSet,
  checksumOf,
  exifTool,
  exportSet,
  lookOnDisk,
  parseSums,
  RECORD,
  readSidecar,
  relabelSet,
  SUMS,
} from '../../src/frames/index.js';
import { PairLink } from '../harness/pair-link.js';
import { fireSet, THE_SET } from '../harness/set.js';

let root = '';
let whole = '';
let folder = '';
beforeAll(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  ({ folder: whole } = await fireSet(root, { frames: 3, link: new PairLink() }));
});
afterAll(async () => {
  await exifTool.end();
  await rm(root, { recursive: true, force: true });
});
beforeEach(async () => {
  folder = path.join(await mkdtemp(path.join(root, 'copy-')), path.basename(whole));
  await cp(whole, folder, { recursive: true });
});

const inSet = (name: string): string => path.join(folder, name);
const recordIn = async () => readSetRecord(await readFile(inSet(RECORD), 'utf8')).record;
const found = async () => {
  const { findings, intact } = await checkSet(folder);
  return {
    intact,
    findings: findings.map(({ code, severity, frame, file }) => [code, severity, frame, file]),
  };
};

describe('a check', () => {
  it('finds nothing in a whole one', async () => {
    expect(await found()).toEqual({ intact: 3, findings: [] });
  });

  it('finds a second file that is gone', async () => {
    await rm(inSet('02_0EV.jpg'));
    expect(await found()).toEqual({
      intact: 2,
      findings: [['frame-missing', 'wrong', 2, '02_0EV.jpg']],
    });
  });

  it('finds one that was changed, and how large it is and was', async () => {
    await appendFile(inSet('02_0EV.jpg'), 'more');
    const { findings, intact } = await checkSet(folder);
    const { partner } = (await recordIn()).frames[1] ?? {};
    const bytes = partner?.state === 'there' ? (partner.bytes ?? 0) : 0;
    expect([intact, findings.map(({ code }) => code)]).toEqual([2, ['frame-changed']]);
    expect(findings[0]?.sentence).toBe(
      `Frame 2 (0 EV): 02_0EV.jpg has changed since it came: it has ${bytes + 4} bytes, but ${bytes} came from the camera. Replace it from a copy.`,
    );
  });

  it('finds one that is cut short, whatever sum was kept', async () => {
    await truncate(inSet('02_0EV.jpg'), 9000);
    const record = await recordIn();
    const sum = await checksumOf(inSet('02_0EV.jpg'));
    const frames = record.frames.map((frame) =>
      frame.number === 2 && frame.partner?.state === 'there'
        ? { ...frame, partner: { ...frame.partner, ...sum } }
        : frame,
    );
    await writeFile(inSet(RECORD), JSON.stringify({ ...record, frames }));
    const codes = (await found()).findings.map(([code]) => code);
    expect(codes).toContain('frame-cut');
    // The list beside the record keeps the other sum.
    expect(codes).toContain('sums-differ');
  });

  it('finds one of another exposure', async () => {
    await rename(inSet('03_+1EV.jpg'), inSet('02_0EV.jpg'));
    const { findings } = await found();
    expect(findings).toContainEqual(['exposure-wrong', 'wrong', 2, '02_0EV.jpg']);
    expect(findings).toContainEqual(['frame-missing', 'wrong', 3, '03_+1EV.jpg']);
  });

  it('finds a second sidecar that is gone, or another frame’s', async () => {
    await rm(inSet('01_-1EV.jpg.xmp'));
    await rename(inSet('03_+1EV.jpg.xmp'), inSet('02_0EV.jpg.xmp'));
    expect((await found()).findings).toEqual([
      ['sidecar-missing', 'note', 1, '01_-1EV.jpg.xmp'],
      ['sidecar-differs', 'wrong', 2, '02_0EV.jpg.xmp'],
      ['sidecar-missing', 'note', 3, '03_+1EV.jpg.xmp'],
    ]);
  });

  it('finds one that the list of checksums leaves out', async () => {
    const lines = (await readFile(inSet(SUMS), 'utf8')).split('\n');
    await writeFile(inSet(SUMS), lines.filter((line) => !line.includes('01_-1EV.jpg')).join('\n'));
    expect((await found()).findings).toEqual([['sums-differ', 'wrong', 1, SUMS]]);
  });

  it('does not follow a name that leads outside', async () => {
    const record = await recordIn();
    const frames = record.frames.map((frame) =>
      frame.partner?.state === 'there'
        ? { ...frame, partner: { ...frame.partner, file: '../02_0EV.jpg' } }
        : frame,
    );
    await writeFile(inSet(RECORD), JSON.stringify({ ...record, frames }));
    expect((await found()).findings.filter(([code]) => code === 'name-outside')).toHaveLength(3);
  });

  it('says of one that never came that it is worth looking for', async () => {
    const record = await recordIn();
    const frames = record.frames.map((frame) =>
      frame.number === 2 ? { ...frame, partner: { state: 'missing', beside: 'EVRG0002.DNG' } } : frame,
    );
    await writeFile(inSet(RECORD), JSON.stringify({ ...record, frames }));
    const { findings } = await checkSet(folder);
    expect(findings.find(({ code }) => code === 'partner-missing')?.sentence).toBe(
      "Frame 2 (0 EV): only one of its two files came. The other one may be on the camera's card; the one that came is called EVRG0002.DNG.",
    );
  });
});

it('its own file and its second one are known by names and sizes', async () => {
  const kept = (await recordIn()).frames.flatMap(({ number, file, bytes, partner }) => [
    { number, file: file ?? '', bytes },
    ...(partner?.state === 'there'
      ? [{ number, file: partner.file, bytes: partner.bytes, isPartner: true }]
      : []),
  ]);
  expect(await lookOnDisk(folder, kept)).toMatchObject({ state: 'whole' });
  await rm(inSet('02_0EV.jpg'));
  await appendFile(inSet('03_+1EV.jpg'), '.');
  expect(await lookOnDisk(folder, kept)).toEqual({
    ...{ state: 'lacking', missing: [2], changed: [3] },
    sentence:
      'Of frame 2, one of two files is missing from the set folder. Put a copy back. Of frame 3, one of two files has changed its size since it came from the camera. Put a copy in its place.',
  });
  await rm(inSet('02_0EV.dng'));
  expect((await lookOnDisk(folder, kept)).sentence).toMatch(
    /^The file of frame 2 is missing from the set folder\. Put a copy back, or reshoot the frame\. Of frame 3, /,
  );
});

describe('a copy', () => {
  it('has both files of each frame, with both sidecars, and is checked', async () => {
    const into = path.join(root, 'into');
    const exported = await exportSet(folder, into);
    expect([exported.frames, exported.frameFiles, exported.files.length]).toEqual([3, 6, 16]);
    expect((await readdir(exported.folder)).sort()).toEqual((await readdir(folder)).sort());
    expect((await checkSet(exported.folder)).findings).toEqual([]);
    const frames = await exportSet(folder, path.join(root, 'frames'), { only: 'frames' });
    expect((await readdir(frames.folder)).sort()).toEqual(
      (await recordIn()).frames
        .flatMap(({ file, partner }) => [file, partner?.state === 'there' ? partner.file : ''])
        .sort(),
    );
    // What is beside them is left out by wish, and is no stranger's.
    expect([exported.leftBehind, frames.leftBehind]).toEqual([[], []]);
  });

  it('is not made while a second file is not as it came', async () => {
    await appendFile(inSet('02_0EV.jpg'), 'more');
    const into = path.join(root, 'never');
    await expect(exportSet(folder, into)).rejects.toMatchObject({ code: 'set-damaged' });
    await expect(readdir(into)).rejects.toThrow();
  });
});

it('another name goes into both sidecars, and onto the sheet, which is drawn from the JPEG files', async () => {
  const before = await checksumOf(inSet(CONTACT_SHEET));
  const labels = { name: 'The jetty', note: null, viewpoint: null };
  expect(await relabelSet(folder, [THE_SET.id], labels)).toBe(true);
  for (const name of ['02_0EV.xmp', '02_0EV.jpg.xmp']) {
    const text = await readFile(inSet(name), 'utf8');
    expect(text).toContain('The jetty');
    expect(readSidecar(text)).toMatchObject({ frame: 2, set: THE_SET.id });
  }
  expect((await checksumOf(inSet(CONTACT_SHEET))).sha256).not.toBe(before.sha256);
  expect((await recordIn()).frames[0]?.partner).toMatchObject({ file: '01_-1EV.jpg' });
  expect(await found()).toEqual({ intact: 3, findings: [] });
  expect(parseSums(await readFile(inSet(SUMS), 'utf8'))).toHaveLength(6);
});
