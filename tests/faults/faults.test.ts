// A seeded part of the table of faults, as much as one and a half minutes take; `npm run soak -- faults` works through all of it.
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { PACED, pace } from '../pace.js';
import { BODIES, POINTS, WAYS } from './cell.js';
import { FAULTS, type FaultKey } from './faults.js';
import {
  ARMED_AGAIN_WITHIN_MS,
  armedAgain,
  CELLS,
  expectations,
  inLanes,
  type Judged,
  judgeCell,
  nameOf,
  printed,
  selection,
  whyLeftOut,
} from './table.js';

const SEED = 20261125;
/** Most of a cell is waiting. */
const LANES = 4;
const SECONDS = 58;

const cells = selection(SEED, SECONDS * LANES);
const done: Judged[] = [];
const judged = new Map<string, Promise<Judged>>();

describe('the list of cells', () => {
  it('is printed, with the outcome that each has to have', () => {
    const list = expectations();
    process.stdout.write(`\n${CELLS.length} cells can occur:\n${list}\n`);
    expect(list.match(/goes on|halts|not begun/g)).toHaveLength(CELLS.length);
  });

  it('every fault at every point on every body, either way, is a cell, or has a reason why not', () => {
    for (const fault of Object.keys(FAULTS) as FaultKey[]) {
      expect(CELLS.some((cell) => cell.fault === fault)).toBe(true);
      for (const point of POINTS)
        for (const body of BODIES)
          for (const way of WAYS) {
            const isCell = CELLS.some(
              (cell) =>
                cell.fault === fault && cell.point === point && cell.body === body && cell.way === way,
            );
            expect(isCell).toBe(whyLeftOut(fault, point, body, way) === null);
          }
    }
  });
});

describe(`a selection of the table, seed ${SEED}`, () => {
  beforeAll(() => {
    const all = inLanes(LANES, cells, judgeCell);
    for (const [index, cell] of cells.entries()) {
      const one = all[index];
      if (one === undefined) continue;
      judged.set(nameOf(cell), one);
      // What is rejected fails its test, which may not have begun.
      void one.then((cellJudged) => done.push(cellJudged)).catch(() => undefined);
    }
  });
  afterAll(() => {
    process.stdout.write(`\n${printed(done)}\n`);
  });

  it.each(cells.map((cell) => [nameOf(cell), cell] as const))(
    '%s',
    async (name) => {
      const one = await judged.get(name);
      // Where a defect is known it has to show, and nothing else: once it is mended, its entry goes.
      if (one !== undefined && one.known.length > 0) expect(one).toMatchObject({ isAsListed: true });
      else expect(one?.wrong).toEqual([]);
    },
    300_000,
  );

  it('the next frame is armed soon after the body is back', {
    tags: PACED.tags,
    timeout: 300_000,
  }, async () => {
    await Promise.allSettled(judged.values());
    const milliseconds = armedAgain(done);
    expect(milliseconds.length).toBeGreaterThan(3);
    // Several cells at a time on a machine that may be busy: a single one may have to wait its turn.
    const middle = milliseconds[Math.floor(milliseconds.length / 2)] ?? Number.NaN;
    pace('armed again once the body is back', middle, 'ms', ARMED_AGAIN_WITHIN_MS);
  });
});
