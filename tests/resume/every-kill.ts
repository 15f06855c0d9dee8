// Every moment at which a set can be killed, while it is made and while it is taken up again, and every
// commit at which the disk of the journal can be full, for `npm run soak -- kills`. Exits with 1 if a set
// does not survive.
import { rm } from 'node:fs/promises';
import { buildKilled, COUNTED, countAll, fillAndResume, killAll, momentsOf, REFUSED } from './kills.js';
import { countTaking, killAllTakings, makeEnded, TAKINGS } from './kills-again.js';

const LANES = 3;
const SEED = 20261130;

const given = process.argv.slice(4);
/** `part=4`: every fourth moment, seeded. */
const part = Number(given.find((word) => word.startsWith('part='))?.slice(5) ?? 1);
const asked = given.filter((word) => !word.startsWith('part='));
const some = <T>(moments: readonly T[]): T[] => moments.filter((_, index) => index % part === SEED % part);
const isAsked = (what: string): boolean => asked.length === 0 || asked.includes(what);

await buildKilled();
let wrongs = 0;
async function tell(what: string, kill: () => Promise<{ moments: number; wrong: string[] }>): Promise<void> {
  const started = performance.now();
  const { moments, wrong } = await kill();
  wrongs += wrong.length;
  for (const one of wrong) console.log(`WRONG  ${one}`);
  const seconds = Math.round((performance.now() - started) / 1000);
  console.log(`${what.padEnd(22)} ${moments} times, wrong ${wrong.length}, ${seconds} s`);
}

for (const counted of COUNTED.filter(isAsked))
  await tell(counted, async () => {
    const moments = some(momentsOf(counted, await countAll(counted)));
    return { moments: moments.length, wrong: await killAll(moments, LANES) };
  });
for (const counted of COUNTED) {
  if (!isAsked(`pairs,${counted}`)) continue;
  await tell(`pairs, ${counted}`, async () => {
    const moments = some(momentsOf(counted, await countAll(counted, 'two files'), 'two files'));
    return { moments: moments.length, wrong: await killAll(moments, LANES) };
  });
}
for (const how of ['apart', 'pass', 'judged'] as const)
  for (const counted of COUNTED) {
    if (!isAsked(`${how},${counted}`)) continue;
    await tell(`${how}, ${counted}`, async () => {
      const moments = some(momentsOf(counted, await countAll(counted, how), how));
      return { moments: moments.length, wrong: await killAll(moments, LANES) };
    });
  }
for (const counted of REFUSED.filter(isAsked))
  await tell(`journal ${counted}`, async () => {
    const moments = some(momentsOf(counted, await countAll(counted)));
    return { moments: moments.length, wrong: await killAll(moments, LANES, fillAndResume) };
  });
for (const counted of REFUSED) {
  if (!isAsked(`apart,${counted}`)) continue;
  await tell(`apart, journal ${counted}`, async () => {
    const moments = some(momentsOf(counted, await countAll(counted, 'apart'), 'apart'));
    return { moments: moments.length, wrong: await killAll(moments, LANES, fillAndResume) };
  });
}
for (const taking of TAKINGS) {
  const ways = [...COUNTED, ...REFUSED].filter((counted) => isAsked(`${taking},${counted}`));
  if (ways.length === 0) continue;
  const ended = await makeEnded(taking);
  for (const counted of ways)
    await tell(`${taking}, ${counted}`, async () => {
      const moments = some(momentsOf(counted, await countTaking(ended, counted)));
      return { moments: moments.length, wrong: await killAllTakings(ended, moments, LANES) };
    });
  await rm(ended.root, { recursive: true, force: true });
}
process.exitCode = wrongs === 0 ? 0 : 1;
