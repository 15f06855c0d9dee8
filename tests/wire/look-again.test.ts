// A camera that was lost and comes back when nobody is there: the daemon finds it by itself, puts back what it owes, and takes no
// practice body in its place.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { BodyState } from '../../shared/state.js';
import { EventLog, type Station } from '../../src/station/index.js';
import { stationOfProcess } from '../harness/process-station.js';
import { type PluggedBody, plugIn } from './ptp/plugged-body.js';

let root = '';
let plugged: PluggedBody;
let station: Station;
let events: EventLog;
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  plugged = await plugIn('amount');
  await plugged.body.change('target', 'card');
  events = new EventLog();
});
afterEach(async () => {
  await station.close();
  await plugged.remove();
  await rm(root, { recursive: true, force: true });
});

function begin(choice: 'usb' | 'auto', lookAgainMs?: number): void {
  ({ station } = stationOfProcess(root, plugged.environment, {
    ...{ choice, events, patienceMs: 500 },
    ...(lookAgainMs === undefined ? {} : { lookAgainMs }),
  }));
}

/** @returns the next state of the body that is so */
function until(isSo: (body: BodyState) => boolean): Promise<BodyState> {
  return new Promise((resolve) => {
    const unwatch = events.watch(({ happening }) => {
      if (happening.type !== 'body' || !isSo(happening.body)) return;
      unwatch();
      resolve(happening.body);
    });
  });
}

async function loseInTheMiddle(): Promise<void> {
  await station.look();
  const unwatch = events.watch(({ happening }) => {
    if (happening.type !== 'frame' || happening.frame.state !== 'verified') return;
    unwatch();
    void plugged.usb.unplug();
  });
  await station.start({ frames: 9, step: 1, base: '1/60' });
  await station.settled();
  expect(events.state.run).toMatchObject({
    state: 'halted',
    error: expect.stringMatching(/body-lost|no-body/),
  });
}

describe('a camera that was lost', () => {
  it.each(['usb', 'auto'] as const)(
    '%s: is found when it is back, and is as it was found',
    async (choice) => {
      begin(choice, 300);
      const before = { ...plugged.body.state };
      await loseInTheMiddle();
      expect(plugged.body.state).not.toEqual(before);
      expect(events.state.body).toMatchObject({
        state: 'absent',
        next: 'Evenrung looks for it every 0.3 s, and puts its settings back.',
      });
      const told = events.seq;
      await new Promise((resolve) => setTimeout(resolve, 1500));
      // Nothing is told as long as nothing is new: the first look may put the loss in other words.
      expect(events.seq - told).toBeLessThanOrEqual(1);
      expect(events.state.body.state).toBe('absent');
      const back = until(({ state }) => state === 'ready');
      await plugged.usb.plug();
      expect(await back).toMatchObject({
        note: expect.stringMatching(/^Settings that an earlier set had changed were put back: /),
        body: { link: 'usb' },
      });
      // The library keeps the target of the frames elsewhere while it is connected.
      await station.close();
      expect({ ...plugged.body.state }).toEqual(before);
    },
  );

  it('is not looked for where nobody wants that', async () => {
    begin('usb');
    await loseInTheMiddle();
    expect(events.state.body).toMatchObject({ state: 'absent', next: null });
  });
});

describe('where no camera is there at first', () => {
  it('the one that comes later is found', async () => {
    await plugged.usb.unplug();
    begin('usb', 300);
    await station.look();
    expect(events.state.body).toMatchObject({ state: 'absent', error: 'no-body' });
    const back = until(({ state }) => state === 'ready');
    await plugged.usb.plug();
    await back;
  });
});
