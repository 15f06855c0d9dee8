// Devices that the library takes for cameras and that are none, or that have nothing to set: explained, never a crash.
import { mkdtemp, readdir, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { run } from '../built.js';
import { OPERATION, RESPONSE } from './ptp/codes.js';
import { packDeviceInfo } from './ptp/datasets.js';
import { type PluggedBody, plugIn } from './ptp/plugged-body.js';

let plugged: PluggedBody;
let into = '';
beforeEach(async () => {
  plugged = await plugIn('standard');
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await plugged.remove();
  await rm(into, { recursive: true, force: true });
});

/** It tells what it can do: nothing but to hand out files, and it has the properties given. */
function pose(properties: readonly number[], operations: readonly number[]): void {
  plugged.responder.intercept(OPERATION.getDeviceInfo, async () => ({
    data: packDeviceInfo({
      vendorExtension: 0,
      operations,
      events: [],
      properties,
      model: 'Player of music <b>&amp;</b> \u{1f3b5}',
      serial: '../../../etc/passwd',
    }),
  }));
}

const FILES_ONLY = [
  OPERATION.getDeviceInfo,
  OPERATION.openSession,
  OPERATION.closeSession,
  OPERATION.getStorageIds,
  OPERATION.getStorageInfo,
  OPERATION.getObjectHandles,
  OPERATION.getObjectInfo,
  OPERATION.getObject,
];

const fire = () =>
  run(['fire', '--frames', '3', '--step', '1', '--body', 'usb', '--into', into, '--json'], {
    ...plugged.environment,
  });

it('a device without a shutter: one sentence, exit 1, nothing made', async () => {
  pose([], FILES_ONLY);
  const { code, stdout, stderr } = await fire();
  expect(code).toBe(1);
  expect(stderr).toMatch(/^The camera's shutter cannot be set over the cable\..*\n {2}more: .*\n$/);
  expect(JSON.parse(stdout.trim().split('\n').at(-1) ?? '')).toMatchObject({
    error: { code: 'body-not-ready' },
  });
  expect(await readdir(into)).toEqual([]);
});

it('`bodies` lists it, with why it could not be met', async () => {
  pose([], FILES_ONLY);
  const { code, stdout } = await run(['cameras', '--body', 'usb'], { ...plugged.environment });
  expect(code).toBe(1);
  expect(stdout).toMatch(/^ {2}The camera's shutter cannot be set/m);
});

it('properties that are told and not answered for: the same', async () => {
  pose([0x500d, 0x5007, 0x500e], FILES_ONLY);
  const { code, stderr } = await fire();
  expect([code, stderr]).toEqual([1, expect.stringMatching(/shutter cannot be set/)]);
});

it('a device that answers everything with an error: not found, or lost, in a sentence', async () => {
  plugged.responder.intercept('any', async () => ({ response: RESPONSE.generalError }));
  const { code, stderr } = await fire();
  expect(code).toBe(1);
  expect(stderr).toMatch(/^[A-Z].*\.\n {2}more: .*\n$/);
  expect(await readdir(into)).toEqual([]);
});

it('whatever model and serial it tells, no path leaves the folders', async () => {
  plugged.responder.intercept(OPERATION.getDeviceInfo, async (_, proceed) => {
    const { data } = await proceed();
    expect(data).toBeDefined();
    return {
      data: packDeviceInfo({
        vendorExtension: 0,
        operations: [...plugged.responder.operations],
        events: [0x4002, 0x400d],
        properties: [0x5007, 0x500d, 0x500e, 0x500f, 0x5013],
        model: '../../model',
        serial: '../../../serial',
      }),
    };
  });
  const folders = { XDG_STATE_HOME: path.join(into, 'state'), XDG_CONFIG_HOME: path.join(into, 'config') };
  const learnt = await run(['learn', '--body', 'usb', '--longest', '0', '--json'], {
    ...plugged.environment,
    ...folders,
  });
  expect([learnt.code, learnt.stderr]).toEqual([0, '']);
  const kept = (await readdir(path.join(into, 'config'), { recursive: true })).filter((name) =>
    name.endsWith('.json'),
  );
  expect(kept).toHaveLength(1);
  expect(path.dirname(kept[0] ?? '')).toBe(path.join('evenrung', 'bodies'));
  expect((await readdir(into)).sort()).toEqual(['config', 'state']);
});
