// A body that makes two files of each frame, a raw file and a JPEG: in sets that are really fired.
import { copyFile, mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterAll, afterEach, beforeEach, describe, expect, it } from 'vitest';
import { Body, type FiredFrame } from '../../src/camera/index.js';
import { checkSet, exifTool, parseSums } from '../../src/frames/index.js';
import { missingPartners } from '../../src/set/book/lacking.js';
import { ASKED } from '../asked.js';
import { bringsLate, cutShort, makesPairs, PairLink, type PairOfFiles } from '../harness/pair-link.js';
import { type FiredSet, fireSet, marksOf, type SetOptions } from '../harness/set.js';

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(into, { recursive: true, force: true });
});
afterAll(() => exifTool.end());

/** A body whose bracket is off all the time: its frames are fired from dark to light. */
const singly = (): PairLink => new PairLink({ shape: 'none' });

async function fire(link: PairLink, options: SetOptions = {}): Promise<FiredSet> {
  const body = options.body ?? (await Body.meet(link));
  bringsLate(body, link);
  return fireSet(into, { frames: 3, ...options, body });
}

const framesOf = ({ record }: FiredSet) => record?.frames ?? [];
/** What each frame has, its own file first; `-` for one that is missing. */
const filesOf = (set: FiredSet) =>
  framesOf(set).map(({ file, partner }) => [
    file,
    ...(partner === undefined ? [] : [partner.state === 'there' ? partner.file : '-']),
  ]);
/** Marks of frames, but for what the scene gives. */
const oddIn = (set: FiredSet) => marksOf(framesOf(set)).filter(([, code]) => !code.startsWith('clipped'));
const sentenceOf = (set: FiredSet, code: string): string | undefined =>
  framesOf(set)
    .flatMap(({ marks }) => marks)
    .find((mark) => mark.code === code)?.sentence;
const findingsIn = async ({ folder }: FiredSet) =>
  (await checkSet(folder)).findings.map(({ code, severity, frame }) => [code, severity, frame]);

const PAIRS = [
  ['01_-1EV.dng', '01_-1EV.jpg'],
  ['02_0EV.dng', '02_0EV.jpg'],
  ['03_+1EV.dng', '03_+1EV.jpg'],
];

/** Writes what a JPEG records anew. */
async function recordAnew({ path: file }: FiredFrame, exif: Record<string, string>): Promise<void> {
  await writeFile(file, await sharp(file).keepExif().withExifMerge({ IFD2: exif }).jpeg().toBuffer());
}

describe('a set of which each frame is two files', () => {
  it('has both under one name, both with their sums and sidecars, and nothing is odd', async () => {
    const set = await fire(new PairLink());
    expect([set.state, filesOf(set), oddIn(set)]).toEqual(['complete', PAIRS, []]);
    const beside = ['SHA256SUMS', 'contact-sheet.jpg', 'frames.csv', 'set.json'];
    const sidecars = PAIRS.flatMap(([, jpeg = '']) => [jpeg.replace('.jpg', '.xmp'), `${jpeg}.xmp`]);
    expect(set.files).toEqual([...PAIRS.flat(), ...sidecars, ...beside].sort());
    for (const { sha256, bytes, recorded, sidecar, partner } of framesOf(set)) {
      if (partner?.state !== 'there') throw new Error('It has no partner.');
      expect([sha256, partner.sha256]).toEqual([expect.any(String), expect.any(String)]);
      expect(partner.sha256).not.toBe(sha256);
      expect(partner.bytes).not.toBe(bytes);
      expect(partner.recorded?.iso).toBe(recorded?.iso);
      expect(sidecar).not.toBe(partner.sidecar);
    }
    expect(await findingsIn(set)).toEqual([]);
    const sums = parseSums(await readFile(path.join(set.folder, 'SHA256SUMS'), 'utf8'));
    expect(sums.map(({ file }) => file)).toEqual(PAIRS.flat());
    const [, first] = (await readFile(path.join(set.folder, 'frames.csv'), 'utf8')).split('\r\n');
    expect(first).toContain(',01_-1EV.dng,');
    expect(first).toContain(',01_-1EV.jpg,');
    // One release a frame.
    expect(framesOf(set).map(({ attempts }) => attempts)).toEqual([1, 1, 1]);
  });

  it('tells both with the event that verifies the frame', async () => {
    const { events } = await fire(new PairLink());
    const verified = events.flatMap(({ happening }) =>
      happening.type === 'frame' && happening.frame.state === 'verified' ? [happening.frame] : [],
    );
    expect(verified).toHaveLength(3);
    for (const { partner } of verified) expect(partner?.state).toBe('there');
  });

  it('is looked at by its JPEG: a raw file without anything to look at does not matter', async () => {
    const link = new PairLink();
    link.inRaw = () => ({ preview: Buffer.alloc(0) });
    const set = await fire(link);
    expect(framesOf(set).map(({ clipped }) => clipped)).not.toContain(null);
    expect(set.run.thumbnail(1)).not.toBeNull();
    expect(set.record?.ratios.map(({ ev }) => ev)).not.toContain(null);
  });

  it('knows how large a frame is by both', async () => {
    const { run, record } = await fire(new PairLink());
    const [first] = record?.frames ?? [];
    const partner = first?.partner;
    if (partner?.state !== 'there') throw new Error('It has no partner.');
    expect(run.fileBytes[0]).toBe((first?.bytes ?? 0) + (partner.bytes ?? 0));
  });

  it('in aperture priority, too', async () => {
    const link = new PairLink();
    await link.of.change('mode', 'aperture');
    const set = await fire(link, { mode: 'aperture' });
    expect([set.state, filesOf(set), oddIn(set)]).toEqual(['complete', PAIRS, []]);
    expect(await findingsIn(set)).toEqual([]);
  });

  it.each([true, false])(
    'one file after the other, with what the camera calls them: %s',
    async (tellsNames) => {
      const link = singly();
      link.tellsNames = tellsNames;
      const rest: FiredFrame[] = [];
      link.comes = (_, { raw, jpeg }) => {
        rest.push(raw);
        return jpeg;
      };
      const body = await Body.meet(link);
      const { releaseShutter } = body;
      body.releaseShutter = async (options) => {
        const { files, failure } = await releaseShutter.call(body, options);
        return { files: [...files, ...rest.splice(0)], failure };
      };
      const set = await fireSet(into, { frames: 3, body });
      expect([set.state, filesOf(set), oddIn(set)]).toEqual(['complete', PAIRS, []]);
    },
  );
});

describe('a frame of which only one file has come', () => {
  it.each([
    ['the raw file', 'raw', '02_0EV.dng', 'DNG'],
    ['the JPEG', 'jpeg', '02_0EV.jpg', 'JPG'],
  ] as const)(
    '%s alone: it stands, is marked, and tells what is missing',
    async (words, which, name, extension) => {
      const link = singly();
      link.comes = (count, { raw, jpeg }) => (count === 2 ? { raw, jpeg }[which] : { ...raw, partner: jpeg });
      const set = await fire(link);
      expect([set.state, filesOf(set)[1], link.releases]).toEqual(['complete', [name, '-'], 3]);
      expect(oddIn(set)).toEqual([[2, 'partner-missing']]);
      expect(sentenceOf(set, 'partner-missing')).toBe(
        `Only ${words} of its two files has come. The other one may be on the camera's card.`,
      );
      expect(missingPartners(set.run.view.frames)).toEqual(
        [{ frame: 2, kind: extension.toLowerCase(), beside: `EVRG0002.${extension}` }].map((one) => ({
          ...one,
          kind: name.slice(-3),
        })),
      );
      expect(await findingsIn(set)).toEqual([['partner-missing', 'note', 2]]);
    },
  );

  it('each of them, where the body says that it makes two', async () => {
    const link = singly();
    link.comes = (_, { jpeg }) => jpeg;
    const body = await Body.meet(link);
    makesPairs(body);
    const set = await fire(link, { body });
    expect([set.state, oddIn(set).map(([, code]) => code)]).toEqual([
      'complete',
      Array(3).fill('partner-missing'),
    ]);
  });

  it('also those before the first pair, where the body does not say', async () => {
    const link = singly();
    link.comes = (count, { raw, jpeg }) => (count < 3 ? raw : { ...raw, partner: jpeg });
    const set = await fire(link);
    expect(oddIn(set)).toEqual([
      [1, 'partner-missing'],
      [2, 'partner-missing'],
    ]);
    expect(missingPartners(set.run.view.frames).map(({ beside }) => beside)).toEqual([
      'EVRG0001.DNG',
      'EVRG0002.DNG',
    ]);
  });

  it('none, where the body makes one', async () => {
    const link = singly();
    link.comes = (_, { raw }) => raw;
    const set = await fire(link);
    expect([set.state, filesOf(set), oddIn(set)]).toEqual(['complete', PAIRS.map(([raw]) => [raw]), []]);
  });

  it('is not held to the size of the other kind: a JPEG may be smaller than its raw file', async () => {
    const link = singly();
    link.comes = async (count, { raw, jpeg }) => {
      await writeFile(jpeg.path, await sharp(jpeg.path).resize(150).keepExif().jpeg().toBuffer());
      return count === 2 ? jpeg : { ...raw, partner: jpeg };
    };
    const set = await fire(link);
    expect([set.state, link.releases, oddIn(set)]).toEqual(['complete', 3, [[2, 'partner-missing']]]);
  });
});

describe('a second file that will not do', () => {
  const withSecond = (spoil: (pair: PairOfFiles) => Promise<void>): PairLink => {
    const link = singly();
    link.comes = async (count, pair) => {
      if (count === 2) await spoil(pair);
      return { ...pair.raw, partner: pair.jpeg };
    };
    return link;
  };

  it('cut short: it is set aside, the frame stands and is marked', async () => {
    const link = withSecond(({ jpeg }) => cutShort(jpeg));
    const set = await fire(link);
    expect([set.state, link.releases, filesOf(set)[1]]).toEqual(['complete', 3, ['02_0EV.dng', '-']]);
    expect(oddIn(set)).toEqual([[2, 'partner-missing']]);
    expect(sentenceOf(set, 'partner-missing')).toMatch(
      /^Only the raw file of its two files is in the set\. The JPEG was set aside\. The file that came back is cut short or broken: .* The camera's card may still have it\.$/,
    );
    expect(set.record?.setAside.map(({ file }) => file)).toEqual(['set-aside/frame-02.jpg']);
    // Its raw file has a preview, which is looked at instead.
    expect(framesOf(set)[1]?.clipped).not.toBeNull();
  });

  it('no picture at all', async () => {
    const set = await fire(withSecond(({ jpeg }) => writeFile(jpeg.path, 'boathouse')));
    expect([set.state, filesOf(set)[1]]).toEqual(['complete', ['02_0EV.dng', '-']]);
    expect(sentenceOf(set, 'partner-missing')).toContain('The file that came back is not a picture.');
  });

  it.each([
    ['time', { ExposureTime: '1/30' }, 'It records 1/30 s, but the frame’s own file records 1/60 s.'],
    ['aperture', { FNumber: '11/1' }, 'It records f/11, but the frame’s own file records f/8.'],
    ['ISO', { ISOSpeedRatings: '400' }, 'It records ISO 400, but the frame’s own file records ISO 100.'],
    ['bias', { ExposureBiasValue: '1/1' }, 'It records +1 EV, but the frame’s own file records 0 EV.'],
    [
      'moment',
      { DateTimeOriginal: '2026:01:02 03:04:05', SubSecTimeOriginal: '000' },
      'It records 2026-01-02 03:04:05.000, but',
    ],
  ] as const)('of another %s: it is not of this exposure', async (_, exif, words) => {
    const set = await fire(withSecond(({ jpeg }) => recordAnew(jpeg, exif)));
    expect([set.state, filesOf(set)[1], framesOf(set)[1]?.attempts]).toEqual([
      'complete',
      ['02_0EV.dng', '-'],
      1,
    ]);
    expect(sentenceOf(set, 'partner-missing')).toContain(words.replaceAll('’', "'"));
    expect(set.record?.setAside.map(({ file }) => file)).toEqual(['set-aside/frame-02.jpg']);
  });

  it('of another size than those of the other frames: marked, and taken', async () => {
    const set = await fire(
      withSecond(async ({ jpeg }) =>
        writeFile(jpeg.path, await sharp(jpeg.path).resize(150).keepExif().jpeg().toBuffer()),
      ),
    );
    expect([set.state, filesOf(set), oddIn(set)]).toEqual(['complete', PAIRS, [[2, 'partner-odd']]]);
    expect(sentenceOf(set, 'partner-odd')).toBe(
      'One of its two files, the JPEG, is odd: It has 150 x 100 pixels, and those of the other frames have 300 x 200.',
    );
  });

  it('the raw file cut short: the frame is fired again, and both are set aside', async () => {
    const link = withSecond(({ raw }) => cutShort(raw));
    const set = await fire(link);
    expect([set.state, link.releases, filesOf(set), oddIn(set)]).toEqual(['complete', 4, PAIRS, []]);
    expect(set.record?.setAside.map(({ file }) => file)).toEqual([
      'set-aside/frame-02.dng',
      'set-aside/frame-02.jpg',
    ]);
    expect(await findingsIn(set)).toEqual([]);
  });

  it('the raw file of a wrong exposure: it is the one that decides', async () => {
    const link = singly();
    link.inRaw = (count) => (count === 2 ? { iso: 400 } : {});
    const set = await fire(link);
    expect([set.state, link.releases, filesOf(set)]).toEqual(['complete', 4, PAIRS]);
    expect(set.record?.setAside.map(({ reason }) => reason)).toEqual(
      Array(2).fill('The ISO is 400, but 100 was set.'),
    );
  });

  it('of the same kind as the first: two files of one name there cannot be', async () => {
    const link = singly();
    link.comes = async (count, { raw, jpeg }) => {
      if (count !== 2) return { ...raw, partner: jpeg };
      const other = { ...jpeg, path: `${jpeg.path}-other`, cameraName: 'EVRG0002.JPE' };
      await copyFile(jpeg.path, other.path);
      return { ...jpeg, partner: other };
    };
    const set = await fire(link);
    expect([set.state, filesOf(set)[1]]).toEqual(['complete', ['02_0EV.jpg', '-']]);
    expect(sentenceOf(set, 'partner-missing')).toContain('Both files of the frame are of the same kind.');
  });
});

describe('a second file that comes with the next release', () => {
  it.each([
    ['the JPEG', 'jpeg', true],
    ['the JPEG', 'jpeg', false],
    ['the raw file', 'raw', true],
    ['the raw file', 'raw', false],
  ] as const)('%s (%s) joins its frame; the link tells names: %s', async (_, which, tellsNames) => {
    const link = singly();
    link.tellsNames = tellsNames;
    link.comes = (count, { raw, jpeg }) => {
      if (count > 2) return { ...raw, partner: jpeg };
      link.late.push({ raw, jpeg }[which]);
      return which === 'raw' ? jpeg : raw;
    };
    const set = await fire(link);
    expect([set.state, link.releases, filesOf(set), oddIn(set)]).toEqual(['complete', 3, PAIRS, []]);
    expect(set.record?.setAside).toEqual([]);
    expect(await findingsIn(set)).toEqual([]);
    expect(missingPartners(set.run.view.frames)).toEqual([]);
  });

  it('after its frame was verified, and marked for it: the mark goes', async () => {
    const link = singly();
    const waiting: FiredFrame[] = [];
    const body = await Body.meet(link);
    makesPairs(body);
    link.comes = async (count, { raw, jpeg }) => {
      if (count === 1) {
        waiting.push(jpeg);
        return raw;
      }
      return { ...raw, partner: jpeg };
    };
    const seen: string[][] = [];
    let verified = () => undefined as unknown;
    const isVerified = new Promise((resolve) => {
      verified = () => resolve(null);
    });
    // The late file is taken before the third one is released.
    link.beforeFire = async (count) => {
      if (count === 2) await isVerified;
    };
    const set = await fire(link, {
      body,
      during: ({ happening }) => {
        if (happening.type !== 'frame' || happening.frame.number !== 1) return;
        if (happening.frame.state !== 'verified') return;
        link.late.push(...waiting.splice(0));
        verified();
        seen.push(happening.frame.marks.map(({ code }) => code).filter((code) => code.startsWith('partner')));
      },
    });
    expect([set.state, filesOf(set), oddIn(set)]).toEqual(['complete', PAIRS, []]);
    expect(seen).toEqual([['partner-missing'], []]);
  });

  it('and will not do: it is set aside, and the mark says why', async () => {
    const link = singly();
    link.comes = async (count, { raw, jpeg }) => {
      if (count !== 1) return { ...raw, partner: jpeg };
      await recordAnew(jpeg, { ISOSpeedRatings: '800' });
      link.late.push(jpeg);
      return raw;
    };
    const set = await fire(link);
    expect([set.state, link.releases, filesOf(set)[0]]).toEqual(['complete', 3, ['01_-1EV.dng', '-']]);
    expect(sentenceOf(set, 'partner-missing')).toContain('It records ISO 800');
    expect(set.record?.setAside.map(({ file }) => file)).toEqual(['set-aside/frame-01.jpg']);
  });

  it('the raw file, cut short: the JPEG stays the frame', async () => {
    const link = singly();
    link.comes = async (count, { raw, jpeg }) => {
      if (count !== 1) return { ...raw, partner: jpeg };
      await cutShort(raw);
      link.late.push(raw);
      return jpeg;
    };
    const set = await fire(link);
    expect([set.state, link.releases, filesOf(set)[0]]).toEqual(['complete', 3, ['01_-1EV.jpg', '-']]);
    expect(sentenceOf(set, 'partner-missing')).toMatch(
      /^Only the JPEG of its two files is in the set\. The raw file was set aside\. /,
    );
    expect(set.record?.setAside.map(({ file }) => file)).toEqual(['set-aside/frame-01.dng']);
  });

  it('of a frame whose first file was rejected: no frame is made of it', async () => {
    const link = singly();
    link.comes = async (count, { raw, jpeg }) => {
      if (count !== 1) return { ...raw, partner: jpeg };
      await cutShort(raw);
      link.late.push(jpeg);
      return raw;
    };
    const set = await fire(link);
    expect([set.state, link.releases, filesOf(set), oddIn(set)]).toEqual(['complete', 4, PAIRS, []]);
    expect(set.record?.setAside.map(({ file }) => file)).toEqual([
      'set-aside/frame-01.dng',
      'set-aside/frame-01.jpg',
    ]);
    expect(set.record?.setAside[1]?.reason).toBe(
      'The other file of frame 1, from an earlier shot of it that is no longer in the set.',
    );
  });

  it('of a camera that gives a name more than once: it joins the frame whose exposure it has', async () => {
    const link = singly();
    const named = (file: FiredFrame, extension: string) => ({ ...file, cameraName: `EVRG0001.${extension}` });
    link.comes = (count, pair) => {
      const [raw, jpeg] = [named(pair.raw, 'DNG'), named(pair.jpeg, 'JPG')];
      if (count === 3) return { ...raw, partner: jpeg };
      link.late.push(jpeg);
      return raw;
    };
    const set = await fire(link);
    expect([set.state, filesOf(set), oddIn(set)]).toEqual(['complete', PAIRS, []]);
  });
});

it('nothing is left among the arrivals, and no name is taken twice', async () => {
  const { folder } = await fire(new PairLink(), { frames: 5 });
  const names = await readdir(folder);
  expect(names.filter((name) => name.startsWith('.'))).toEqual([]);
  expect(names.filter((name) => /_2\./.test(name))).toEqual([]);
});

describe('readiness', () => {
  /** A link that takes release and fetch apart, over a body that is set to two files. */
  async function met(apart: boolean): Promise<Body> {
    const link = new PairLink();
    await link.of.change('format', 'raw-and-jpeg');
    const { readLimits } = link;
    const library = 'a library of this test';
    link.readLimits = async () => ({
      ...(await readLimits.call(link)),
      apart: apart ? { library, pieceBytes: 1, headBytes: 0, bytesPerSecond: 1 } : null,
    });
    return Body.meet(link);
  }
  const formatOf = (body: Body) => body.readiness(ASKED).find(({ code }) => code === 'format');

  it('lets two files a frame pass where the link tells of every file, and knows that there are two', async () => {
    const body = await met(true);
    expect([formatOf(body)?.mark, body.makesPairs]).toEqual(['fine', true]);
    await body.makeReady(ASKED);
  });

  it('stops over any other link', async () => {
    const body = await met(false);
    expect([formatOf(body)?.mark, body.makesPairs]).toEqual(['stops', false]);
    await expect(body.makeReady(ASKED)).rejects.toMatchObject({ code: 'body-not-ready' });
  });
});
