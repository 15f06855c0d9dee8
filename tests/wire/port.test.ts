// The virtual USB port and the responder behind it: libgphoto2 must find a camera there and read from it what a body of the
// dialect shows.
import { fork } from 'node:child_process';
import { once } from 'node:events';
import { mkdtemp, rm } from 'node:fs/promises';
import { createConnection, type Socket } from 'node:net';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { expect, test } from 'vitest';
import { sixths } from '../../shared/ev.js';
import type { Settings } from '../../src/camera/link.js';
import { CAMERA_PROCESS } from '../built.js';
import { withLinkedBody } from './linked-body.js';
import { AMOUNT_OPERATION, eighths } from './ptp/amount-face.js';
import { OPERATION } from './ptp/codes.js';
import { plugIn } from './ptp/plugged-body.js';
import { VirtualUsb } from './ptp/virtual-usb.js';

const valueFor = (settings: Settings, name: string) => settings.get(name)?.value;
const choicesFor = (settings: Settings, name: string) => settings.get(name)?.choices;

test('exposures are written in eighths of an EV', () => {
  // Read off the label tables of libgphoto2 2.5.30 (camlibs/ptp2/config.c): +/- 1/3 is 3, 1/2 is 4, 2/3 is 5; -1/3 is 0xfd.
  expect([2, 3, 4, 6, 8, 10, 18].map(sixths).map(eighths)).toEqual([3, 4, 5, 8, 11, 13, 24]);
  expect(eighths(sixths(-2)) & 0xff).toBe(0xfd);
  expect(eighths(sixths(-10)) & 0xff).toBe(0xf3);
});

test('a body of dialect A is found, and shows its settings under the names and labels of vendor extension 0x0B', () =>
  withLinkedBody('amount', async ({ link, printed }) => {
    const settings = await link.readSettings();
    expect(await link.identify()).toEqual({ link: 'usb', model: 'Practice body', serial: 'PB-0001' });
    expect(settings.get('aeb')).toEqual({
      name: 'aeb',
      kind: 'choice',
      value: 'off',
      choices: [
        'off',
        '+/- 1/3',
        '+/- 2/3',
        '+/- 1',
        '+/- 1 1/3',
        '+/- 1 2/3',
        '+/- 2',
        '+/- 2 1/3',
        '+/- 2 2/3',
        '+/- 3',
      ],
    });
    const shutters = choicesFor(settings, 'shutterspeed') ?? [];
    expect(shutters).toHaveLength(56);
    expect(shutters.slice(0, 7)).toEqual(['bulb', '30', '25', '20', '15', '13', '10.3']);
    expect(shutters.slice(-2)).toEqual(['1/6400', '1/8000']);
    expect(choicesFor(settings, 'exposurecompensation')?.slice(6, 13)).toEqual([
      '-1',
      '-0.6',
      '-0.3',
      '0',
      '0.3',
      '0.6',
      '1',
    ]);
    expect(choicesFor(settings, 'capturetarget')).toEqual(['Internal RAM', 'Memory card']);
    const values = {
      shutterspeed: '1/60',
      aperture: '8',
      iso: '100',
      exposurecompensation: '0',
      autoexposuremode: 'Manual',
      drivemode: 'Single',
      focusmode: 'Manual',
      whitebalance: 'Daylight',
      imageformat: 'Large Fine JPEG',
      capturetarget: 'Internal RAM',
      batterylevel: '100%',
      availableshots: '20000',
      cameramodel: 'Practice body',
      serialnumber: 'PB-0001',
    };
    const shown = Object.keys(values).map((name) => [name, valueFor(settings, name)]);
    expect(Object.fromEntries(shown)).toEqual(values);
    expect(settings.get('uilock')).toMatchObject({ kind: 'toggle', value: 'off' });
    expect(printed).toEqual([]);
  }));

test('a setting that was changed on the body itself is seen at the next reading', () =>
  withLinkedBody('amount', async ({ link, body }) => {
    await link.readSettings();
    await body.change('aperture', sixths(24));
    await body.change('mode', 'aperture');
    const settings = await link.readSettings();
    expect(valueFor(settings, 'aperture')).toBe('4');
    expect(valueFor(settings, 'autoexposuremode')).toBe('AV');
    // The body chooses the shutter now.
    expect(valueFor(settings, 'shutterspeed')).toBe('auto');
  }));

test('a body of vendor extension 0x0B without a bracket shows all but the bracket', () =>
  withLinkedBody('hidden', async ({ link }) => {
    const settings = await link.readSettings();
    expect(settings.has('aeb')).toBe(false);
    expect(valueFor(settings, 'shutterspeed')).toBe('1/60');
  }));

test('a body of dialect D in plain PTP shows exposure times in units of 0.1 ms, where fast ones fall together', () =>
  withLinkedBody('standard', async ({ link }) => {
    const settings = await link.readSettings();
    expect(await link.identify()).toEqual({ link: 'usb', model: 'Practice body', serial: 'PB-0004' });
    const shutters = choicesFor(settings, 'shutterspeed') ?? [];
    expect(shutters).toHaveLength(55);
    expect(shutters.slice(0, 2)).toEqual(['30.0000s', '25.0000s']);
    expect(shutters).toContain('0.0080s');
    expect(shutters.slice(-6)).toEqual(['0.0004s', '0.0003s', '0.0003s', '0.0002s', '0.0002s', '0.0001s']);
    const values = {
      shutterspeed: '0.0167s',
      'f-number': 'f/8',
      iso: '100',
      exposurecompensation: '0',
      expprogram: 'M',
      capturemode: 'Single Shot',
      focusmode: 'Manual',
      whitebalance: 'Daylight',
      batterylevel: '100%',
    };
    const shown = Object.keys(values).map((name) => [name, valueFor(settings, name)]);
    expect(Object.fromEntries(shown)).toEqual(values);
    expect(settings.has('aeb')).toBe(false);
  }));

test('letting go closes the session; a process that was killed leaves it open, and the next one finds the body all the same', () =>
  withLinkedBody('amount', async ({ link, responder }) => {
    const first = await link.readSettings();
    link.kill();
    const second = await link.readSettings();
    expect(responder.count(OPERATION.openSession)).toBe(2);
    expect(responder.count(OPERATION.closeSession)).toBe(0);
    expect([...second.keys()]).toEqual([...first.keys()]);
    expect(valueFor(second, 'aeb')).toBe('off');
    await link.letGo();
    expect(responder.count(OPERATION.closeSession)).toBe(1);
  }));

test('transactions can be counted, and stepped into', () =>
  withLinkedBody('amount', async ({ link, responder }) => {
    await link.readSettings();
    const seen: number[] = [];
    const stepOut = responder.intercept('any', (request, proceed) => {
      seen.push(request.code);
      return proceed();
    });
    const before = responder.transactions.length;
    await link.readSettings();
    stepOut();
    expect(seen).toEqual([AMOUNT_OPERATION.getEvents, AMOUNT_OPERATION.keepOn]);
    expect(responder.transactions).toHaveLength(before + seen.length);
    await link.readSettings();
    expect(seen).toHaveLength(2);
  }));

test('of two bodies none is taken unless its port is said; the process lists both, and lets go of the one', async () => {
  const [one, other] = await Promise.all([plugIn('amount', { serial: 'PB-ONE' }), plugIn('standard')]);
  const home = await mkdtemp(path.join(tmpdir(), 'evenrung-home-'));
  const sockets = `${one.usb.path}:${other.usb.path}`;
  const env = { ...process.env, ...one.environment, VIRTUAL_BODY_SOCKETS: sockets, HOME: home };
  // Forked by hand: the process must still be able to answer after it let go and collected, other camera or not.
  const forked = (...port: string[]) =>
    fork(CAMERA_PROCESS, ['usb', 'binding', ...port], {
      env,
      execArgv: ['--expose-gc'],
      serialization: 'advanced',
      stdio: ['ignore', 'ignore', 'ignore', 'ipc'],
    });
  const [undecided, child] = [forked(), forked('usb:001,002')];
  try {
    const ask = (child: ReturnType<typeof forked>, id: number, method: string) =>
      new Promise<unknown>((resolve, reject) => {
        child.once('message', resolve);
        child.once('exit', (code, signal) => reject(new Error(`ended with ${signal ?? code}`)));
        child.send({ id, method, args: [] });
      });
    const ports = ['usb:001,002', 'usb:001,003'];
    expect(await ask(undecided, 1, 'identify')).toMatchObject({
      ok: false,
      code: 'several-bodies',
      details: { ports },
    });
    expect(await ask(undecided, 2, 'attached')).toMatchObject({
      ok: true,
      value: ports.map((port) => ({ port, model: expect.any(String) })),
    });
    expect(one.responder.transactions).toEqual([]);
    const call = (id: number, method: string) => ask(child, id, method);
    expect(await call(1, 'identify')).toMatchObject({ ok: true, value: { serial: 'PB-ONE' } });
    expect(await call(2, 'letGo')).toMatchObject({ ok: true });
    expect(await call(3, 'readSettings')).toMatchObject({ ok: false, code: 'body-lost' });
    expect(other.responder.transactions).toEqual([]);
  } finally {
    undecided.kill('SIGKILL');
    child.kill('SIGKILL');
    await Promise.all([one.remove(), other.remove(), rm(home, { recursive: true, force: true })]);
  }
});

/** Asks the interrupt endpoint for an event, as virtual-usb-port.c does. */
function listen(socket: Socket, milliseconds: number): void {
  const request = Buffer.alloc(9);
  request.writeUInt8(3, 0);
  request.writeUInt32LE(milliseconds, 1);
  socket.write(request);
}

test('a read of the interrupt endpoint by a process that was killed takes no event from the next one', async () => {
  const folder = await mkdtemp(path.join(tmpdir(), 'evenrung-port-'));
  const usb = new VirtualUsb(path.join(folder, 'body'), {
    receive: async () => [],
    reopened: () => undefined,
    unplugged: () => undefined,
  });
  await usb.plug();
  try {
    const killed = createConnection(usb.path);
    listen(killed, 2000);
    await once(killed, 'connect');
    const next = createConnection(usb.path);
    await once(next, 'connect');
    killed.destroy();
    await new Promise((resolve) => setTimeout(resolve, 100));
    usb.tell({ type: 4, code: 0x4002, transaction: 1, payload: Buffer.alloc(4) });
    listen(next, 1000);
    const [reply] = (await once(next, 'data')) as [Buffer];
    expect(reply.readInt32LE(0)).toBeGreaterThan(0);
    next.destroy();
  } finally {
    await usb.unplug();
    await rm(folder, { recursive: true, force: true });
  }
});
