// Sets of two files a frame over a link that takes release and fetch apart, where every file is told of by its name: the practice body in this
// process, set to raw and JPEG.
import { mkdtemp, readdir, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterAll, afterEach, beforeEach, describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import type { KeptSetRecord } from '../../shared/set-record.js';
import type { MadeFile } from '../../src/camera/index.js';
import { PracticeBody } from '../../src/camera/practice/model.js';
import { PRACTICE_SHAPES, type PracticeOptions } from '../../src/camera/practice/shapes.js';
import { checkSet, exifTool } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { ApartTestLink } from '../harness/links.js';
import { recordIn } from '../harness/set.js';
import { openStation } from '../harness/station.js';

const QUICK = { change: 0, changePerSetting: 0, releaseLag: 0.01, cycle: 0.02, exposureScale: 0.05 };
const FIVE = { frames: 5, step: 1, base: '1/60' };
const OFFSETS = ['-2', '-1', '0', '+1', '+2'];
const PAIRS = OFFSETS.map((offset, index) =>
  ['dng', 'jpg'].map((kind) => `0${index + 1}_${offset}EV.${kind}`),
);

let root = '';
let journal: Journal;
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
});
afterEach(async () => {
  journal.close();
  await rm(root, { recursive: true, force: true });
});
afterAll(() => exifTool.end());

async function pairsOf(options: Partial<PracticeOptions> = {}) {
  const body = new PracticeBody({ timing: QUICK, picture: 'small', ...options });
  await body.change('format', 'raw-and-jpeg');
  await body.change('target', 'card');
  return { body, link: new ApartTestLink(body) };
}

async function fired(link: ApartTestLink, request: object = FIVE) {
  const { station, events } = await openStation(root, link, { journal });
  await station.start(request);
  await station.settled();
  await station.close();
  return { run: events.state.run, ...(await kept()) };
}

async function kept() {
  const [set = ''] = await readdir(path.join(root, 'sets'));
  const folder = path.join(root, 'sets', set);
  const record = await recordIn(folder);
  if (record === null) throw new Error('There is no record.');
  const { findings } = await checkSet(folder);
  return { record, files: filesOf(record), findings: findings.map(({ code }) => code) };
}

const filesOf = ({ frames }: KeptSetRecord) =>
  frames.map(({ file, partner }) => [
    file,
    ...(partner === undefined ? [] : [partner.state === 'there' ? partner.file : '-']),
  ]);
const lost = () => new EvenrungError('body-lost', 'The cable was pulled.');
const isOf = (kind: string, count: number, { name }: MadeFile) => name === `IMG_000${count}.${kind}`;

describe.each(PRACTICE_SHAPES)('a body of the shape %s', (shape) => {
  it.each(['raw-first', 'jpeg-first'] as const)(
    'that tells of both files, %s: each frame has both',
    async (pairOrder) => {
      const { body, link } = await pairsOf({ shape, pairOrder });
      const { run, record, files, findings } = await fired(link);
      expect([run?.state, files, findings]).toEqual(['complete', PAIRS, []]);
      expect([body.shots.length, record.setAside, record.strays]).toEqual([5, [], []]);
    },
  );

  it('whose second file takes its time', async () => {
    const { body, link } = await pairsOf({ shape, secondFileLater: 0.05 });
    const { run, record, files, findings } = await fired(link);
    expect([run?.state, files, findings]).toEqual(['complete', PAIRS, []]);
    expect([body.shots.length, record.setAside]).toEqual([5, []]);
  });

  it.each(['DNG', 'JPG'])(
    'whose link fails before the %s of a frame: it is fetched, and joins its frame',
    async (kind) => {
      const { body, link } = await pairsOf({ shape });
      let failures = 0;
      link.beforeBring = ({ file }) => {
        if (!isOf(kind, 3, file) || failures > 0) return;
        failures += 1;
        throw lost();
      };
      const { run, record, files, findings } = await fired(link);
      expect([failures, run?.state, files, findings]).toEqual([1, 'complete', PAIRS, []]);
      expect([body.shots.length, record.setAside, record.strays]).toEqual([5, [], []]);
    },
  );

  it.each(['DNG', 'JPG'])(
    'that does not tell of one %s: it is found on the card by its name, once the set is made',
    async (kind) => {
      const { body, link } = await pairsOf({ shape });
      link.hear = (heard) => ({ ...heard, made: heard.made.filter((file) => !isOf(kind, 3, file)) });
      const { run, record, files, findings } = await fired(link);
      expect([run?.state, files, findings]).toEqual(['complete', PAIRS, []]);
      expect([body.shots.length, record.setAside, record.strays]).toEqual([5, [], []]);
      expect(record.frames.flatMap(({ marks }) => marks.map(({ code }) => code))).not.toContain(
        'partner-missing',
      );
    },
  );

  it.each([
    ['DNG', 'jpg'],
    ['JPG', 'dng'],
  ])(
    'that does not tell of one %s, and loses it: the frame stands with the other file, and says so',
    async (kind, there) => {
      const { body, link } = await pairsOf({ shape });
      link.hear = (heard) => {
        const lostOne = body.files.find((file) => isOf(kind, 3, { ...file, bytes: null }));
        if (lostOne !== undefined) body.delete(lostOne);
        return { ...heard, made: heard.made.filter((file) => !isOf(kind, 3, file)) };
      };
      const { run, record, files } = await fired(link);
      const lone = files.filter(([, partner]) => partner === '-');
      expect([run?.state, lone.length, lone[0]?.[0]?.endsWith(there)]).toEqual(['complete', 1, true]);
      expect(body.shots).toHaveLength(5);
      const frame = record.frames.find(({ partner }) => partner?.state === 'missing');
      expect(frame?.marks.map(({ code }) => code)).toContain('partner-missing');
      expect(frame?.partner).toEqual({ state: 'missing', beside: `IMG_0003.${there.toUpperCase()}` });
    },
  );
});

it('whole passes from one release: each frame of the burst has both files', async () => {
  for (const shape of PRACTICE_SHAPES.filter((one) => one !== 'none')) {
    const { body, link } = await pairsOf({ shape });
    const { station } = await openStation(path.join(root, shape), link, {});
    await station.start({ frames: 9, step: 1, base: '1/60', release: 'pass' });
    await station.settled();
    await station.close();
    const [set = ''] = await readdir(path.join(root, shape, 'sets'));
    const folder = path.join(root, shape, 'sets', set);
    const record = await recordIn(folder);
    expect([shape, record?.complete, body.shots.length, record?.setAside]).toEqual([shape, true, 9, []]);
    expect(record?.frames.map(({ partner }) => partner?.state)).toEqual(Array(9).fill('there'));
    expect((await checkSet(folder)).findings).toEqual([]);
  }
});
