// `npm run soak -- server`: 20,000 seeded requests and messages with something wrong in them, other seeds than the test has.
// `npm run soak -- server FROM COUNT` does those that are said. Prints what came of them, and exits with 1 where anything fired, was
// read that is private, or crashed, or where memory did not return to where it was.
import type * as ServerFuzz from '../server-fuzz.js';
import type * as TwoDoors from '../two-doors.js';
import { runBundled } from './soak-bundle.js';

const FROM = 100_001;
const COUNT = 20_000;
const AT_ONCE = 8;
const LINE_EVERY = 2000;
const MOST_MB = 50;

const { counted, fuzzOnce } = await runBundled<typeof ServerFuzz>('server-fuzz');
const { memory, openDoors, WIDE_BOUNDS } = await runBundled<typeof TwoDoors>('two-doors');

const crashes: string[] = [];
process.on('unhandledRejection', (cause) => crashes.push(`unhandled: ${String(cause)}`));
process.on('uncaughtException', (cause) => crashes.push(`uncaught: ${String(cause)}`));

const [from = FROM, count = COUNT] = process.argv.slice(4).map(Number);
console.log(`seeds ${from} to ${from + count - 1}`);
const doors = await openDoors({ bounds: WIDE_BOUNDS });
const cookies = { fires: await doors.pair('fire'), watches: await doors.pair('watch') };
// What is loaded once, and stays, is loaded by the first of them; and the heap has grown to the size that such work takes.
for (let seed = 1; seed <= 1000; seed += 1) await fuzzOnce(doors, cookies, from + count + seed);
const before = await memory();
const began = performance.now();
const done: ServerFuzz.Fuzzed[] = [];
let next = from;
const work = async () => {
  while (next < from + count) {
    const seed = next;
    next += 1;
    const one = await fuzzOnce(doors, cookies, seed);
    done.push(one);
    for (const what of one.wrong) console.log(`WRONG  seed ${one.seed}, ${one.kind} of ${one.who}: ${what}`);
    if (done.length % LINE_EVERY === 0) {
      const { heldMb, residentMb } = await memory();
      console.log(`${done.length} done; ${heldMb.toFixed(0)} MB held, ${residentMb.toFixed(0)} MB resident`);
    }
  }
};
await Promise.all([...Array(AT_ONCE)].map(work));
await doors.station.settled();
const after = await memory();
const released = doors.released();
const grown = after.residentMb - before.residentMb;
const isUp = (await doors.ask('network', 'GET', '/api/state', { cookie: cookies.fires })).status === 200;
await doors.close();

for (const line of counted(done)) console.log(line);
for (const crash of crashes) console.log(`WRONG  ${crash}`);
if (released > 0) console.log(`WRONG  the shutter was released ${released} times`);
if (!isUp) console.log('WRONG  the daemon does not answer any more');
if (grown >= MOST_MB) console.log('WRONG  memory did not return to where it was');
console.log(
  `${((performance.now() - began) / 1000).toFixed(0)} s; memory before ${before.residentMb.toFixed(0)} MB, after ${after.residentMb.toFixed(0)} MB; released: ${released}`,
);
const isRight =
  crashes.length === 0 &&
  released === 0 &&
  isUp &&
  grown < MOST_MB &&
  done.every(({ wrong }) => wrong.length === 0);
process.exit(isRight ? 0 : 1);
