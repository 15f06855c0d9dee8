import { mkdtemp, readdir, readFile, stat } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { randomFillSync } from 'node:crypto';
import sharp from 'sharp';
import { it } from 'vitest';
import { Body } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { checkSet, drawContactSheet, SetFolder } from '../../src/frames/index.js';
import { planSet, resolveBase } from '../../src/plan/index.js';
import { EventLog, Run } from '../../src/run/index.js';
import { ASKED } from '../asked.js';
import { namedBy } from '../set-naming.js';
it('x', async () => {
  const into = await mkdtemp('/tmp/evenrung-look-');
  const link = new PracticeLink(new PracticeBody({ timing: AT_ONCE }));
  const body = await Body.meet(link);
  for (const [frames, step] of [[9, 6], [55, 2]] as const) {
    const offsets = Array.from({ length: frames }, (_, i) => (i - Math.floor((frames - 1) / 2)) * step);
    const plan = planSet({ offsets, step, mode: 'manual', settleSeconds: 0, base: resolveBase(frames === 55 ? '1/15' : '1/60', body.limits) }, body.limits);
    const folder = await SetFolder.create(into, namedBy(new Date()));
    const log = new EventLog();
    const run = new Run({ id: 'a-run', set: { id: '3f2a91c0-aaaa', ordinal: 1, name: 'Boathouse <at> dusk', note: 'A note', viewpoint: '3' }, plan, body, folder, asked: async () => ASKED, tell: (h) => log.tell(h) });
    let last = 0; let ended = 0; let putBack = 0;
    log.watch(({ happening: h }) => { if (h.type === 'frame' && h.frame.state === 'stored') last = performance.now(); if (h.type === 'run-state' && h.state === 'putting-back') putBack = performance.now(); });
    console.log(await run.carryOut(), run.error);
    ended = performance.now();
    console.log('from last stored', ended - last, 'from putting back', ended - putBack);
    let x = 0;
    for (const n of await readdir(folder.path)) { const { size } = await stat(path.join(folder.path, n)); if (n.endsWith('.xmp')) x += size; if (!/\.(jpg|xmp)$/.test(n) || n.startsWith('contact')) console.log(n, size); }
    console.log('xmp', x);
    if (frames === 9) { console.log(await readFile(path.join(folder.path, 'set.json'), 'utf8')); console.log(await readFile(path.join(folder.path, 'frames.csv'), 'utf8'));  console.log(await readFile(path.join(folder.path, '01_-4EV.xmp'), 'utf8')); }
    console.log(log.state.run?.frames.flatMap((f) => f.marks.map((m) => [f.number, m.code, m.sentence])), log.state.run?.notes);
    console.log(await checkSet(folder.path).then((c) => [c.intact, c.findings]));
  }
  const noise = await sharp(randomFillSync(Buffer.alloc(320 * 214 * 3)), { raw: { width: 320, height: 214, channels: 3 } }).jpeg({ quality: 70 }).toBuffer();
  const sheet = await drawContactSheet({ name: 'x'.repeat(300), startedAt: new Date(), base: { shutter: '1/60', aperture: 'f/8', iso: '100' }, practice: true, cells: Array.from({ length: 61 }, (_, i) => ({ number: i + 1, offsetEv: 0, shutter: '1/60', thumbnail: noise, isMade: true, marks: ['ratio', 'order', 'time'] })) });
  console.log('noise sheet', sheet.length);
});
