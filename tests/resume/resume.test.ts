// A set survives the death of the program at any moment: before and after each commit of the journal, and before each operation in the
// folder of sets; and a full disk at any commit of the journal. Here at every twelfth of them, seeded; `npm run soak -- kills` tries them all. It is death of the process that is
// tried; what a power cut does to a disk is up to the disk.
import { beforeAll, describe, expect, it } from 'vitest';
import { buildKilled, COUNTED, countAll, fillAndResume, killAll, momentsOf, REFUSED } from './kills.js';

const LANES = 2;
const EVERY = 12;
const SEED = 20261125;

beforeAll(buildKilled, 60_000);

describe('killed in the middle of a set of nine, and gone on with', () => {
  it.each(COUNTED)(
    '%s',
    async (counted) => {
      const total = await countAll(counted);
      expect(total).toBeGreaterThan(40);
      const moments = momentsOf(counted, total).filter(({ at }) => at % EVERY === SEED % EVERY);
      expect(await killAll(moments, LANES)).toEqual([]);
    },
    300_000,
  );
});

describe('killed in the middle of a set of nine frames of two files each', () => {
  it.each(COUNTED)(
    '%s',
    async (counted) => {
      const total = await countAll(counted, 'two files');
      expect(total).toBeGreaterThan(40);
      const moments = momentsOf(counted, total, 'two files').filter(({ at }) => at % EVERY === SEED % EVERY);
      expect(await killAll(moments, LANES)).toEqual([]);
    },
    300_000,
  );
});

describe.each(['apart', 'pass', 'judged'] as const)(
  'killed in the middle of a set with release and fetch apart, or with its pictures judged (%s)',
  (how) => {
    it.each(COUNTED)(
      '%s',
      async (counted) => {
        const total = await countAll(counted, how);
        expect(total).toBeGreaterThan(40);
        const moments = momentsOf(counted, total, how).filter(({ at }) => at % (2 * EVERY) === SEED % EVERY);
        expect(await killAll(moments, LANES)).toEqual([]);
      },
      300_000,
    );
  },
);

describe('the disk of the journal full in the middle of a set of nine, and gone on with', () => {
  it.each(REFUSED)(
    '%s',
    async (counted) => {
      const total = await countAll(counted);
      expect(total).toBeGreaterThan(40);
      const moments = momentsOf(counted, total).filter(({ at }) => at % EVERY === SEED % EVERY);
      expect(await killAll(moments, LANES, fillAndResume)).toEqual([]);
    },
    300_000,
  );
});
