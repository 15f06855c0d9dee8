// Sets on a computer on which a process beside the program cannot be begun, or ends at once: they are fired and end as they should, and what is not
// known is said.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, it, onTestFinished } from 'vitest';
import { pictures } from '../../src/frames/decode/pictures.js';
import { exifTool } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { HeldProcess } from '../../src/light/held-process.js';
import { judgeOn } from '../../src/light/judge.js';
import { endedSet, recordIn } from '../harness/ended-set.js';
import { TestLink } from '../harness/links.js';
import { type OpenOptions, openStation } from '../harness/station.js';

const ASKED = { frames: 7, step: 1, base: '1/60' };

let root = '';
let journal: Journal;
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
  await writeFile(path.join(root, 'ends.cjs'), 'process.exit(1);');
});
afterEach(async () => {
  journal.close();
  await exifTool.end();
  await rm(root, { recursive: true, force: true });
});

async function fired(options: OpenOptions) {
  const link = new TestLink();
  const made = { ...(await openStation(root, link, { journal, ...options })), link };
  const { station } = made;
  onTestFinished(() => station.close());
  const set = await endedSet(journal, made, ASKED);
  await station.proved();
  return { ...made, set, record: await recordIn(set), stored: journal.set(set.id) };
}

it.each([
  ['is not there', 'none.js', /cannot be begun: there is no none\.js/],
  ['ends at once', 'ends.cjs', /ended 4 times by itself within 60 s, and is not begun again for a while/],
] as const)(
  'the process that looks at pictures %s: the set is complete, and each frame says why it was not judged',
  async (_, name, words) => {
    const held = new HeldProcess({ entry: path.join(root, name) });
    const { record, stored } = await fired({ openJudge: () => judgeOn(held) });
    expect([record.complete, stored?.state, stored?.error]).toEqual([true, 'complete', null]);
    expect(
      stored?.frames.every(({ view: { state, attempts } }) => state === 'verified' && attempts === 1),
    ).toBe(true);
    expect(record.light?.frames).toHaveLength(7);
    for (const { unread } of record.light?.frames ?? []) expect(unread).toMatch(/^It could not be judged: /);
    expect(record.light?.frames.at(-1)?.unread).toMatch(words);
    expect(record.light?.sentence).toMatch(words);
    expect(record.light?.proof).toMatchObject({ isMade: false, sentence: expect.stringMatching(words) });
    if (name === 'ends.cjs') expect(held.epoch).toBe(4);
  },
);

it('the process that decodes pictures ends at once: the set is complete, nothing is fired again, and a note says what is not known', async () => {
  const { side } = pictures;
  const inside = side as unknown as { options: Record<string, unknown> };
  const before = inside.options;
  await side.end();
  inside.options = { ...before, entry: path.join(root, 'ends.cjs') };
  const epoch = side.epoch;
  onTestFinished(() => {
    inside.options = before;
    Object.assign(pictures, { restsUntil: 0 });
  });
  const { record, stored } = await fired({});
  expect([record.complete, stored?.state, stored?.error]).toEqual([true, 'complete', null]);
  for (const { view } of stored?.frames ?? [])
    expect(view).toMatchObject({ state: 'verified', attempts: 1, clipped: null });
  expect(record.notes.filter((note) => !note.startsWith('This laptop may fall asleep'))).toEqual([
    expect.stringMatching(
      /^The pictures of this set could not be opened, because the process that decodes them/,
    ),
    expect.stringMatching(/^These could not be written beside the frames: contact-sheet\.jpg \(/),
  ]);
  // Beforehand, for the first frame and once more for it, and without any picture.
  expect(side.epoch - epoch).toBeLessThanOrEqual(4);
});
