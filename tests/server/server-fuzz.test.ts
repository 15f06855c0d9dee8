// 1,000 seeded requests and messages with something wrong in them, at both doors. `npm run soak -- server` does 20,000 others.
import { afterAll, beforeAll, expect, it } from 'vitest';
import { PACED, pace } from '../pace.js';
import { type Cookies, counted, type Fuzzed, fuzzOnce } from '../server-fuzz.js';
import { type Doors, memory, openDoors, WIDE_BOUNDS } from '../two-doors.js';

const COUNT = 1000;
/** Several at a time: most of it is waiting. */
const AT_ONCE = 8;
const MOST_MB = 50;

let doors: Doors;
let cookies: Cookies;
const crashes: unknown[] = [];
const note = (cause: unknown) => void crashes.push(cause);

beforeAll(async () => {
  process.on('unhandledRejection', note);
  process.on('uncaughtException', note);
  doors = await openDoors({ bounds: WIDE_BOUNDS });
  cookies = { fires: await doors.pair('fire'), watches: await doors.pair('watch') };
});
afterAll(async () => {
  await doors.close();
  process.off('unhandledRejection', note);
  process.off('uncaughtException', note);
});

it(`seeds 1 to ${COUNT}: nothing fires, nothing private is read, nothing crashes`, {
  tags: PACED.tags,
  timeout: 240_000,
}, async () => {
  // What is loaded once, and stays, is loaded by the first of them.
  for (let seed = COUNT + 1; seed <= COUNT + 50; seed += 1) await fuzzOnce(doors, cookies, seed);
  const before = await memory();
  const done: Fuzzed[] = [];
  let next = 1;
  const work = async () => {
    while (next <= COUNT) {
      const seed = next;
      next += 1;
      done.push(await fuzzOnce(doors, cookies, seed));
    }
  };
  await Promise.all([...Array(AT_ONCE)].map(work));
  await doors.station.settled();
  const after = await memory();
  console.log([`seeds 1 to ${COUNT}`, ...counted(done)].join('\n'));
  expect(done).toHaveLength(COUNT);
  expect(done.filter(({ wrong }) => wrong.length > 0)).toEqual([]);
  expect(doors.released()).toBe(0);
  expect(crashes).toEqual([]);
  expect((await doors.ask('network', 'GET', '/api/state', { cookie: cookies.fires })).status).toBe(200);
  pace('resident after nonsense', after.residentMb - before.residentMb, 'MB', MOST_MB);
});
