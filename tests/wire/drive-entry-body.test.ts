// Dialect C on the wire: the real libgphoto2 and its binding read, set and fire bodies of vendor extension 0x11 on the virtual
// USB port. Also the traps that library and binding set for such bodies, so that a newer version which sets others is noticed.
import { expect, test } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { Body } from '../../src/camera/index.js';
import { NO_TIME } from '../../src/camera/practice/model.js';
import { readRecorded } from '../../src/frames/index.js';
import { fireSet } from '../harness/set.js';
import { type LinkedBody, withLinkedBody } from './linked-body.js';
import { OPERATION, PROPERTY, RESPONSE } from './ptp/codes.js';
import { CONTAINER, packParameters } from './ptp/containers.js';
import {
  DRIVE_ENTRY_OPERATION,
  DRIVE_ENTRY_PROPERTY,
  fractionCode,
  IN_MEMORY,
  PICTURE_ADDED,
} from './ptp/drive-entry-face.js';
import type { PtpAnswer } from './ptp/responder.js';

const BASE_SECONDS = 1 / 60;
const WITHIN_4_S = { timeout: 4000, interval: 100 };

// Counts and steps of the practice body, in the spelling of libgphoto2 2.5.30 (camlibs/ptp2/config.c).
const PAIRS = [
  ['0.3', 3, 5, 9],
  ['0.7', 3, 5, 9],
  ['1.0', 3, 5, 9],
  ['2.0', 3, 5],
  ['3.0', 3, 5],
] as const;
const entry = (press: 'C' | 'S', step: string, count: number) =>
  `Bracketing ${press} ${step} Steps ${count} Pictures`;
const ENTRIES = (['C', 'S'] as const).flatMap((press) =>
  PAIRS.flatMap(([step, ...counts]) => counts.map((count) => entry(press, step, count))),
);
const SINGLE = 'Single Shot';
const THREE = entry('S', '1.0', 3);

const SHUTTERS =
  '30 25 20 15 13 10 8 6 5 4 32/10 25/10 2 16/10 13/10 1 8/10 6/10 5/10 4/10 1/3 1/4 1/5 1/6 1/8 1/10 1/13 1/15 1/20 1/25 1/30 1/40 1/50 1/60 1/80 1/100 1/125 1/160 1/200 1/250 1/320 1/400 1/500 1/640 1/800 1/1000 1/1250 1/1600 1/2000 1/2500 1/3200 1/4000'.split(
    ' ',
  );
/** What libgphoto2 lists beside for every body that does not list its own. */
const NOT_ON_THIS_BODY = '1/5000 1/6400 1/8000 1/10000 1/12500 1/16000 1/20000 1/25000 1/32000'.split(' ');
const COMPENSATIONS = '-3 -2.7 -2.3 -2 -1.7 -1.3 -1 -0.7 -0.3 0 0.3 0.7 1 1.3 1.7 2 2.3 2.7 3'.split(' ');
const ISOS = '100 125 160 200 250 320 400 500 640 800 1000 1250 1600 2000 2500 3200'.split(' ');

const asCode = (error: { readonly code: string }) => error.code;

/** @returns the offset from 1/60 that the next frame records, in EV */
async function fireOne({ link, into }: LinkedBody): Promise<number> {
  const { path: file } = await link.fire({ into, exposureSeconds: BASE_SECONDS });
  const { exposureTime } = await readRecorded(file);
  return Math.round(Math.log2((exposureTime ?? Number.NaN) / BASE_SECONDS));
}

async function fireSome(linked: LinkedBody, frames: number): Promise<number[]> {
  const offsets: number[] = [];
  for (let frame = 0; frame < frames; frame += 1) offsets.push(await fireOne(linked));
  return offsets;
}

/** Counts the transactions during some work that change settings, or press buttons. */
async function changesDuring({ responder }: LinkedBody, work: () => Promise<unknown>) {
  const before = responder.transactions.length;
  await work();
  const codes = responder.transactions.slice(before).map(({ request }) => request.code);
  const count = (wanted: number) => codes.filter((code) => code === wanted).length;
  return { writes: count(DRIVE_ENTRY_OPERATION.write), moves: count(DRIVE_ENTRY_OPERATION.move) };
}

/** What was written to a property, as hexadecimal digits, oldest first. */
const written = ({ responder }: LinkedBody, property: number): (string | undefined)[] =>
  responder.transactions
    .filter(
      ({ request }) => request.code === DRIVE_ENTRY_OPERATION.write && request.parameters[0] === property,
    )
    .map(({ request }) => request.data?.toString('hex'));

/** Which buttons were put up or down. */
const buttons = ({ responder }: LinkedBody): string[] =>
  responder.transactions.flatMap(({ request: { code, parameters, data } }) => {
    if (code !== DRIVE_ENTRY_OPERATION.move || data?.length !== 2) return [];
    const button = parameters[0] === DRIVE_ENTRY_PROPERTY.halfPress ? 'half' : 'full';
    return [`${button} ${data.readUInt16LE(0) === 2 ? 'down' : 'up'}`];
  });

test('exposure times are written as fractions, from 0.4 s on in tenths', () => {
  // Seen on real bodies (libgphoto2 2.5.30, camlibs/ptp2/cameras): 300/10, 13/10, 4/10, 1/3, 1/60, 1/4000.
  expect([-30, -2, 8, 10, 36, 72].map(sixths).map(fractionCode)).toEqual([
    19660810, 851978, 262154, 65539, 65596, 69536,
  ]);
});

test('the settings of a body that takes values have these names and labels', () =>
  withLinkedBody('drive-entry', async ({ link, printed }) => {
    const settings = await link.readSettings();
    const labels = (name: string) => settings.get(name)?.choices;
    expect(labels('capturemode')).toEqual([SINGLE, 'Burst', ...ENTRIES]);
    // Bulb is always in the list, whether the body has it or not.
    expect(labels('shutterspeed')).toEqual([...SHUTTERS, 'Bulb']);
    expect(labels('expprogram')).toEqual(['M', 'A']);
    expect(labels('whitebalance')).toEqual(['Automatic', 'Daylight']);
    expect(labels('focusmode')).toEqual(['Manual', 'Automatic']);
    expect(labels('imagequality')).toEqual(['Fine', 'RAW+JPEG (Fine)', 'RAW']);
    expect(labels('capturetarget')).toEqual(['sdram', 'card+sdram']);
    // Every f-number there is: the body tells no range.
    expect([labels('f-number')?.[0], labels('f-number')?.at(-1), labels('f-number')?.length]).toEqual([
      'f/1',
      'f/64',
      37,
    ]);
    const values = ['capturemode', 'shutterspeed', 'f-number', 'iso', 'exposurecompensation', 'batterylevel'];
    expect(values.map((name) => settings.get(name)?.value)).toEqual([
      SINGLE,
      '1/60',
      'f/8',
      '100',
      '0',
      '80%',
    ]);
    // The extension has no clock and no count of frames left, as far as libgphoto2 knows.
    for (const missing of ['datetime', 'availableshots', 'aeb', 'bracketing', 'drivemode'])
      expect(settings.has(missing)).toBe(false);
    expect(await link.identify()).toEqual({ link: 'usb', model: 'Practice body', serial: 'PB-0003' });
    expect(printed).toEqual([]);
  }));

test('a newer body has ISO and compensation twice, once with an empty list: it is filled from the other', () =>
  withLinkedBody('drive-entry', async ({ link, body }) => {
    const settings = await link.readSettings();
    expect(settings.get('d226')?.choices).toEqual(ISOS);
    expect(settings.get('d224')?.choices?.map((label) => String(Number(label) / 1000))).toEqual(
      COMPENSATIONS,
    );
    expect(settings.get('iso')).toMatchObject({ value: '100', choices: ISOS });
    expect(settings.get('exposurecompensation')).toMatchObject({ value: '0', choices: COMPENSATIONS });
    await link.changeSetting('exposurecompensation', '-1.7');
    expect(body.state.compensation).toBe(-10);
    // Were it let through, it would be taken as an index.
    await expect(link.changeSetting('iso', '1')).rejects.toMatchObject({ code: 'choice-not-offered' });
    expect(body.state.iso).toBe(100);
  }));

test('a write to a number whose property shares its title with another one does nothing', () =>
  withLinkedBody('drive-entry', async (linked) => {
    await expect(linked.link.changeSetting('d226', '200')).rejects.toMatchObject({
      code: 'setting-not-taken',
    });
    expect(written(linked, DRIVE_ENTRY_PROPERTY.isoWritten)).toEqual([]);
  }));

test('values are written at once, however far; the aperture is moved one f-number a command', () =>
  withLinkedBody('drive-entry', async (linked) => {
    const { link, body } = linked;
    await link.readSettings();
    const change = (name: string, value: string) =>
      changesDuring(linked, async () =>
        expect(await link.changeSetting(name, value)).toMatchObject({ value }),
      );
    // The library writes the shutter twice.
    expect(await change('shutterspeed', '1/80')).toEqual({ writes: 2, moves: 0 });
    expect(await change('shutterspeed', '13/10')).toEqual({ writes: 2, moves: 0 });
    expect(body.state.shutter).toBe(-2);
    expect(await change('shutterspeed', '30')).toEqual({ writes: 2, moves: 0 });
    expect(body.state.shutter).toBe(-30);
    expect(await change('f-number', 'f/9')).toEqual({ writes: 1, moves: 1 });
    expect(await change('f-number', 'f/5.6')).toEqual({ writes: 1, moves: 4 });
    expect(body.state.aperture).toBe(30);
    expect(await change('f-number', 'f/5.6')).toEqual({ writes: 1, moves: 0 });
    for (const [name, value] of [
      ['expprogram', 'A'],
      ['whitebalance', 'Automatic'],
      ['focusmode', 'Automatic'],
      ['imagequality', 'RAW+JPEG (Fine)'],
      ['capturemode', entry('C', '0.7', 9)],
    ] as const)
      expect((await change(name, value)).moves).toBe(0);
    expect(body.state).toMatchObject({
      mode: 'aperture',
      whiteBalance: 'auto',
      focus: 'single',
      format: 'raw-and-jpeg',
      drive: { press: 'all', step: 4 },
    });
  }));

test('every f-number of the body and every shutter speed can be set', () =>
  withLinkedBody('drive-entry', async ({ link, body }) => {
    for (const label of SHUTTERS) {
      await link.changeSetting('shutterspeed', label);
      expect([label, body.state.shutter]).toEqual([label, body.times[SHUTTERS.indexOf(label)]]);
    }
    // It is not in the list that the body sends.
    await link.changeSetting('shutterspeed', 'Bulb');
    expect(body.state.shutter).toBe('bulb');
    const numbers = (await link.readSettings()).get('f-number')?.choices ?? [];
    // From f/2.8 to f/22, the ones that are no third left out.
    const own = numbers.slice(numbers.indexOf('f/2.8'), numbers.indexOf('f/22') + 1);
    expect(own).toHaveLength(body.choices.aperture.length);
    for (const [index, label] of own.entries()) {
      await link.changeSetting('f-number', label);
      expect([label, body.state.aperture]).toEqual([label, body.choices.aperture[index]]);
    }
  }));

for (const [name, far] of [
  ['drive-entry-leaping', { shutter: 1, iso: 1 }],
  ['drive-entry-walking', { shutter: 39, iso: 14 }],
] as const) {
  test(`${name}: settings are moved, and a write that helps nothing follows`, () =>
    withLinkedBody(name, async (linked) => {
      const { link, body } = linked;
      const change = (setting: string, value: string) =>
        changesDuring(linked, async () =>
          expect(await link.changeSetting(setting, value)).toMatchObject({ value }),
        );
      expect((await link.readSettings()).get('shutterspeed')?.choices).toEqual([
        ...SHUTTERS,
        ...NOT_ON_THIS_BODY,
        'Bulb',
      ]);
      expect(await change('shutterspeed', '1/80')).toEqual({ writes: 1, moves: 1 });
      expect(await change('shutterspeed', '1/80')).toEqual({ writes: 1, moves: 0 });
      await change('shutterspeed', '2');
      expect(await change('shutterspeed', '1/4000')).toEqual({ writes: 1, moves: far.shutter });
      expect(body.state.shutter).toBe(72);
      // Whole seconds, and for anything shorter than one the code that means bulb; the body refuses all of them.
      expect(written(linked, DRIVE_ENTRY_PROPERTY.shutter)).toEqual([
        '00000000',
        '00000000',
        '02000000',
        '00000000',
      ]);
      expect(await change('iso', '125')).toEqual({ writes: 1, moves: 1 });
      expect(await change('iso', '3200')).toEqual({ writes: 1, moves: far.iso });
      expect(body.state.iso).toBe(3200);
      // Compensation is moved one at a time even where the body would leap.
      expect(await change('exposurecompensation', '0.3')).toEqual({ writes: 1, moves: 1 });
      expect(await change('exposurecompensation', '-3')).toEqual({ writes: 1, moves: 10 });
      expect(body.state.compensation).toBe(-18);
      expect(await change('capturemode', THREE)).toEqual({ writes: 1, moves: 0 });
    }));
}

// Out of reach for a body that is moved is found out slowly: the library waits 3 s and more for it to move on.
test.concurrent.for([
  ['drive-entry-leaping', 'shutterspeed', '1/8000', '1/4000'],
  ['drive-entry', 'f-number', 'f/1', 'f/2.8'],
] as const)('%s: %s %s is offered, and ends at %s', ([name, setting, wanted, found]) =>
  withLinkedBody(name, async ({ link }) => {
    const started = performance.now();
    await expect(link.changeSetting(setting, wanted)).rejects.toMatchObject({
      code: 'setting-not-taken',
      details: { name: setting, wanted, found },
    });
    expect(performance.now() - started).toBeGreaterThan(3000);
  }),
);

test.concurrent('a value that the body refuses is found out by reading back', () =>
  withLinkedBody(
    'drive-entry',
    async ({ link, responder }) => {
      await expect(link.changeSetting('shutterspeed', 'Bulb')).rejects.toMatchObject({
        code: 'setting-not-taken',
        details: { name: 'shutterspeed', wanted: 'Bulb', found: '1/60' },
      });
      const answers = responder.transactions.filter(
        ({ request }) => request.code === DRIVE_ENTRY_OPERATION.write,
      );
      expect(answers.at(-1)?.response).toBe(RESPONSE.invalidPropertyValue);
      await expect(link.changeSetting('capturemode', entry('S', '2.0', 9))).rejects.toMatchObject({
        code: 'choice-not-offered',
      });
    },
    { bulb: false },
  ));

test.concurrent('the capture target cannot be set: the library writes it without a value', () =>
  withLinkedBody('drive-entry', async (linked) => {
    await expect(linked.link.changeSetting('capturetarget', 'card+sdram')).rejects.toMatchObject({
      code: 'setting-not-taken',
    });
    expect(written(linked, DRIVE_ENTRY_PROPERTY.target)).toEqual(['']);
  }));

test.concurrent('a value that the body takes late is believed in the end', () =>
  withLinkedBody('drive-entry', async ({ link, responder }) => {
    let before: PtpAnswer | undefined;
    let late = false;
    responder.intercept(DRIVE_ENTRY_OPERATION.write, ({ parameters: [property] }, proceed) => {
      late ||= property === PROPERTY.drive;
      return proceed();
    });
    responder.intercept(DRIVE_ENTRY_OPERATION.getAllProperties, async (_, proceed) => {
      if (late && before !== undefined) {
        late = false;
        return before;
      }
      before = await proceed();
      return before;
    });
    const started = performance.now();
    expect(await link.changeSetting('capturemode', THREE)).toMatchObject({ value: THREE });
    expect(late).toBe(false);
    // The library answers from memory for 2 s from when it asked last, which was shortly before: so much a late body costs.
    expect(performance.now() - started).toBeGreaterThan(1000);
  }));

test('a bracket that its frames prove is given a moment, and nobody waits for the word of the library', () =>
  withLinkedBody(
    'drive-entry',
    async (linked) => {
      const { link } = linked;
      await link.readLimits();
      const started = performance.now();
      const after = await link.changeSetting('capturemode', THREE, { isProvedByFrames: true });
      expect(after).toMatchObject({ value: THREE });
      expect(performance.now() - started).toBeLessThan(1000);
      expect(await fireSome(linked, 3)).toEqual([0, -1, 1]);
    },
    { timing: { ...NO_TIME, change: 0.3 } },
  ));

test('a bracket that the body did not switch on shows in the second frame, is set again, and the set is whole', () =>
  withLinkedBody('drive-entry', async ({ link, into, body, responder }) => {
    let lost = 0;
    responder.intercept(DRIVE_ENTRY_OPERATION.write, async ({ parameters: [property] }, proceed) => {
      if (property !== PROPERTY.drive || lost > 0) return proceed();
      lost += 1;
      return {};
    });
    const { state, record } = await fireSet(into, { frames: 3, body: await Body.meet(link) });
    expect([lost, state]).toEqual([1, 'complete']);
    expect(record?.frames.map(({ recorded }) => recorded?.exposureTime)).toEqual([1 / 125, 1 / 60, 1 / 30]);
    expect(record?.setAside).toHaveLength(body.shots.length - 3);
    expect(body.shots.length).toBeGreaterThan(3);
    expect(body.state.drive).toBe('single');
  }));

test('a pass of dialect C: shutter set, entry set, three frames 0 - +, single drive again, all put back', () =>
  withLinkedBody('drive-entry', async (linked) => {
    const { link, body, printed } = linked;
    const found = await link.readSettings();
    await link.changeSetting('shutterspeed', '1/125');
    await link.changeSetting('capturemode', THREE);
    // + is more light: the frame at -1 EV is the shorter one.
    expect(await fireSome(linked, 3)).toEqual([-1, -2, 0]);
    await link.changeSetting('capturemode', SINGLE);
    expect(await fireSome(linked, 1)).toEqual([-1]);
    for (const name of ['capturemode', 'shutterspeed'])
      await link.changeSetting(name, found.get(name)?.value ?? '');
    const left = await link.readSettings();
    for (const [name, setting] of found) expect(left.get(name)).toEqual(setting);
    expect(body.shots.map((shot) => shot.bracketPosition)).toEqual([0, -1, 1, 0]);
    expect(printed).toEqual([]);
  }));

test('frame by frame the entries fire three, five and nine frames, and begin again', () =>
  withLinkedBody('drive-entry', async (linked) => {
    const { link, body } = linked;
    const orders = {
      3: [0, -1, 1],
      5: [0, -1, 1, -2, 2],
      9: [0, -1, 1, -2, 2, -3, 3, -4, 4],
    };
    for (const [count, order] of Object.entries(orders)) {
      await link.changeSetting('capturemode', entry('S', '1.0', Number(count)));
      expect(await fireSome(linked, order.length + 1)).toEqual([...order, 0]);
    }
    expect(body.shots).toHaveLength(3 + 5 + 9 + 3);
  }));

test('setting the entry again starts it at its first frame, and so does a single frame in between', () =>
  withLinkedBody('drive-entry', async (linked) => {
    const { link } = linked;
    await link.changeSetting('capturemode', THREE);
    expect(await fireSome(linked, 2)).toEqual([0, -1]);
    const again = () => link.changeSetting('capturemode', THREE);
    expect(await changesDuring(linked, again)).toEqual({ writes: 1, moves: 0 });
    expect(await fireSome(linked, 2)).toEqual([0, -1]);
    await link.changeSetting('capturemode', SINGLE);
    expect(await fireSome(linked, 1)).toEqual([0]);
    await link.changeSetting('capturemode', THREE);
    expect(await fireSome(linked, 3)).toEqual([0, -1, 1]);
  }));

test('an entry that fires all frames at one press: one comes back, the others come instead of later frames', () =>
  withLinkedBody(
    'drive-entry',
    async (linked) => {
      const { link, body } = linked;
      await link.changeSetting('capturemode', entry('C', '1.0', 5));
      expect(await fireSome(linked, 1)).toEqual([0]);
      await expect.poll(() => body.busy).toBe(false);
      expect(body.shots).toHaveLength(5);
      await link.changeSetting('capturemode', SINGLE);
      await link.changeSetting('shutterspeed', '1/4000');
      // Each call fires at 1/4000 and brings back what has waited longest.
      const brought: number[] = [];
      for (let frame = 1; frame <= 5; frame += 1) {
        brought.push(await fireOne(linked));
        await expect.poll(() => body.busy).toBe(false);
        expect(body.shots).toHaveLength(5 + frame);
      }
      expect(brought).toEqual([-1, 1, -2, 2, -6]);
    },
    { bracketGoesOn: true },
  ));

test('an entry that fires as long as it is pressed: it is let go at once, and one frame is made', () =>
  withLinkedBody(
    'drive-entry',
    async (linked) => {
      await linked.link.changeSetting('capturemode', entry('C', '1.0', 5));
      expect(await fireSome(linked, 2)).toEqual([0, 0]);
      expect(linked.body.shots).toHaveLength(2);
    },
    { timing: { ...NO_TIME, cycle: 0.2 } },
  ));

test('a busy body is told as busy; the library leaves the half press down, and fires all the same after', () =>
  withLinkedBody('drive-entry', async (linked) => {
    const stepOut = linked.responder.intercept(DRIVE_ENTRY_OPERATION.move, async (request, proceed) =>
      request.parameters[0] === DRIVE_ENTRY_PROPERTY.fullPress
        ? { response: RESPONSE.deviceBusy }
        : proceed(),
    );
    const { link, into, body } = linked;
    await expect(link.fire({ into, exposureSeconds: BASE_SECONDS })).rejects.toMatchObject({
      code: 'body-busy',
    });
    expect(buttons(linked)).toEqual(['half down', 'full down']);
    expect(body.shots).toEqual([]);
    stepOut();
    expect(await fireSome(linked, 1)).toEqual([0]);
    expect(buttons(linked).slice(2)).toEqual(['half down', 'full down', 'full up', 'half up']);
  }));

test('with autofocus the release is held until focus is found', () =>
  withLinkedBody('drive-entry', async (linked) => {
    await linked.link.changeSetting('focusmode', 'Automatic');
    expect(await fireSome(linked, 1)).toEqual([0]);
    expect(buttons(linked)).toEqual(['half down', 'full down', 'full up', 'half up']);
  }));

test('a report of a picture that was fetched already loses the next frame, which then comes one call late', () =>
  // The next frame takes its time: one that is there at once is what the report would be taken for.
  withLinkedBody(
    'drive-entry',
    async (linked) => {
      const { link, into, body, usb } = linked;
      expect(await fireSome(linked, 1)).toEqual([0]);
      usb.tell({
        type: CONTAINER.event,
        code: PICTURE_ADDED,
        transaction: 0,
        payload: packParameters([IN_MEMORY]),
      });
      await link.changeSetting('shutterspeed', '1/125');
      await expect(link.fire({ into, exposureSeconds: BASE_SECONDS })).rejects.toMatchObject({
        code: 'frame-missing',
      });
      await expect.poll(() => body.busy).toBe(false);
      await link.changeSetting('shutterspeed', '1/250');
      expect(await fireSome(linked, 1)).toEqual([-1]);
    },
    { timing: { ...NO_TIME, cycle: 1 } },
  ));

test('a frame that was made but not handed over comes with the next call', () =>
  withLinkedBody('drive-entry', async (linked) => {
    const { link, into, body, responder } = linked;
    const stepOut = responder.intercept(OPERATION.getObject, async () => ({
      response: RESPONSE.generalError,
    }));
    await expect(link.fire({ into, exposureSeconds: BASE_SECONDS })).rejects.toMatchObject({
      code: 'frame-missing',
    });
    stepOut();
    await link.changeSetting('shutterspeed', '1/125');
    expect(await fireSome(linked, 1)).toEqual([0]);
    await expect.poll(() => body.shots.length).toBe(2);
    expect(await fireSome(linked, 1)).toEqual([-1]);
  }));

test('what the card keeps is the whole file, and the card itself is out of reach', () =>
  withLinkedBody('drive-entry', async (linked) => {
    await linked.body.change('target', 'card');
    expect((await linked.link.readSettings()).get('capturetarget')?.value).toBe('card+sdram');
    expect(await fireSome(linked, 2)).toEqual([0, 0]);
    expect(linked.card.pictures).toHaveLength(2);
    expect(linked.responder.count(OPERATION.getObjectHandles)).toBe(0);
  }));

test('the cable pulled: the body is lost, and found again', () =>
  withLinkedBody('drive-entry', async ({ link, into, usb }) => {
    const { size } = await link.readSettings();
    await usb.unplug();
    await expect(link.changeSetting('shutterspeed', '1/125')).rejects.toMatchObject({ code: 'body-lost' });
    await usb.plug();
    expect((await link.readSettings()).size).toBe(size);
    await usb.unplug();
    await expect.poll(() => link.readSettings().then(() => 'read', asCode), WITHIN_4_S).toBe('body-lost');
    await usb.plug();
    await link.readSettings();
    await usb.unplug();
    await expect(link.fire({ into, exposureSeconds: BASE_SECONDS })).rejects.toMatchObject({
      code: 'body-lost',
    });
  }));
