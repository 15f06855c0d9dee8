// How fast the program is for whoever waits for it; and that it works at all, whatever else the machine does.
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, it, onTestFinished } from 'vitest';
import { setRecordSchema } from '../../shared/set-record.js';
import { isAlive, run, start } from '../built.js';
import { childOf } from '../child-of.js';
import { PACED, pace } from '../pace.js';

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(into, { recursive: true, force: true });
});

it(
  'a set takes no longer than its exposures and 0.4 s a frame, with a body that takes its time',
  PACED,
  async () => {
    // What an earlier try left does not count.
    const sets = await mkdtemp(path.join(into, 'sets-'));
    const asked = [
      'fire',
      '--frames',
      '9',
      '--step',
      '1',
      '--base',
      '1/60',
      '--body',
      'practice',
      '--into',
      sets,
    ];
    const { code } = await run(asked, { EVENRUNG_PRACTICE_TIMING: 'lifelike' });
    expect(code).toBe(0);
    const [folder] = await readdir(sets);
    const record = setRecordSchema.parse(
      JSON.parse(await readFile(path.join(sets, folder ?? '', 'set.json'), 'utf8')),
    );
    const exposures = record.frames.reduce((sum, frame) => sum + frame.exposureTime, 0);
    const seconds = (Date.parse(record.endedAt) - Date.parse(record.startedAt)) / 1000;
    expect(seconds).toBeGreaterThan(exposures);
    pace('a set of nine frames', seconds, 's', exposures + 9 * 0.4);
  },
);

it(
  'the daemon is ready within a second of its start, and SIGTERM ends it with everything it started',
  PACED,
  async () => {
    const began = performance.now();
    const daemon = start(['serve', '--body', 'practice', '--port', '0', '--into', path.join(into, 'sets')]);
    onTestFinished(() => daemon.signal('SIGKILL'));
    const [, address = ''] = await daemon.until(/Panel: (http:\S+?)[ "]/);
    expect((await fetch(`${address}/api/state`)).status).toBe(200);
    pace('the daemon is ready', performance.now() - began, 'ms', 1000);
    await daemon.until(/Body: Practice body/);
    const child = await childOf(daemon);
    expect(isAlive(child)).toBe(true);
    daemon.signal('SIGTERM');
    expect((await daemon.ended).code).toBe(130);
    expect(isAlive(child)).toBe(false);
  },
);
