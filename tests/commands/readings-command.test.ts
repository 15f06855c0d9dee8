// Two spot readings on the command line: planned without a body, fired on the practice body, foreseen on a schedule, refused.
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { planSchema } from '../../shared/plan.js';
import { setRecordSchema } from '../../shared/set-record.js';
import { run } from '../built.js';

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(into, { recursive: true, force: true });
});

const metered = (darkest: string, brightest: string) => [
  '--darkest',
  darkest,
  '--brightest',
  brightest,
  '--step',
  '1',
];
const flat = (text: string): string => text.replace(/\s+/g, ' ');

describe('plan', () => {
  it('in words says where each reading falls, within 80 columns', async () => {
    const { code, stdout, stderr } = await run(['plan', ...metered('1/4', '1/2000')]);
    expect([code, stderr]).toEqual([0, '']);
    // Worked out by hand in tests/pure/readings.test.ts.
    expect(stdout).toMatch(/^5 frames in 3 passes, base exposure 1\/100 s, about \d+ s\n/);
    expect(flat(stdout)).toContain(
      'The darkest part (1/4 s) falls 2 2/3 stops below middle grey in frame 5 (1/25 s), 1/3 stop above where noise drowns detail. The brightest part (1/2000 s) falls 2 1/3 stops above middle grey in frame 1 (1/400 s), 1/6 stop below clipping. Each frame is taken to hold 2 1/2 EV above middle grey and 3 EV below it, as JPEG files usually do: the camera does not tell whether these are raw.',
    );
    expect(Math.max(...stdout.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80);
  });

  it('of the boathouse comes out as the notes say', async () => {
    const notes = await readFile(new URL('../../hardware-notes/light.md', import.meta.url), 'utf8');
    const { stdout } = await run([
      ...[
        'plan',
        ...metered('EV -1', 'EV 10'),
        '--aperture',
        'f/8',
        '--iso',
        '100',
        '--files',
        'raw',
        '--json',
      ],
    ]);
    const plan = planSchema.parse(JSON.parse(stdout));
    expect(plan.passes.flatMap(({ frames }) => frames.map(({ shutter }) => shutter)).sort()).toEqual(
      ['0.5', '1', '2', '4', '8'].sort(),
    );
    expect(plan.base.shutter).toBe('2');
    expect(notes).toContain('The set is 1/2, 1, 2, 4 and 8 s, counted from 2 s:');
    for (const part of ['darkest', 'brightest'] as const)
      expect(notes).toContain(`- ${plan.readings?.[part].sentence}\n`);
  });

  it('takes the room that was measured', async () => {
    const { stdout } = await run([
      ...['plan', ...metered('1/4', '1/2000'), '--room-above', '2.96', '--room-below', '6', '--json'],
    ]);
    const { readings, offsets } = planSchema.parse(JSON.parse(stdout));
    expect(readings?.room).toMatchObject({ above: 3, below: 6 });
    // R = 9, r = 9.
    expect(offsets).toEqual([0]);
  });

  it.each([
    [metered('1/2000', '1/4'), 'readings-unusable'],
    [metered('1/4', '1/4'), 'readings-unusable'],
    [metered('EV 3', '1/4'), 'readings-unusable'],
    [metered('1/60', '1/200000'), 'outside-shutter-range'],
    [metered('dark', '1/4'), 'unreadable-reading'],
    [metered('', '1/4'), 'unreadable-reading'],
    [['--darkest', '1/4', '--step', '1'], 'malformed-request'],
    [['--brightest', '1/4', '--step', '1'], 'malformed-request'],
    [['--darkest', '1/4', '--brightest', '1/2000'], 'malformed-request'],
    [[...metered('1/4', '1/2000'), '--frames', '9'], 'malformed-request'],
    [[...metered('1/4', '1/2000'), '--base', '1/60'], 'malformed-request'],
    [[...metered('1/4', '1/2000'), '--mode', 'aperture'], 'malformed-request'],
    [[...metered('1/4', '1/2000'), '--aperture', 'wide'], 'malformed-request'],
    [[...metered('1/4', '1/2000'), '--files', 'film'], 'malformed-request'],
    [[...metered('1/4', '1/2000'), '--room-above', '13'], 'malformed-request'],
    [['--frames', '9', '--step', '1', '--aperture', '8'], 'malformed-request'],
  ])('%j: %s, exit 2', async (args, expected) => {
    const { code, stdout, stderr } = await run(['plan', ...args, '--json']);
    expect(code).toBe(2);
    expect(JSON.parse(stdout)).toMatchObject({ error: { code: expected } });
    expect(stderr).toMatch(/^[A-Z'-].*\.\n/);
  });
});

describe('fire', () => {
  it('leaves a set whose record says what was metered', async () => {
    const args = ['fire', ...metered('EV 8', '1/500'), '--body', 'practice', '--into', into];
    const { code, stdout, stderr } = await run(args);
    expect([code, stderr]).toEqual([0, '']);
    expect(stdout).toContain('All 3 frames are verified.');
    expect(stdout).not.toContain('caution:');
    const [folder = ''] = await readdir(into);
    const text = await readFile(path.join(into, folder, 'set.json'), 'utf8');
    const record = setRecordSchema.parse(JSON.parse(text));
    expect(record.frames.map(({ shutter }) => shutter)).toEqual(['1/100', '1/50', '1/25']);
    expect(record.readings).toMatchObject({ darkest: { written: 'EV 8' }, brightest: { written: '1/500' } });
    const shown = flat((await run(['sets', 'show', record.id])).stdout);
    expect(shown).toContain(
      'metered: The darkest part (EV 8) falls 2 2/3 stops below middle grey in frame 3',
    );
    expect(shown).toContain('The brightest part (1/500 s) falls 2 1/3 stops above middle grey in frame 1');
  });

  it('says what is to be known of the sun before it fires', async () => {
    const args = ['fire', ...metered('EV 18', '350000 cd/m2'), '--body', 'practice', '--into', into];
    const { code, stdout } = await run(args);
    expect(code).toBe(0);
    expect(flat(stdout)).toMatch(/caution: The brightest part reads EV 21\.4: only the sun .*Pass 1 of/);
    expect(stdout.match(/caution:/g)).toHaveLength(1);
  });
});

describe('schedule', () => {
  it('is foreseen for what was metered, with the same caution', async () => {
    const every = ['--every', '4min', '--count', '3'];
    const { code, stdout } = await run(['schedule', ...metered('1/4', '1/2000'), ...every, '--json']);
    expect(code).toBe(0);
    expect(JSON.parse(stdout)).toMatchObject({ estimate: { sets: 3, actuations: 15 }, cautions: [] });
    const at = ['--aperture', '8', '--iso', '100', '--files', 'raw'];
    const sunny = await run(['schedule', ...metered('EV 12', 'EV 21.5'), ...at, ...every]);
    expect(flat(sunny.stdout)).toMatch(/caution: The brightest part reads EV 21\.5/);
  });
});
