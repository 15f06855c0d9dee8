// What both ways to the real libgphoto2 do alike, through the camera process, against a practice body on the virtual USB port.
import { fork } from 'node:child_process';
import { once } from 'node:events';
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import ExifReader from 'exifreader';
import { describe, expect, test } from 'vitest';
import type { Link } from '../../src/camera/link.js';
import { CAMERA_PROCESS } from '../built.js';
import { PACED, pace } from '../pace.js';
import { type LinkedBody, WAYS, withLinkedBody } from './linked-body.js';
import { AMOUNT_OPERATION } from './ptp/amount-face.js';
import { OPERATION, RESPONSE } from './ptp/codes.js';
import { FACES, type FaceName } from './ptp/plugged-body.js';
import type { PtpAnswer } from './ptp/responder.js';

const BRACKET = 0xd1d9;
const EXPOSURE_TIME = 0x500d;
const FULL_PRESS = 2;
const WITHIN_4_S = { timeout: 4000, interval: 100 };

const asCode = (error: { readonly code: string }) => error.code;

/** @returns the recorded exposure time as a fraction, such as `1/125` */
async function recordedTime(file: string): Promise<string> {
  const recorded = ExifReader.load(await readFile(file)).ExposureTime?.value;
  return Array.isArray(recorded) ? recorded.join('/') : 'none';
}

async function fireAndRead(link: Link, into: string, frames: number): Promise<string[]> {
  const times: string[] = [];
  for (let frame = 0; frame < frames; frame += 1) {
    const { path: file } = await link.fire({ into, exposureSeconds: 1 / 30 });
    times.push(await recordedTime(file));
  }
  return times;
}

test.each(FACES)('both ways tell the same settings, in the same order (%s)', (face) =>
  withLinkedBody(face, async ({ link }) => {
    // Clocks run.
    const read = async ({ link }: Pick<LinkedBody, 'link'>) =>
      [...(await link.readSettings())].filter(([name]) => !['datetime', '5011'].includes(name));
    const over = await read({ link });
    await link.letGo();
    expect(over.length).toBeGreaterThan(8);
    await withLinkedBody(
      face,
      async (direct) => {
        expect(await read(direct)).toEqual(over);
        expect(await direct.link.identify()).toMatchObject({ link: 'usb', model: 'Practice body' });
      },
      { way: 'direct' },
    );
  }),
);

describe.each(WAYS)('the link over the real library (%s)', (way) => {
  const withBody = (face: FaceName, during: (linked: LinkedBody) => Promise<void>) =>
    withLinkedBody(face, during, { way });

  test('a pass of dialect A: shutter set, bracket armed, three frames 0 - +, bracket off, all put back', () =>
    withBody('amount', async ({ link, into, card, printed }) => {
      const found = await link.readSettings();
      expect(await link.changeSetting('capturetarget', 'Memory card')).toMatchObject({
        value: 'Memory card',
      });
      expect(await link.changeSetting('shutterspeed', '1/125')).toMatchObject({ value: '1/125' });
      expect(await link.changeSetting('aeb', '+/- 1')).toMatchObject({ kind: 'choice', value: '+/- 1' });
      const fired = await link.fire({ into, exposureSeconds: 1 / 125 });
      expect(path.dirname(fired.path)).toBe(into);
      expect(path.basename(fired.path)).toMatch(/^incoming\.\w{6}$/);
      expect(fired.seconds).toBeGreaterThan(0);
      // + is more light: the frame at -1 EV is the shorter one.
      expect([await recordedTime(fired.path), ...(await fireAndRead(link, into, 2))]).toEqual([
        '1/125',
        '1/250',
        '1/60',
      ]);
      await link.changeSetting('aeb', 'off');
      expect(await fireAndRead(link, into, 1)).toEqual(['1/125']);
      expect(await readdir(into)).toHaveLength(4);
      // What came back is what the card keeps.
      expect(card.pictures).toHaveLength(4);
      expect(card.pictures[0]?.content.equals(await readFile(fired.path))).toBe(true);

      for (const name of ['aeb', 'shutterspeed', 'capturetarget']) {
        await link.changeSetting(name, found.get(name)?.value ?? '');
      }
      const left = await link.readSettings();
      for (const [name, setting] of found) {
        if (name !== 'availableshots') expect(left.get(name)).toEqual(setting);
      }
      expect(printed).toEqual([]);
    }));

  test('with the memory of the body as target a frame comes back, and nothing stays behind', () =>
    withBody('amount', async ({ link, into, card, responder }) => {
      const { path: file } = await link.fire({ into, exposureSeconds: 1 / 60 });
      expect(await recordedTime(file)).toBe('1/60');
      expect(card.pictures).toEqual([]);
      expect(responder.count(AMOUNT_OPERATION.transferComplete)).toBe(1);
    }));

  test('writing the bracket that is set already reaches the body, and starts it at its first frame', () =>
    withBody('amount', async ({ link, into, body, responder }) => {
      const bracketWrites = () =>
        responder.transactions.filter(
          ({ request }) =>
            request.code === AMOUNT_OPERATION.setProperty && request.data?.readUInt32LE(4) === BRACKET,
        ).length;
      await link.changeSetting('aeb', '+/- 2');
      expect(await fireAndRead(link, into, 2)).toEqual(['1/60', '1/250']);
      expect(bracketWrites()).toBe(1);
      expect(await link.changeSetting('aeb', '+/- 2')).toMatchObject({ value: '+/- 2' });
      expect(bracketWrites()).toBe(2);
      expect(await fireAndRead(link, into, 1)).toEqual(['1/60']);
      expect(body.shots.map((shot) => shot.bracketPosition)).toEqual([0, -1, 0]);
    }));

  test('what the body does not offer never reaches it', () =>
    withBody('amount', async ({ link, body, responder, printed }) => {
      // '7' is no label of this body. The binding would take it as an index, and set another shutter.
      await expect(link.changeSetting('shutterspeed', '7')).rejects.toMatchObject({
        code: 'choice-not-offered',
        message: expect.stringMatching(/It offers '[^']+'(?:, '[^']+'){4} \.\.\.$/),
      });
      await expect(link.changeSetting('aeb', '+/- 4')).rejects.toMatchObject({ code: 'choice-not-offered' });
      await expect(link.changeSetting('uilock', '2')).rejects.toMatchObject({ code: 'choice-not-offered' });
      await expect(link.changeSetting('nosuchsetting', 'on')).rejects.toMatchObject({
        code: 'unknown-setting',
      });
      await expect(link.changeSetting('/main/status/nosuch', 'on')).rejects.toMatchObject({
        code: 'unknown-setting',
      });
      expect(responder.count(AMOUNT_OPERATION.setProperty)).toBe(0);
      expect(body.state.shutter).toBe(36);
      expect(printed).toEqual([]);
    }));

  test('a choice that the body refuses is told as not taken', () =>
    withBody('amount', async ({ link, body }) => {
      // The library lists every mode that it knows; this body has two.
      await expect(link.changeSetting('autoexposuremode', 'Bulb')).rejects.toMatchObject({
        code: 'setting-not-taken',
        details: { name: 'autoexposuremode', wanted: 'Bulb' },
      });
      expect(body.state.mode).toBe('manual');
    }));

  test.concurrent('in plain PTP a refused write is found out by reading back, whatever the library reports', () =>
    withBody('standard', async ({ link, responder }) => {
      responder.intercept(OPERATION.setPropertyValue, async () => ({
        response: RESPONSE.invalidPropertyValue,
      }));
      await expect(link.changeSetting('shutterspeed', '0.0080s')).rejects.toMatchObject({
        code: 'setting-not-taken',
        details: { name: 'shutterspeed', wanted: '0.0080s', found: '0.0167s' },
      });
    }));

  test.concurrent('a body that reports a change late is believed in the end', () =>
    withBody('standard', async ({ link, responder }) => {
      let asItWas: PtpAnswer | undefined;
      let late = false;
      responder.intercept(OPERATION.setPropertyValue, (_, proceed) => {
        late = true;
        return proceed();
      });
      responder.intercept(OPERATION.getPropertyDescription, async (request, proceed) => {
        if (request.parameters[0] !== EXPOSURE_TIME) return proceed();
        if (late && asItWas !== undefined) {
          late = false;
          return asItWas;
        }
        asItWas = await proceed();
        return asItWas;
      });
      expect(await link.changeSetting('shutterspeed', '0.0080s')).toMatchObject({ value: '0.0080s' });
      expect(late).toBe(false);
    }));

  test('a body of dialect D in plain PTP: shutter set for every frame, each comes back as it was set', () =>
    withBody('standard', async ({ link, into, card }) => {
      const times: string[] = [];
      for (const shutter of ['0.0080s', '0.0333s', '0.1250s']) {
        await link.changeSetting('shutterspeed', shutter);
        times.push(...(await fireAndRead(link, into, 1)));
      }
      expect(times).toEqual(['1/125', '1/30', '1/8']);
      expect(card.pictures).toHaveLength(3);
    }));

  test('a folder that takes no files is found out before the shutter is touched', () =>
    withBody('amount', async ({ link, into, body, responder }) => {
      await expect(
        link.fire({ into: path.join(into, 'missing'), exposureSeconds: 1 / 60 }),
      ).rejects.toMatchObject({ code: 'storing-failed', details: { released: false } });
      expect(responder.transactions).toEqual([]);
      expect(body.shots).toEqual([]);
    }));

  test('a frame that the body makes but does not hand over is missing, and the body is not lost', () =>
    withBody('standard', async ({ link, into, body, responder }) => {
      for (const operation of [OPERATION.getObject, OPERATION.getPartialObject]) {
        responder.intercept(operation, async () => ({ response: RESPONSE.generalError }));
      }
      await expect(link.fire({ into, exposureSeconds: 1 / 60 })).rejects.toMatchObject({
        code: 'frame-missing',
      });
      expect(body.shots).toHaveLength(1);
      expect((await link.readSettings()).has('shutterspeed')).toBe(true);
    }));

  test('a busy body is told as busy', () =>
    withBody('amount', async ({ link, into, body, responder }) => {
      responder.intercept(AMOUNT_OPERATION.press, async () => ({ response: RESPONSE.deviceBusy }));
      await expect(link.fire({ into, exposureSeconds: 1 / 60 })).rejects.toMatchObject({ code: 'body-busy' });
      expect(body.shots).toEqual([]);
    }));

  test('a body that is busy when it is let go of is waited for, and keeps its frames where it kept them before', () =>
    withBody('amount', async ({ link, body, responder }) => {
      await body.change('target', 'card');
      await link.readSettings();
      // Connecting moves it.
      expect(body.state.target).toBe('memory');
      setTimeout(
        responder.intercept('any', async () => ({ response: RESPONSE.deviceBusy })),
        800,
      );
      await link.letGo();
      expect(body.state.target).toBe('card');
    }));

  test('a body that stays busy is let go of all the same, within the time that there is', PACED, () =>
    withBody('amount', async ({ link, responder }) => {
      await link.readSettings();
      responder.intercept('any', async () => ({ response: RESPONSE.deviceBusy }));
      const started = performance.now();
      await link.letGo();
      pace('a body that stays busy is let go of', performance.now() - started, 'ms', 3900);
    }),
  );

  test('a body that is busy when the daemon dies is waited for, too', () =>
    withBody('amount', async ({ body, responder, environment, usb }) => {
      await body.change('target', 'card');
      const home = await mkdtemp(path.join(tmpdir(), 'evenrung-home-'));
      const camera = fork(CAMERA_PROCESS, ['usb', way], {
        env: { ...process.env, ...environment, HOME: home },
        execArgv: ['--expose-gc'],
        serialization: 'advanced',
      });
      camera.send({ id: 1, method: 'readSettings', args: [] });
      await once(camera, 'message');
      expect([usb.connected, body.state.target]).toEqual([true, 'memory']);
      setTimeout(
        responder.intercept('any', async () => ({ response: RESPONSE.deviceBusy })),
        800,
      );
      camera.disconnect();
      await once(camera, 'exit');
      expect(body.state.target).toBe('card');
      await rm(home, { recursive: true, force: true });
    }));

  for (const name of ['amount', 'standard'] as const) {
    test(
      `the cable pulled (${name}): whatever is asked then tells that the body is lost; put back, it is found again`,
      PACED,
      () =>
        withBody(name, async ({ link, into, usb }) => {
          const settings = await link.readSettings();
          const shutter = settings.get('shutterspeed')?.choices?.[20] ?? '';
          const lost = { code: 'body-lost' };
          await usb.unplug();
          await expect(link.changeSetting('shutterspeed', shutter)).rejects.toMatchObject(lost);
          // The process that lost the body is gone; the next one finds none as long as the cable is out.
          await expect(link.readSettings()).rejects.toMatchObject({ code: 'no-body' });
          await usb.plug();
          expect((await link.readSettings()).size).toBe(settings.size);
          await usb.unplug();
          // In plain PTP the library answers from memory for up to 2 s.
          await expect
            .poll(() => link.readSettings().then(() => 'read', asCode), WITHIN_4_S)
            .toBe('body-lost');
          await usb.plug();
          await link.readSettings();
          await usb.unplug();
          await expect(link.fire({ into, exposureSeconds: 1 / 60 })).rejects.toMatchObject(lost);
          const started = performance.now();
          await link.letGo();
          pace('a body that is gone is let go of', performance.now() - started, 'ms', 1000);
        }),
    );
  }

  test('the cable pulled while a frame is made', () =>
    withBody('amount', async ({ link, into, usb, responder }) => {
      responder.intercept(AMOUNT_OPERATION.press, async ({ parameters: [position] }, proceed) => {
        if (position === FULL_PRESS) setImmediate(() => void usb.unplug());
        return proceed();
      });
      await expect(link.fire({ into, exposureSeconds: 1 / 60 })).rejects.toMatchObject({ code: 'body-lost' });
    }));

  test('with no camera on the cable the sentence says what to look at', () =>
    withBody('amount', async ({ link, usb }) => {
      await usb.unplug();
      await expect(link.readSettings()).rejects.toMatchObject({
        code: 'no-body',
        message: expect.stringContaining('Switch it on'),
      });
    }));
});
