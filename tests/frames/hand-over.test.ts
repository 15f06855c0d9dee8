// What lies beside the frames of a finished set: written whole or not at all, never at the cost of a frame or of the record.
import { execFileSync, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readdirSync } from 'node:fs';
import type * as promises from 'node:fs/promises';
import { appendFile, mkdtemp, readdir, readFile, rm, stat, truncate, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterAll, afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import type { KeptSetRecord } from '../../shared/set-record.js';
import {
  CONTACT_SHEET,
  checkSet,
  exifTool,
  parseTemplate,
  RECORD,
  SetFolder,
  SUMS,
  sidecarText,
  TABLE,
} from '../../src/frames/index.js';
import { type FiredSet, fireSet, recordIn, THE_SET } from '../harness/set.js';
import { fill, mountSmall } from '../harness/small-disk.js';

/** What the disk does with these files; by default nothing. Names are of what is being written, without `.part`. */
const disk = vi.hoisted(() => ({
  write: (_name: string): void => {},
  sync: (_name: string): void => {},
  rename: (_name: string): void => {},
}));

vi.mock('node:fs/promises', async (original) => {
  const whole = await original<typeof promises>();
  const nameOf = (file: unknown) =>
    String(file)
      .split('/')
      .at(-1)
      ?.replace(/\.part$/, '') ?? '';
  const open: typeof whole.open = async (file, flags, mode) => {
    const handle = await whole.open(file, flags, mode);
    const { writeFile: write, sync } = handle;
    handle.writeFile = async (...data) => {
      disk.write(nameOf(file));
      return write.apply(handle, data);
    };
    handle.sync = async () => {
      disk.sync(nameOf(file));
      return sync.apply(handle);
    };
    return handle;
  };
  const rename: typeof whole.rename = async (from, to) => {
    disk.rename(nameOf(to));
    return whole.rename(from, to);
  };
  return { ...whole, open, rename };
});

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  disk.write = () => {};
  disk.sync = () => {};
  disk.rename = () => {};
  await rm(into, { recursive: true, force: true });
});
afterAll(() => exifTool.end());

const FRAMES = ['01_-1EV', '02_0EV', '03_+1EV'];
const ALL = [...FRAMES.flatMap((stem) => [`${stem}.jpg`, `${stem}.xmp`]), SUMS, CONTACT_SHEET, TABLE, RECORD];

const must = (record: KeptSetRecord | null): KeptSetRecord => {
  if (record === null) throw new Error('There is no record.');
  return record;
};
const hashOf = async (file: string) =>
  createHash('sha256')
    .update(await readFile(file))
    .digest('hex');

/** Every frame is there as it was verified. */
async function framesAreUntouched({ folder, events }: FiredSet): Promise<void> {
  const verified = events.flatMap(({ happening }) =>
    happening.type === 'frame' && happening.frame.state === 'verified' ? [happening.frame] : [],
  );
  expect(new Set(verified.map(({ number }) => number)).size).toBe(3);
  const record = await recordIn(folder);
  for (const { file, number } of verified) {
    const { format } = await sharp(path.join(folder, file ?? '')).metadata();
    expect(format).toBe('jpeg');
    const kept = record?.frames.find((frame) => frame.number === number);
    if (kept !== undefined) expect(await hashOf(path.join(folder, file ?? ''))).toBe(kept.sha256);
  }
}

describe('a finished set', () => {
  it('holds frames, sidecars, sheet, table, checksums and record, and nothing else', async () => {
    const { folder, record, state } = await fireSet(into);
    expect(state).toBe('complete');
    expect((await readdir(folder)).sort()).toEqual([...ALL].sort());
    expect((await checkSet(folder)).findings).toEqual([]);
    expect(must(record)).toMatchObject({
      id: THE_SET.id,
      run: 'a-run',
      setNumber: 2,
      name: 'The boathouse at dusk',
      note: 'doors open',
      viewpoint: '3',
      notes: [],
    });
    for (const frame of must(record).frames) {
      expect(frame.sidecar).toBe(`${FRAMES[frame.number - 1]}.xmp`);
      expect(frame.nominalSeconds).toBe([1 / 125, 1 / 60, 1 / 30][frame.number - 1]);
      const [fired, stored, verified] = [frame.firedAt, frame.storedAt, frame.verifiedAt].map((at) =>
        Date.parse(at ?? ''),
      ) as [number, number, number];
      expect(fired).toBeLessThanOrEqual(stored);
      expect(stored).toBeLessThanOrEqual(verified);
      expect(Date.parse(must(record).startedAt)).toBeLessThanOrEqual(fired);
    }
    expect(must(record).ratios.map(({ darker, lighter, mark }) => [darker, lighter, mark])).toEqual([
      [1, 2, false],
      [2, 3, false],
    ]);
    for (const { ev } of must(record).ratios) expect(ev).toBeCloseTo(1, 1);
  });

  it('has checksums that GNU coreutils agree with, and a table of its frames', async () => {
    const { folder, record } = await fireSet(into);
    expect(execFileSync('sha256sum', ['-c', SUMS], { cwd: folder, encoding: 'utf8' })).toBe(
      FRAMES.map((stem) => `${stem}.jpg: OK\n`).join(''),
    );
    const [head = '', ...rows] = (await readFile(path.join(folder, TABLE), 'utf8')).trimEnd().split('\r\n');
    const column = (name: string) => rows.map((row) => row.split(',')[head.split(',').indexOf(name)]);
    expect(column('offset_ev')).toEqual(['-1', '0', '1']);
    expect(column('shutter')).toEqual(['1/125 s', '1/60 s', '1/30 s']);
    expect(column('sha256')).toEqual(must(record).frames.map(({ sha256 }) => sha256));
    expect(column('fired_at')).toEqual(must(record).frames.map(({ firedAt }) => firedAt));
  });

  it('has sidecars that ExifTool reads: set, frame, name, and the date of the file itself', async () => {
    const { folder } = await fireSet(into);
    for (const [index, stem] of FRAMES.entries()) {
      const tags = await exifTool.read(path.join(folder, `${stem}.xmp`), ['-n', '-G1', '-a', '-XMP:all']);
      expect(tags).toMatchObject({
        'XMP-evenrung:Offset': index - 1,
        'XMP-dc:Title': 'The boathouse at dusk',
        'XMP-dc:Description': 'doors open',
        'XMP-evenrung:Set': THE_SET.id,
        'XMP-evenrung:Frame': index + 1,
        'XMP-evenrung:Frames': 3,
        'XMP-evenrung:BaseExposureTime': 1 / 64,
        'XMP-evenrung:Practice': true,
      });
      expect(Object.keys(tags).filter((name) => name.startsWith('XMP-exif'))).toEqual([]);
      const own = await exifTool.read(path.join(folder, `${stem}.jpg`), ['-SubSecDateTimeOriginal']);
      expect(tags['XMP-xmp:CreateDate']).toBe(own.SubSecDateTimeOriginal);
    }
  });

  it('has a sheet with every frame on it', async () => {
    const { folder } = await fireSet(into);
    const sheet = sharp(path.join(folder, CONTACT_SHEET));
    expect(await sheet.metadata()).toMatchObject({ format: 'jpeg', width: 1052 });
    const { height } = await sheet.metadata();
    for (const index of [0, 1, 2]) {
      const at = { left: 28 + index * 338, top: height - 28 - 50 - 214, width: 320, height: 200 };
      const { channels } = await sharp(await sheet.clone().extract(at).toBuffer()).stats();
      // A picture, and no empty cell.
      expect(channels[0]?.stdev).toBeGreaterThan(20);
    }
  });

  it('is named by its templates, and so are its frames', async () => {
    const naming = {
      set: parseTemplate('{viewpoint} {name} {set}', 'set'),
      frame: parseTemplate('{name}_{set}_{offset}EV_{shutter}s', 'frame'),
    };
    const { folder, record } = await fireSet(into, { naming });
    expect(path.basename(folder)).toBe('3 The boathouse at dusk 0002');
    expect(must(record).frames.map(({ file }) => file)).toEqual([
      'The boathouse at dusk_0002_-1EV_1-125s.jpg',
      'The boathouse at dusk_0002_0EV_1-60s.jpg',
      'The boathouse at dusk_0002_+1EV_1-30s.jpg',
    ]);
    expect((await checkSet(folder)).findings).toEqual([]);
  });

  it('that was stopped has them too, of what was made', async () => {
    const { folder, record, state } = await fireSet(into, {
      frames: 9,
      during: ({ happening }, run) => {
        if (happening.type === 'frame' && happening.frame.state === 'stored') run.stop();
      },
    });
    expect(state).toBe('stopped');
    const made = must(record).frames.filter(({ state: of }) => of === 'verified');
    expect(made).toHaveLength(1);
    expect((await readdir(folder)).filter((name) => name.endsWith('.xmp'))).toHaveLength(1);
    expect((await checkSet(folder)).findings.map(({ code }) => code)).toEqual(['set-incomplete']);
  });
});

describe('what happened to a finished set since is found by its check', () => {
  const flip = async (file: string, from: number) => {
    const bytes = await readFile(file);
    const place = from < 0 ? bytes.length + from : from;
    bytes.writeUInt8(bytes.readUInt8(place) ^ 1, place);
    await writeFile(file, bytes);
  };
  it.each<[string, (inSet: (name: string) => string) => Promise<unknown>, string[]]>([
    ['a flipped bit in a frame', (inSet) => flip(inSet('02_0EV.jpg'), -40), ['frame-changed']],
    ['a frame that is gone', (inSet) => rm(inSet('02_0EV.jpg')), ['frame-missing']],
    [
      'a frame in the place of another',
      async (inSet) => writeFile(inSet('02_0EV.jpg'), await readFile(inSet('01_-1EV.jpg'))),
      ['frame-changed', 'exposure-wrong'],
    ],
    ['a flipped bit in a checksum', (inSet) => flip(inSet(SUMS), 0), ['sums-differ']],
    ['a flipped bit in a name in the list', (inSet) => flip(inSet(SUMS), -3), ['sums-differ']],
    ['a list that is cut short', (inSet) => truncate(inSet(SUMS), 100), ['sums-differ', 'sums-differ']],
    ['no list', (inSet) => rm(inSet(SUMS)), ['beside-missing']],
    [
      'no sheet and no table',
      async (inSet) => [await rm(inSet(TABLE)), await rm(inSet(CONTACT_SHEET))],
      ['beside-missing', 'beside-missing'],
    ],
    ['a sidecar that is gone', (inSet) => rm(inSet('02_0EV.xmp')), ['sidecar-missing']],
    [
      'the sidecar of another frame',
      async (inSet) => writeFile(inSet('02_0EV.xmp'), await readFile(inSet('01_-1EV.xmp'))),
      ['sidecar-differs'],
    ],
    ['a record that is gone', (inSet) => rm(inSet(RECORD)), ['record-missing']],
  ])('%s', async (_, spoil, expected) => {
    const { folder } = await fireSet(into);
    await spoil((name) => path.join(folder, name));
    expect((await checkSet(folder)).findings.map(({ code }) => code)).toEqual(expected);
  });
});

const failing = (code: string) => () => {
  throw Object.assign(new Error(`${code} of the test`), { code });
};
const at = (name: string, fail: () => void) => (file: string) => {
  if (file === name) fail();
};
const FAULTS = [
  ['cannot be synced', (name: string) => Object.assign(disk, { sync: at(name, failing('EIO')) })],
  ['cannot be renamed', (name: string) => Object.assign(disk, { rename: at(name, failing('EIO')) })],
  ['meets with a full disk', (name: string) => Object.assign(disk, { write: at(name, failing('ENOSPC')) })],
] as const;
const BESIDE = ['02_0EV.xmp', CONTACT_SHEET, TABLE, SUMS];

describe.each(FAULTS)('a file that %s', (fault, strike) => {
  it.each(BESIDE)(
    '%s: the frames, the record and the other files are there, and it says so',
    async (name) => {
      strike(name);
      const fired = await fireSet(into);
      const record = must(fired.record);
      await framesAreUntouched(fired);
      expect(fired.state).toBe('complete');
      expect((await readdir(fired.folder)).sort()).toEqual(ALL.filter((one) => one !== name).sort());
      const isFull = fault.includes('full');
      expect(record.notes).toEqual([
        expect.stringContaining(name.endsWith('.xmp') ? 'the sidecar of frame 2' : name),
      ]);
      expect(record.notes[0]).toContain(isFull ? 'the disk is full' : 'the disk reports an error');
      expect(fired.log.state.run?.notes).toEqual(record.notes);
      // A full disk is told as for a frame.
      expect(fired.run.error?.code ?? null).toBe(isFull ? 'storing-failed' : null);
      expect(record.sentence).toBe(fired.log.state.run?.sentence);
      if (name.endsWith('.xmp'))
        expect(record.frames.map(({ sidecar }) => sidecar === null)).toEqual([false, true, false]);
      const { findings } = await checkSet(fired.folder);
      expect(findings.filter(({ severity }) => severity === 'wrong')).toEqual([]);
      expect(findings.map(({ code }) => code)).toEqual(name.endsWith('.xmp') ? [] : ['beside-missing']);
    },
  );

  it('set.json: the frames and the other files are there, nobody takes the set for finished, and it is told', async () => {
    strike(RECORD);
    const fired = await fireSet(into);
    await framesAreUntouched(fired);
    expect(fired.run.error?.code).toBe('storing-failed');
    const names = (await readdir(fired.folder)).filter((name) => !name.startsWith('.'));
    expect(names.sort()).toEqual(ALL.filter((one) => one !== RECORD).sort());
    expect((await checkSet(fired.folder)).findings.map(({ code }) => code)).toEqual(['record-missing']);
  });
});

it('a folder that cannot be synced before the record comes: the record says so', async () => {
  let sums = false;
  disk.rename = (name) => {
    sums ||= name === SUMS;
  };
  disk.sync = (name) => {
    if (!sums || !name.startsWith('set-')) return;
    sums = false;
    failing('EIO')();
  };
  const fired = await fireSet(into);
  await framesAreUntouched(fired);
  expect(fired.state).toBe('complete');
  expect(must(fired.record).notes).toEqual([
    expect.stringContaining('what the folder itself says about them (the disk reports an error)'),
  ]);
});

it('a small copy that cannot be drawn: the sheet is missing, and nothing else', async () => {
  const { folder, record } = await fireSet(into);
  const set = await SetFolder.reopen(folder);
  await rm(path.join(folder, CONTACT_SHEET));
  const { sentence, error, sidecars } = await set.handOver(
    must(record),
    new Map([[1, Buffer.from('no picture')]]),
    new Set(),
  );
  expect(error).toBeNull();
  expect(sentence).toMatch(/^These could not be written beside the frames: contact-sheet\.jpg \(/);
  expect(sidecars.size).toBe(3);
});

it('a disk that fills up at the last frame still takes all of it: its room was kept', async () => {
  const isMounted = mountSmall(into);
  try {
    let reserved = 0;
    const { folder, record, run } = await fireSet(into, {
      frames: 9,
      during: ({ happening }) => {
        if (happening.type !== 'run-state' || happening.state !== 'putting-back') return;
        // Without the right to mount one, what was kept is compared with what was needed.
        if (isMounted) fill(into);
        const [set = ''] = readdirSync(into).filter((name) => name.startsWith('set-'));
        reserved = spawnSync('stat', ['-c', '%s', path.join(into, set, '.reserve')], { encoding: 'utf8' })
          .stdout.trim()
          .split('\n')
          .map(Number)
          .reduce((sum, size) => sum + size, 0);
      },
    });
    expect(run.error).toBeNull();
    expect(must(record)).toMatchObject({ complete: true, notes: [] });
    expect((await checkSet(folder)).findings).toEqual([]);
    const beside = (await readdir(folder)).filter((name) => !/^\d.*\.jpg$/.test(name));
    const sizes = await Promise.all(beside.map(async (name) => (await stat(path.join(folder, name))).size));
    expect(sizes.reduce((sum, size) => sum + Math.ceil(size / 4096) * 4096, 0)).toBeLessThan(reserved);
    expect(beside).not.toContain('.reserve');
  } finally {
    if (isMounted) spawnSync('umount', ['-l', into]);
  }
});

describe('handed over a second time', () => {
  const edited = '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF/></x:xmpmeta>';
  const again = async (folder: string, record: KeptSetRecord) => {
    const set = await SetFolder.reopen(folder);
    return set.handOver(record, new Map(), new Set());
  };
  const textOf = (folder: string, name: string) => readFile(path.join(folder, name), 'utf8');

  it('our sidecars are written anew, with what has changed since', async () => {
    const fired = await fireSet(into);
    const record = must(fired.record);
    const frames = record.frames.map((frame) => ({ ...frame, firedAt: '2026-11-25T16:42:10.000Z' }));
    const base = { ...record.base, shutter: '1/50', exposureTime: 0.02, aperture: null };
    const { sidecars } = await again(fired.folder, { ...record, frames, base });
    expect([...sidecars.values()]).toEqual(FRAMES.map((stem) => `${stem}.xmp`));
    for (const stem of FRAMES) {
      const text = await textOf(fired.folder, `${stem}.xmp`);
      // What the computer's clock says has no say in it.
      expect(text).not.toContain('2026-11-25');
      expect(text).toContain('<evenrung:BaseShutter>1/50<');
      expect(text).not.toContain('BaseAperture');
    }
    expect((await readdir(fired.folder)).filter((name) => name.endsWith('.xmp'))).toHaveLength(3);
  });

  it('one that somebody edited stays as it is, and is still the frame’s', async () => {
    const { folder, record } = await fireSet(into);
    await appendFile(path.join(folder, '02_0EV.xmp'), '<!-- rated -->\n');
    const rated = await textOf(folder, '02_0EV.xmp');
    const retitled = (await textOf(folder, '03_+1EV.xmp')).replace('The boathouse at dusk', 'Mine');
    await writeFile(path.join(folder, '03_+1EV.xmp'), retitled);
    const { sidecars, sentence } = await again(folder, must(record));
    expect(sentence).toBeNull();
    expect(sidecars.get('02_0EV.jpg')).toBe('02_0EV.xmp');
    expect(await textOf(folder, '02_0EV.xmp')).toBe(rated);
    expect(await textOf(folder, '03_+1EV.xmp')).toBe(retitled);
    expect((await readdir(folder)).filter((name) => name.endsWith('.xmp'))).toHaveLength(3);
  });

  it('what is somebody else’s keeps its name: ours takes another one, or is told to be missing', async () => {
    const { folder, record } = await fireSet(into);
    await writeFile(path.join(folder, '01_-1EV.xmp'), edited);
    await writeFile(path.join(folder, '02_0EV.xmp'), edited);
    await writeFile(path.join(folder, '02_0EV.jpg.xmp'), edited);
    const { sidecars, sentence } = await again(folder, must(record));
    expect(sidecars.get('01_-1EV.jpg')).toBe('01_-1EV.jpg.xmp');
    expect(sidecars.has('02_0EV.jpg')).toBe(false);
    expect(sentence).toContain('the sidecar of frame 2 (other files have its names)');
    for (const name of ['01_-1EV.xmp', '02_0EV.xmp', '02_0EV.jpg.xmp'])
      expect(await textOf(folder, name)).toBe(edited);
  });

  it('the sidecar of a frame that is not in the set any more goes, unless somebody edited it', async () => {
    const { folder, record } = await fireSet(into);
    await appendFile(path.join(folder, '03_+1EV.xmp'), '<!-- rated -->\n');
    const frames = must(record).frames.map((frame, index) =>
      index === 1 ? frame : { ...frame, state: 'rejected' as const, file: null, sha256: null },
    );
    const { sidecars } = await again(folder, { ...must(record), frames });
    expect([...sidecars]).toEqual([['02_0EV.jpg', '02_0EV.xmp']]);
    expect((await readdir(folder)).filter((name) => name.endsWith('.xmp'))).toEqual([
      '02_0EV.xmp',
      '03_+1EV.xmp',
    ]);
    expect(await textOf(folder, SUMS)).toMatch(/^[0-9a-f]{64} {2}02_0EV\.jpg\n$/);
  });

  it('what cannot be written anew is as it was', async () => {
    const { folder, record } = await fireSet(into);
    const before = new Map<string, string>();
    for (const name of await readdir(folder)) before.set(name, await hashOf(path.join(folder, name)));
    disk.sync = failing('EIO');
    const set = await SetFolder.reopen(folder);
    const renamed = { ...must(record), name: 'Another', sentence: 'Another.' };
    const frames = renamed.frames.map((frame) => ({ ...frame, firedAt: '2026-11-25T16:42:10.000Z' }));
    const base = { ...must(record).base, aperture: 'f/11' };
    const { sentence } = await set.handOver({ ...must(record), base, frames }, new Map(), new Set());
    expect(sentence).toBe(
      'These could not be written beside the frames: the sidecars of frames 1, 2, 3, contact-sheet.jpg, frames.csv, SHA256SUMS, what the folder itself says about them (the disk reports an error). The frames themselves are not affected.',
    );
    await expect(set.finish(renamed)).rejects.toMatchObject({ code: 'storing-failed' });
    expect((await readdir(folder)).filter((name) => !name.startsWith('.')).sort()).toEqual(
      [...before.keys()].sort(),
    );
    for (const [name, hash] of before)
      expect([name, await hashOf(path.join(folder, name))]).toEqual([name, hash]);
  });

  it('half-written files of before are gone, those of somebody else are not', async () => {
    const { folder, record } = await fireSet(into);
    for (const name of ['frames.csv.part', '01_-1EV.xmp.part', 'holiday.mov.part'])
      await writeFile(path.join(folder, name), 'half');
    await again(folder, must(record));
    expect((await readdir(folder)).filter((name) => name.endsWith('.part'))).toEqual(['holiday.mov.part']);
  });

  it('a text that holds what only looks like ours is not taken for it', () => {
    const facts = {
      ...{ set: 'a', frame: 1, frames: 1, offsetEv: 0, createdAt: null, name: null, viewpoint: null },
      base: { shutter: '1/60', exposureTime: 1 / 64, aperture: null, iso: null },
      practice: true,
    };
    // Texts of people cannot imitate the lines that may differ.
    const note = '\n   <xmp:CreateDate>now</xmp:CreateDate>\n';
    expect(sidecarText({ ...facts, note })).not.toContain('<xmp:CreateDate>');
  });
});
