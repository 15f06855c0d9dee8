// Runs on a schedule by the program as a user has it, killed and cut off on the way: what is left is what the shutter did and what was
// asked for. Six sets; `npm run soak -- runs` makes 200.
import { expect, it } from 'vitest';
import { driveRun, type RunAsked } from './driven-run.js';
import type { DrawnFault, Kind } from './run-faults.js';

const inRelease = (kind: Kind, slot: number, releases: number, lasts = 0): DrawnFault => ({
  ...{ kind, slot, lasts },
  moment: { by: 'release', releases, milliseconds: 0 },
});
const after = (kind: Kind, slot: number, milliseconds: number, lasts = 0): DrawnFault => ({
  ...{ kind, slot, lasts },
  moment: { by: 'time', milliseconds },
});

const RUNS: readonly RunAsked[] = [
  {
    ...{ body: 'amount', way: 'direct', slots: 3, overrun: 'follow' },
    faults: [
      inRelease('cable out', 0, 2, 500),
      inRelease('program killed', 1, 4, 200),
      inRelease('frame twice', 2, 3),
    ],
  },
  {
    ...{ body: 'practice', slots: 3, overrun: 'follow' },
    faults: [after('program killed', 0, 400), after('camera process killed', 1, 300)],
  },
];

it('six sets are neither lost nor doubled nor wrong', async () => {
  const seen = await Promise.all(RUNS.map(driveRun));
  for (const [index, { findings, kept, struck, complete, sentence }] of seen.entries()) {
    expect(findings, `see ${kept}`).toEqual([]);
    expect([...struck.keys()].sort()).toEqual(RUNS[index]?.faults.map(({ kind }) => kind).sort());
    expect(complete, sentence).toBeGreaterThan(0);
  }
}, 120_000);
