// A set that is completed, or of which frames are fired again, survives the death of the program at any moment: before and after each
// commit of the journal, and before each operation in the folder of sets. Here at some of them, seeded; `npm run soak -- kills` tries
// them all.
import { rm } from 'node:fs/promises';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildKilled, COUNTED, momentsOf } from './kills.js';
import { countTaking, type Ended, killAllTakings, makeEnded, TAKINGS } from './kills-again.js';

const LANES = 2;
const EVERY = 30;
const SEED = 20261127;

beforeAll(buildKilled, 60_000);

describe.each(TAKINGS)('killed in the middle, and gone on with: %s', (taking) => {
  let ended: Ended;
  beforeAll(async () => {
    ended = await makeEnded(taking);
  }, 60_000);
  afterAll(() => rm(ended.root, { recursive: true, force: true }));

  it.each(COUNTED)(
    '%s',
    async (counted) => {
      const total = await countTaking(ended, counted);
      expect(total).toBeGreaterThan(25);
      const moments = momentsOf(counted, total).filter(({ at }) => at % EVERY === SEED % EVERY);
      expect(await killAllTakings(ended, moments, LANES)).toEqual([]);
    },
    300_000,
  );
});
