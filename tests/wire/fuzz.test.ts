// 300 seeded mutations of the containers of a body for each way to the real library, between the two: whatever the library makes of them, the
// daemon's side of the camera process goes on. `npm run soak -- wire` does the same for 5,000 others.
import { expect, test } from 'vitest';
import { WAYS } from './linked-body.js';
import { counted, fuzz } from './ptp/fuzz-run.js';

const MUTATIONS = 300;

test.each(WAYS)(
  'a body that talks nonsense (%s): every call ends in time, in a value or a sentence; one process at most, none left',
  async (way) => {
    const { fuzzed, left } = await fuzz({ way, from: 1, count: MUTATIONS });
    console.log(counted(fuzzed));
    expect(fuzzed.filter(({ wrong }) => wrong.length > 0)).toEqual([]);
    expect(left).toBe(0);
    expect(fuzzed).toHaveLength(MUTATIONS);
    // A fuzz that hits nothing, or that nobody minds, shows nothing. Some answers do not come in every session, and a busy
    // machine ends sessions early.
    expect(fuzzed.filter(({ isHit }) => isHit).length).toBeGreaterThan(MUTATIONS / 3);
    const outcomes = new Set(fuzzed.map(({ outcome }) => outcome));
    for (const outcome of ['answered', 'refused', 'timed out'] as const) expect(outcomes).toContain(outcome);
  },
  480_000,
);
