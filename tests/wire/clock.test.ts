// The body's clock through the real binding and the real libgphoto2, in zones with and without summer time. What the faces of
// the practice body do not have, its clock under vendor extension 0x0B, is put into its records here.
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { expect, test } from 'vitest';
import { SupervisedLink } from '../../src/camera/process/supervised-link.js';
import {
  type ClockSetting,
  clockCorrection,
  clockDifference,
  clockSetting,
} from '../../src/camera/readiness.js';
import { CAMERA_PROCESS } from '../built.js';
import { AMOUNT_OPERATION } from './ptp/amount-face.js';
import { readText, text, u32 } from './ptp/bytes.js';
import { OPERATION, PROPERTY } from './ptp/codes.js';
import { packTextDescription } from './ptp/datasets.js';
import { type FaceName, plugIn } from './ptp/plugged-body.js';
import type { PtpAnswer, PtpRequest, Responder } from './ptp/responder.js';

const SHOWN_TIME = 0xd113;
const MOMENT = 0xd17c;

const NEW_VALUE = 0xc189;
const END_OF_RECORDS_BYTES = 8;

/** Plugs a body in, lets the test change what it answers, and gives it a link whose computer is in a zone. */
async function withLink(
  name: FaceName,
  zone: string,
  arrange: (responder: Responder) => void,
  during: (link: SupervisedLink) => Promise<void>,
): Promise<void> {
  const plugged = await plugIn(name);
  const home = await mkdtemp(path.join(tmpdir(), 'evenrung-clock-'));
  arrange(plugged.responder);
  const link = new SupervisedLink({
    kind: 'usb',
    home,
    log: () => {},
    entry: CAMERA_PROCESS,
    env: { ...plugged.environment, TZ: zone },
  });
  try {
    await during(link);
  } finally {
    await link.letGo();
    await plugged.remove();
    await rm(home, { recursive: true, force: true });
  }
}

interface ClockedBody {
  readonly link: SupervisedLink;
  /** What was written, in order: the property, and its number. */
  readonly writes: { readonly code: number; readonly value: number }[];
}

/** @param clock the numbers that a body of 0x0B says when it is met; those missing it does not have */
function withClock(
  zone: string,
  clock: ReadonlyMap<number, number>,
  during: (clocked: ClockedBody) => Promise<void>,
): Promise<void> {
  const writes: { code: number; value: number }[] = [];
  const untold = new Map(clock);
  const arrange = (responder: Responder) => {
    responder.intercept(AMOUNT_OPERATION.getEvents, async (_, proceed) => {
      const { data = Buffer.alloc(0) } = await proceed();
      const records = [...untold].map(([code, value]) =>
        Buffer.concat([u32(16), u32(NEW_VALUE), u32(code), u32(value)]),
      );
      untold.clear();
      const end = data.length - END_OF_RECORDS_BYTES;
      return { data: Buffer.concat([data.subarray(0, end), ...records, data.subarray(end)]) };
    });
    responder.intercept(AMOUNT_OPERATION.setProperty, async ({ data }, proceed) => {
      const code = data?.readUInt32LE(4) ?? 0;
      if (data === null || !clock.has(code)) return proceed();
      writes.push({ code, value: data.readUInt32LE(8) });
      return {};
    });
  };
  return withLink('amount', zone, arrange, (link) => during({ link, writes }));
}

const HOUR = 3600;
const NOW = new Date('2026-07-01T10:00:00Z');
const now = NOW.getTime() / 1000;

/** Zones, and the seconds that they are ahead of UTC at NOW. */
const ZONES = [
  { zone: 'UTC', ahead: 0, summer: false },
  { zone: 'Asia/Kathmandu', ahead: 5.75 * HOUR, summer: false },
  { zone: 'America/Phoenix', ahead: -7 * HOUR, summer: false },
  { zone: 'Europe/Berlin', ahead: 2 * HOUR, summer: true },
] as const;

const write = async ({ link }: ClockedBody, setting: ClockSetting | null) => {
  if (setting === null) throw new Error('There is no clock to set.');
  await link.changeSetting(setting.name, setting.value);
};

for (const { zone, ahead, summer } of ZONES) {
  test(`a body that tells the moment and its own time, in ${zone}`, () => {
    const clock = new Map([
      [SHOWN_TIME, now + ahead + 90],
      [MOMENT, now + 90],
    ]);
    return withClock(zone, clock, async (body) => {
      const settings = await body.link.readSettings();
      expect(settings.get('datetimeutc')).toMatchObject({ kind: 'date', value: '2026-07-01T10:01:30.000Z' });
      expect(settings.get('datetime')).toMatchObject({ kind: 'date', value: '2026-07-01T10:01:30.000Z' });
      expect(clockDifference(settings, NOW)).toBe(90);
      // The library finds the other setting by the label that both have, and nothing is written.
      await body.link.changeSetting('datetime', String(now));
      expect(body.writes).toEqual([]);
      await write(body, clockSetting(settings, NOW));
      expect(body.writes).toEqual([{ code: MOMENT, value: now }]);
      const after = await body.link.readSettings();
      expect(clockDifference(after, NOW)).toBe(0);
      expect(clockCorrection(after, NOW)).toBeNull();
    });
  });

  test(`a body that tells its own time only, in ${zone}`, () =>
    withClock(zone, new Map([[SHOWN_TIME, now + ahead - 90]]), async (body) => {
      const settings = await body.link.readSettings();
      expect(clockDifference(settings, NOW)).toBe(-90);
      await write(body, clockSetting(settings, NOW));
      const after = await body.link.readSettings();
      const correction = clockCorrection(after, NOW);
      // Whether the hour is lost in summer depends on the C library; in winter it never is.
      if (!summer) expect(correction).toBeNull();
      if (correction !== null) {
        expect(clockDifference(after, NOW)).toBe(-HOUR);
        await write(body, correction);
      }
      expect(body.writes.at(-1)).toEqual({ code: SHOWN_TIME, value: now + ahead });
      expect(clockDifference(await body.link.readSettings(), NOW)).toBe(0);
    }));
}

/** The clock of PTP itself is a text without a zone: local time. */
for (const { zone, shown } of [
  { zone: 'UTC', shown: '20260701T100000' },
  { zone: 'Asia/Kathmandu', shown: '20260701T154500' },
  { zone: 'Europe/Berlin', shown: '20260701T120000' },
]) {
  test(`PTP's own clock, in ${zone}`, () => {
    let clock = shown.replace(/00$/, '07');
    const arrange = (responder: Responder) => {
      const step = (code: number, answer: (request: PtpRequest) => PtpAnswer) =>
        responder.intercept(code, async (request, proceed) =>
          request.parameters[0] === PROPERTY.clock ? answer(request) : proceed(),
        );
      step(OPERATION.getPropertyDescription, () => ({
        data: packTextDescription(PROPERTY.clock, text(clock)),
      }));
      step(OPERATION.getPropertyValue, () => ({ data: text(clock) }));
      step(OPERATION.setPropertyValue, ({ data }) => {
        clock = readText(data ?? Buffer.alloc(1));
        return {};
      });
    };
    return withLink('pattern', zone, arrange, async (link) => {
      const settings = await link.readSettings();
      expect(settings.get('datetime')?.kind).toBe('date');
      expect(settings.has('datetimeutc')).toBe(false);
      expect(clockDifference(settings, NOW)).toBe(7);
      const setting = clockSetting(settings, NOW);
      await link.changeSetting(setting?.name ?? '', setting?.value ?? '');
      expect(clock).toBe(shown);
    });
  });
}

test('the switches that set a clock are of no use', () =>
  withClock(
    'Asia/Kathmandu',
    new Map([
      [SHOWN_TIME, now],
      [MOMENT, now],
    ]),
    async ({ link, writes }) => {
      const before = Math.floor(Date.now() / 1000);
      for (const name of ['syncdatetime', 'syncdatetimeutc']) {
        await expect(link.changeSetting(name, 'on')).rejects.toMatchObject({ code: 'setting-not-taken' });
      }
      // Both write the number of UTC, also where the body expects local time.
      expect(writes.map(({ code }) => code)).toEqual([SHOWN_TIME, MOMENT]);
      for (const { value } of writes) {
        expect(value).toBeGreaterThanOrEqual(before);
        expect(value).toBeLessThanOrEqual(Math.ceil(Date.now() / 1000));
      }
    },
  ));

test('a clock that the body does not send again stands still', () =>
  withClock('UTC', new Map([[MOMENT, now]]), async ({ link }) => {
    const first = (await link.readSettings()).get('datetimeutc');
    await new Promise((resolve) => setTimeout(resolve, 1100));
    expect((await link.readSettings()).get('datetimeutc')).toEqual(first);
  }));
