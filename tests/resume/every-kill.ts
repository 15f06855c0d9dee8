// Every moment at which a set can be killed, for `npm run soak -- kills`. Exits with 1 where a set does not survive.
import { buildKilled, COUNTED, countAll, killAll, momentsOf } from './kills.js';

const LANES = 3;

await buildKilled();
let wrongs = 0;
for (const counted of COUNTED) {
  const started = performance.now();
  const moments = momentsOf(counted, await countAll(counted));
  const wrong = await killAll(moments, LANES);
  wrongs += wrong.length;
  for (const one of wrong) console.log(`WRONG  ${one}`);
  const seconds = Math.round((performance.now() - started) / 1000);
  console.log(`${counted.padEnd(8)} killed ${moments.length} times, wrong ${wrong.length}, ${seconds} s`);
}
process.exitCode = wrongs === 0 ? 0 : 1;
