// Every cell of the table, for `npm run soak -- faults`. Exits with 1 if a cell is not as listed, or if an
// entry of the list is not true.
import { BODIES, POINTS, WAYS, type Way } from './cell.js';
import { FAULTS, type FaultKey } from './faults.js';
import {
  ARMED_AGAIN_WITHIN_MS,
  armedAgain,
  CELLS,
  type Cell,
  EVERY_FRAME,
  inLanes,
  type Judged,
  judgeCell,
  KNOWN,
  nameOf,
  numbers,
  tables,
  whyLeftOut,
} from './table.js';

const LANES = 3;
const started = performance.now();
const SEED = 20261130;

/** Faults, ways, `part=4`: every fourth cell, seeded; and `minutes=10`: no cell is begun after, and they come in a seeded order. */
const asked = process.argv.slice(4);
const minutes = Number(
  asked.find((word) => word.startsWith('minutes='))?.slice(8) ?? Number.POSITIVE_INFINITY,
);
const part = Number(asked.find((word) => word.startsWith('part='))?.slice(5) ?? 1);
const askedFaults = asked.filter((word) => word in FAULTS);
const askedWays = asked.filter((word) => WAYS.includes(word as Way));
const faults = (Object.keys(FAULTS) as FaultKey[]).filter(
  (fault) => askedFaults.length === 0 || askedFaults.includes(fault),
);
const random = numbers(SEED);
const drawn = [...EVERY_FRAME, ...CELLS]
  .map((cell) => ({ cell, at: random() }))
  .filter(({ cell: { fault, way } }) => faults.includes(fault) && isAsked(way))
  .filter(({ at }) => at < 1 / part);
// If the time may not be enough, the first cells must be from anywhere in the table.
const cells = (Number.isFinite(minutes) ? drawn.toSorted((a, b) => a.at - b.at) : drawn).map(
  ({ cell }) => cell,
);
/** Cells that the time was not enough for. */
let left = 0;

async function judgeInTime(cell: Cell): Promise<Judged | null> {
  if (performance.now() - started < minutes * 60_000) return judgeCell(cell);
  left += 1;
  return null;
}

function isAsked(way: Way): boolean {
  return askedWays.length === 0 || askedWays.includes(way);
}

const said = (one: Judged | undefined): string => {
  if (one === undefined) return left > 0 ? '' : 'EMPTY';
  if (!one.isAsListed) return 'WRONG';
  return one.known.length === 0 ? one.seen.outcome : `(${one.seen.outcome})`;
};

const judged: Judged[] = [];
const failed: string[] = [];
await Promise.all(
  inLanes(LANES, cells, judgeInTime).map(async (promise, index) => {
    const cell = cells[index];
    if (cell === undefined) return;
    try {
      const one = await promise;
      if (one === null) return;
      judged.push(one);
      if (!one.isAsListed)
        for (const wrong of one.wrong.length > 0
          ? one.wrong
          : [`It does not show any more: ${one.known.join(' ')}`])
          console.log(`WRONG  ${nameOf(one)}: ${wrong}`);
    } catch (cause) {
      failed.push(nameOf(cell));
      console.log(`FAILED ${nameOf(cell)}: ${cause instanceof Error ? cause.stack : cause}`);
    }
  }),
);

const outcome = (cell: Cell): string =>
  said(
    judged.find(
      ({ fault, point, body, way }) =>
        fault === cell.fault && point === cell.point && body === cell.body && way === cell.way,
    ),
  );

console.log(
  `\n${cells.length - left} of ${cells.length} cells, ${((performance.now() - started) / 60_000).toFixed(1)} min`,
);
const isIn = (one: Cell): boolean =>
  cells.some(
    ({ fault, point, body, way }) =>
      fault === one.fault && point === one.point && body === one.body && way === one.way,
  );
console.log(tables(faults, (cell) => (isIn(cell) ? outcome(cell) : null)));
for (const fault of ['killed', 'pulled'] as const)
  for (const way of ['binding', 'direct'] as const) {
    const row = Array.from(
      { length: 9 },
      (_, index): Cell => ({ fault, way, body: 'amount', point: index + 1 }),
    );
    if (!row.some(isIn)) continue;
    console.log(
      `${FAULTS[fault].name}, at frame 1 to 9 as fired, amount, ${way}: ${row.map(outcome).join(', ')}`,
    );
  }
for (const way of WAYS) {
  const own = judged.filter((one) => one.way === way);
  const right = own.filter(({ isAsListed }) => isAsListed).length;
  console.log(`${way}: ${own.length} cells, ${right} as listed`);
}

const armed = armedAgain(judged);
if (armed.length > 0)
  console.log(
    `\nbody back to next frame armed, ${armed.length} times (goal ${ARMED_AGAIN_WITHIN_MS} ms): median ${Math.round(armed[Math.floor(armed.length / 2)] ?? 0)} ms, longest ${Math.round(armed.at(-1) ?? 0)} ms`,
  );

const reasons = new Map<string, number>();
for (const fault of faults)
  for (const point of POINTS)
    for (const body of BODIES)
      for (const way of WAYS.filter(isAsked)) {
        const why = whyLeftOut(fault, point, body, way);
        if (why !== null) reasons.set(why, (reasons.get(why) ?? 0) + 1);
      }
console.log('\n-: left out, because');
for (const [why, count] of reasons) console.log(`  ${String(count).padStart(3)}  ${why}`);
if (KNOWN.length > 0) console.log('\n(...): a defect that is known');
for (const { defect, shows } of KNOWN)
  console.log(`  ${String(cells.filter(shows).length).padStart(3)}  ${defect}`);

const notAsListed = judged.filter((one) => !one.isAsListed).length;
console.log(
  `\nnot as listed: ${notAsListed}, failed: ${failed.length}, empty: ${cells.length - judged.length - left}`,
);
process.exitCode = notAsListed + failed.length === 0 ? 0 : 1;
