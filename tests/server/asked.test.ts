// The set that is asked for, as all devices show it: told once, whoever changes it, and read back into the fields as it was written.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import pino from 'pino';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { type Asked, askedSchema } from '../../shared/asked.js';
import { formatEv, sixths, timesSixths } from '../../shared/ev.js';
import { type RunningServer, startServer } from '../../src/server/index.js';
import type { EventLog, Station } from '../../src/station/index.js';
import {
  fieldsOf,
  isDone,
  keyOf,
  readCircumstances,
  readViewpoint,
  writeRequest,
} from '../../web/src/request.js';
import { TestLink } from '../harness/links.js';
import { stationOver } from '../harness/station.js';
import fc from '../seeded.js';

let folder = '';
let events: EventLog;
let station: Station;
let server: RunningServer;
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  await writeFile(path.join(folder, 'index.html'), '<title>panel</title>');
  ({ station, events } = stationOver(folder, new TestLink()));
  const log = pino({ level: 'silent' });
  server = await startServer({ station, events, log, panel: folder, notes: folder, port: 0 });
});
afterEach(async () => {
  await station.close();
  await server.close();
  await rm(folder, { recursive: true, force: true });
});

async function put(asked: unknown): Promise<{ status: number; code: string | undefined }> {
  const headers = { 'content-type': 'application/json' };
  const url = new URL('/api/asked', server.address);
  const answer = await fetch(url, { method: 'PUT', headers, body: JSON.stringify(asked) });
  const { error } = (await answer.json()) as { error?: { code: string } };
  return { status: answer.status, code: error?.code };
}
const toldOf = () =>
  events.since(0)?.filter(({ happening }) => happening.type === 'asked').length ?? Number.NaN;

describe('what is asked for', () => {
  it('is told to everybody, and once: who says the same again changes nothing', async () => {
    expect(events.state.asked).toBeNull();
    const asked = { frames: 7, step: '2/3', base: '1/30', name: 'Boathouse at dusk', viewpoint: 2, delay: 5 };
    expect((await put(asked)).status).toBe(200);
    expect(events.state.asked).toEqual(asked);
    await put(asked);
    expect(toldOf()).toBe(1);
    await put({ ...asked, frames: 9 });
    expect(events.state.asked).toEqual({ ...asked, frames: 9 });
    expect(toldOf()).toBe(2);
  });

  it.each([
    [{ frames: 7 }, 'malformed-request'],
    [{ frames: 700, step: 1 }, 'frames-out-of-range'],
    [{ frames: 3, step: 9 }, 'step-out-of-range'],
    [{ from: 2, to: -2, step: 1 }, 'range-reversed'],
    [{ frames: 3, step: 1, schedule: { everySeconds: 60 } }, 'malformed-request'],
    [{ frames: 3, step: 1, into: '/' }, 'malformed-request'],
    [{ frames: 3, step: 1, name: 'x'.repeat(301) }, 'malformed-request'],
    [null, 'malformed-request'],
  ])('%j is refused, and what stood there stays', async (asked, code) => {
    await put({ frames: 5, step: 1 });
    expect(await put(asked)).toEqual({ status: 400, code });
    expect(events.state.asked).toEqual({ frames: 5, step: 1 });
  });
});

const someThirds = (least: number, most: number) =>
  fc.integer({ min: least, max: most }).map((thirds) => sixths(thirds * 2));
const text = (max: number) => fc.string({ minLength: 1, maxLength: max }).filter((one) => one.trim() === one);

const askedAnyhow: fc.Arbitrary<Asked> = fc
  .tuple(
    fc.oneof(
      fc.record({
        frames: fc.integer({ min: 1, max: 61 }),
        step: someThirds(1, 9).map((ev) => formatEv(ev, false)),
      }),
      fc
        .tuple(someThirds(1, 9), fc.integer({ min: -12, max: 0 }), fc.integer({ min: 0, max: 12 }))
        .map(([step, from, to]) => ({
          step: formatEv(step, false),
          from: formatEv(timesSixths(step, from)),
          to: formatEv(timesSixths(step, to)),
        })),
    ),
    fc.record(
      {
        base: fc.constantFrom('1/60', '1/4', '2'),
        mode: fc.constantFrom('manual' as const, 'aperture' as const),
        settle: fc.constantFrom(0, 0.5, 60),
        release: fc.constantFrom('frame' as const, 'pass' as const),
        least: fc.constantFrom('time' as const, 'spread' as const),
        extend: fc.integer({ min: 0, max: 60 }),
        name: text(20),
        note: text(20),
        viewpoint: fc.integer({ min: 1, max: 9999 }),
        delay: fc.constantFrom(2, 20),
        conditions: fc.record(
          {
            handHeldMm: fc.integer({ min: 1, max: 5000 }),
            mainsHz: fc.constantFrom(50 as const, 60 as const),
            lightEvPerMinute: fc.constantFrom(0, 0.25),
            noiseReduction: fc.boolean(),
            fileBytes: fc.constantFrom(25_000_000, 12_300_000),
          },
          { requiredKeys: [] },
        ),
      },
      { requiredKeys: [] },
    ),
  )
  .map(([frames, others]) => ({ ...frames, ...others }));

/** As the panel asks with what stands in its fields. */
function asWritten(asked: Asked): Asked {
  const { framesWritten, step, ends, base, mode, settleWritten, ...others } = fieldsOf(asked);
  const { release, least, extendWritten, circumstances, labels, delay, byHand } = others;
  const conditions = readCircumstances(circumstances);
  if (typeof conditions === 'string') throw new Error(`Unreadable: ${conditions}.`);
  const { name, note } = labels;
  const viewpoint = readViewpoint(labels.viewpoint);
  return askedSchema.parse({
    ...writeRequest({
      ...{ frames: Number(framesWritten), step, base, ends, mode, settle: Number(settleWritten) },
      ...{ release, least, extend: Number(extendWritten), conditions },
    }),
    ...(name === '' ? {} : { name }),
    ...(note === '' ? {} : { note }),
    ...(viewpoint === null ? {} : { viewpoint }),
    ...(delay === 0 ? {} : { delay }),
    ...(byHand === null ? {} : { byHand }),
  });
}

describe('the fields of the panel', () => {
  it('take over what was asked for, and ask for the same again', () => {
    fc.assert(
      fc.property(askedAnyhow, (asked) => {
        expect(keyOf(asWritten(asked))).toBe(keyOf(asked));
      }),
    );
  });

  it('a span is taken over as the frames that it has', () => {
    expect(fieldsOf({ span: 8, step: '1' }).framesWritten).toBe('9');
    expect(fieldsOf({ from: '-1 1/3', to: '2/3', step: '2/3' })).toMatchObject({
      framesWritten: '4',
      ends: { from: '-1 1/3', to: '+2/3' },
    });
  });

  it.each<[Partial<Asked>]>([
    [{ frames: 5 }],
    [{ step: '2/3' }],
    [{ base: '1/4' }],
    [{ mode: 'aperture' }],
    [{ settle: 2 }],
    [{ extend: 2 }],
    [{ name: 'Boathouse' }],
    [{ note: 'doors open' }],
    [{ viewpoint: 3 }],
    [{ delay: 5 }],
    [{ conditions: { mainsHz: 50 } }],
    [{ byHand: { what: 'aperture', value: 3.5, sentence: 'Set the aperture to f/3.5.' } }],
  ])('%j is another set', (change) => {
    expect(keyOf({ frames: 9, step: '1', ...change })).not.toBe(keyOf({ frames: 9, step: '1' }));
  });

  it('what is left to be done at the camera is done as soon as the camera says so', () => {
    const aperture = { what: 'aperture', value: 3.5, sentence: 'Set the aperture to f/3.5.' } as const;
    expect(isDone(aperture, { aperture: '8', iso: '100' })).toBe(false);
    expect(isDone(aperture, { aperture: 'f/3.5', iso: '100' })).toBe(true);
    expect(isDone(aperture, { aperture: '3.6', iso: '100' })).toBe(true);
    expect(isDone(aperture, { aperture: null, iso: '3.5' })).toBe(false);
    expect(isDone({ ...aperture, what: 'iso', value: 400 }, { aperture: null, iso: '400' })).toBe(true);
    // Nothing that the camera could tell.
    expect(isDone({ ...aperture, what: 'filter', value: 8 }, { aperture: '8', iso: '8' })).toBe(false);
    expect(isDone({ ...aperture, value: null }, { aperture: '8', iso: null })).toBe(false);
  });
});
