import { rm } from 'node:fs/promises';
import { expect, it } from 'vitest';
import { buildKilled, COUNTED, momentsOf } from './kills.js';
import { countTaking, killAllTakings, makeEnded, TAKINGS } from './kills-again.js';

it('all', async () => {
  await buildKilled();
  const all: string[] = [];
  for (const taking of TAKINGS) {
    const ended = await makeEnded(taking);
    for (const counted of COUNTED) {
      const moments = momentsOf(counted, await countTaking(ended, counted));
      const t = Date.now();
      const wrong = await killAllTakings(ended, moments, 3);
      console.log(taking, counted, moments.length, wrong.length, Math.round((Date.now() - t) / 1000) + 's');
      for (const one of wrong) console.log('WRONG', one);
      all.push(...wrong);
    }
    await rm(ended.root, { recursive: true, force: true });
  }
  expect(all).toEqual([]);
}, 3_600_000);
