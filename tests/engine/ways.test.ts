// The choice of what is kept short goes with a run: over the sets of a schedule, over a restart, and into a set that is taken up again.
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { readSetRecord } from '../../shared/set-record.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import type { BodyLimits } from '../../src/exposure/index.js';
import { Journal } from '../../src/journal/index.js';
import type { Station } from '../../src/station/index.js';
import { Hands } from '../harness/hands.js';
import { DyingLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';

/** Eight frames: by time brackets of three and of five about where the body stands, by spread twice five, which is set once. */
const EIGHT = { frames: 8, step: 1, base: '1/60', release: 'frame' } as const;
/** A change takes longer than two frames; invented. */
const slowToSet = (limits: BodyLimits): BodyLimits => ({
  ...limits,
  ...{ secondsPerChange: 2, secondsPerFrame: 0.1 },
});

let root = '';
let journal: Journal;
let body: PracticeBody;
let hands: Hands;
let opened: Station[] = [];
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
  const patterns = [
    [0, -1, 1],
    [0, -1, 1, -2, 2],
  ];
  body = new PracticeBody({ ...AT_ONCE, shape: 'pattern', patterns });
  hands = new Hands();
  opened = [];
});
afterEach(async () => {
  for (const one of opened) await one.close();
  journal.close();
  await rm(root, { recursive: true, force: true });
});

async function station(link: PracticeLink) {
  const made = await openStation(root, link, {
    ...{ journal, clock: hands, sleep: hands.sleep, narrow: slowToSet },
  });
  // One whose shutter never comes back cannot be closed.
  if (!(link instanceof DyingLink)) opened.push(made.station);
  return made;
}

/** By set, in the order of their numbers, the frames of each pass. */
async function passesOf(): Promise<number[][]> {
  const into = path.join(root, 'sets');
  const records = await Promise.all(
    (await readdir(into)).map(async (name) =>
      readSetRecord(await readFile(path.join(into, name, 'set.json'), 'utf8')),
    ),
  );
  return records
    .map(({ record }) => record)
    .sort((a, b) => (a.setNumber ?? 0) - (b.setNumber ?? 0))
    .map(({ passes }) => passes.map(({ frames }) => frames.length));
}

const inOrder = (passes: number[] | undefined) => [...(passes ?? [])].sort();

describe('a run that was begun for the least spread', () => {
  it('has it in every set of its schedule, and in the journal; another run does not', async () => {
    const { station: one, events } = await station(new PracticeLink(body));
    const { id } = await one.start({ ...EIGHT, least: 'spread', schedule: { every: '4min', count: 2 } });
    await one.settled();
    expect(events.state.schedule).toMatchObject({ state: 'complete', complete: 2 });
    expect(journal.run(id)?.request).toMatchObject({ release: 'frame', least: 'spread' });
    await one.start(EIGHT);
    await one.settled();
    const [first, ...others] = await passesOf();
    const all = [first, ...others].map(inOrder).sort();
    expect(all).toEqual([
      [3, 3, 5],
      [5, 5],
      [5, 5],
    ]);
  });

  it('has it after a restart: in the set that was cut off, and in those to come', async () => {
    const { station: dying, events: before } = await station(new DyingLink(body, 6));
    const isThere = new Promise<void>((resolve) => {
      let verified = 0;
      before.watch(({ happening }) => {
        if (happening.type !== 'frame' || happening.frame.state !== 'verified') return;
        verified += 1;
        if (verified === 5) resolve();
      });
    });
    await dying.start({ ...EIGHT, least: 'spread', schedule: { every: '4min', count: 2 } });
    await isThere;
    const { station: next, events } = await station(new PracticeLink(body));
    await next.resume();
    await next.settled();
    expect(events.state.schedule).toMatchObject({ state: 'complete', complete: 2 });
    expect((await passesOf()).map(inOrder)).toEqual([
      [5, 5],
      [5, 5],
    ]);
    expect(events.state.run?.plan.release).toBe('frame');
  });
});
