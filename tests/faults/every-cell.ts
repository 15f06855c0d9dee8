// Every cell of the table, for `npm run soak -- faults`. Exits with 1 where a cell is not as listed, or a list entry is not true.
import { BODIES, type BodyName, POINTS } from './cell.js';
import { FAULTS, type FaultKey } from './faults.js';
import {
  ARMED_AGAIN_WITHIN_MS,
  armedAgain,
  CELLS,
  EVERY_FRAME,
  inLanes,
  type Judged,
  judgeCell,
  KNOWN,
  nameOf,
  whyLeftOut,
} from './table.js';

const LANES = 3;
const WIDTH = 13;

const asked = process.argv.slice(4);
const faults = (Object.keys(FAULTS) as FaultKey[]).filter(
  (fault) => asked.length === 0 || asked.includes(fault),
);
const cells = [...EVERY_FRAME, ...CELLS].filter(({ fault }) => faults.includes(fault));

const said = (one: Judged | undefined): string => {
  if (one === undefined) return 'EMPTY';
  if (!one.isAsListed) return 'WRONG';
  return one.known.length === 0 ? one.seen.outcome : `(${one.seen.outcome})`;
};

const judged: Judged[] = [];
const failed: string[] = [];
const started = performance.now();
await Promise.all(
  inLanes(LANES, cells, judgeCell).map(async (promise, index) => {
    const cell = cells[index];
    if (cell === undefined) return;
    try {
      const one = await promise;
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

const outcome = (fault: FaultKey, point: (typeof POINTS)[number] | number, body: BodyName): string => {
  if (typeof point === 'string' && whyLeftOut(fault, point, body) !== null) return '-';
  return said(judged.find((one) => one.fault === fault && one.point === point && one.body === body));
};

console.log(`\n${cells.length} cells, ${((performance.now() - started) / 60_000).toFixed(1)} min`);
console.log(`${'fault'.padEnd(29)}${'point'.padEnd(25)}${BODIES.map((body) => body.padEnd(WIDTH)).join('')}`);
for (const fault of faults)
  for (const point of POINTS) {
    const row = BODIES.map((body) => outcome(fault, point, body));
    if (row.every((one) => one === '-')) continue;
    console.log(
      `${FAULTS[fault].name.padEnd(29)}${point.padEnd(25)}${row.map((one) => one.padEnd(WIDTH)).join('')}`,
    );
  }
for (const fault of ['killed', 'pulled'] as const) {
  if (!faults.includes(fault)) continue;
  const row = Array.from({ length: 9 }, (_, index) => outcome(fault, index + 1, 'amount'));
  console.log(`${FAULTS[fault].name}, at frame 1 to 9 as fired, amount: ${row.join(', ')}`);
}

const armed = armedAgain(judged);
if (armed.length > 0)
  console.log(
    `\nbody back to next frame armed, ${armed.length} times (goal ${ARMED_AGAIN_WITHIN_MS} ms): median ${Math.round(armed[Math.floor(armed.length / 2)] ?? 0)} ms, longest ${Math.round(armed.at(-1) ?? 0)} ms`,
  );

const reasons = new Map<string, number>();
for (const fault of faults)
  for (const point of POINTS)
    for (const body of BODIES) {
      const why = whyLeftOut(fault, point, body);
      if (why !== null) reasons.set(why, (reasons.get(why) ?? 0) + 1);
    }
console.log('\n-: left out, because');
for (const [why, count] of reasons) console.log(`  ${String(count).padStart(3)}  ${why}`);
if (KNOWN.length > 0) console.log('\n(...): a defect that is known');
for (const { defect, shows } of KNOWN)
  console.log(`  ${String(cells.filter(shows).length).padStart(3)}  ${defect}`);

const notAsListed = judged.filter((one) => !one.isAsListed).length;
console.log(
  `\nnot as listed: ${notAsListed}, failed: ${failed.length}, empty: ${cells.length - judged.length}`,
);
process.exitCode = notAsListed + failed.length === 0 ? 0 : 1;
