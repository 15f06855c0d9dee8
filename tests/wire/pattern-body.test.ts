// Dialect B on the wire: the real libgphoto2 and its binding read, set and fire a body of vendor extension 0x0A on the virtual
// USB port. Also the traps that the library sets for such bodies, so that a newer version which sets others is noticed.
import { expect, test } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { facesOf } from '../../src/camera/practice/faces.js';
import { readRecorded } from '../../src/frames/index.js';
import { type LinkedBody, withLinkedBody } from './linked-body.js';
import { readText, u16, u32 } from './ptp/bytes.js';
import { EVENT, OPERATION, PROPERTY, RESPONSE } from './ptp/codes.js';
import { fractionCode, PATTERN_EVENT, PATTERN_OPERATION, PATTERN_PROPERTY } from './ptp/pattern-face.js';
import type { PtpAnswer } from './ptp/responder.js';

const BASE_SECONDS = 1 / 60;
const EXPOSURE_OF = { exposureSeconds: BASE_SECONDS };
/** For a test that fires every pattern: 34 frames and more. */
const FIRING_MS = 60_000;

// The labels as libgphoto2 2.5.30 has them (camlibs/ptp2/config.c), each with what it says: the frames in the order in
// which the practice body fires them, normal first, then from dark to light.
const PATTERNS: readonly (readonly [label: string, normalFirst: readonly number[]])[] = [
  ['2 images (normal and under)', [0, -1]],
  ['2 images (normal and over)', [0, 1]],
  ['3 images (normal and 2 unders)', [0, -2, -1]],
  ['3 images (normal and 2 overs)', [0, 1, 2]],
  ['3 images (normal, under and over)', [0, -1, 1]],
  ['5 images (normal, 2 unders and 2 overs)', [0, -2, -1, 1, 2]],
  ['7 images (normal, 3 unders and 3 overs)', [0, -3, -2, -1, 1, 2, 3]],
  ['9 images (normal, 4 unders and 4 overs)', [0, -4, -3, -2, -1, 1, 2, 3, 4]],
];
const [THREE, NINE] = [PATTERNS[4]?.[0] ?? '', PATTERNS[7]?.[0] ?? ''];

/** @returns the offsets from 1/60 that the files record, in EV */
async function fireAndRead({ link, into }: LinkedBody, frames: number): Promise<number[]> {
  const offsets: number[] = [];
  for (let frame = 0; frame < frames; frame += 1) {
    const { path: file } = await link.fire({ into, ...EXPOSURE_OF });
    const { exposureTime } = await readRecorded(file);
    offsets.push(Math.round(Math.log2((exposureTime ?? Number.NaN) / BASE_SECONDS)));
  }
  return offsets;
}

async function arm({ link }: LinkedBody, pattern: string, order = 'MTR > Under'): Promise<void> {
  await link.changeSetting('bracketset', 'AE only');
  await link.changeSetting('aebracketingpattern', pattern);
  await link.changeSetting('aebracketingstep', '1 EV');
  await link.changeSetting('bracketorder', order);
  await link.changeSetting('bracketing', 'On');
}

/** The transactions during some work, as `9207` or, where a body said no, `9207!2019`. */
async function during({ responder }: LinkedBody, work: () => Promise<unknown>): Promise<string[]> {
  const before = responder.transactions.length;
  await work();
  return responder.transactions.slice(before).map(({ request, response }) => {
    const code = request.code.toString(16);
    return response === RESPONSE.ok ? code : `${code}!${response.toString(16)}`;
  });
}

const writes = ({ responder }: LinkedBody, property: number): number =>
  responder.transactions.filter(
    ({ request }) => request.code === OPERATION.setPropertyValue && request.parameters[0] === property,
  ).length;

/** Puts events in front of the next ones that the body reports. */
function reportFirst({ responder }: LinkedBody, events: readonly (readonly [number, number])[]): void {
  const stepOut = responder.intercept(PATTERN_OPERATION.getEvents, async (_, proceed) => {
    stepOut();
    const { data = u16(0) } = await proceed();
    const count = u16(events.length + data.readUInt16LE(0));
    const first = events.map(([code, parameter]) => Buffer.concat([u16(code), u32(parameter)]));
    return { data: Buffer.concat([count, ...first, data.subarray(2)]) };
  });
}

test('exposure times are written as fractions', () => {
  // x and y of x/y in the two halves (libgphoto2 2.5.30, camlibs/ptp2/config.c).
  expect([-30, -2, 0, 10, 36, 42, 78].map(sixths).map(fractionCode)).toEqual([
    0x001e0001, 0x000d000a, 0x00010001, 0x0003000a, 0x0001003c, 0x0001007d, 0x00011f40,
  ]);
});

test('a body of dialect B is found, and shows its settings under the names and labels of vendor extension 0x0A', () =>
  withLinkedBody('pattern', async ({ link, body, printed }) => {
    const settings = await link.readSettings();
    expect(await link.identify()).toEqual({ link: 'usb', model: 'Practice body', serial: 'PB-0002' });
    const values = {
      cameramodel: 'Practice body',
      serialnumber: 'PB-0002',
      expprogram: 'M',
      shutterspeed: '0.0167s',
      shutterspeed2: '1/60',
      'f-number': 'f/8',
      iso: '100',
      exposurecompensation: '0',
      whitebalance: 'Daylight',
      focusmode: 'Manual',
      capturemode: 'Single Shot',
      imagequality: 'JPEG Fine',
      longexpnr: 'Off',
      bracketing: 'Off',
      bracketset: 'AE only',
      bracketmode: 'Flash/speed',
      bracketorder: 'MTR > Under',
      aebracketingstep: '1/3 EV',
      aebracketingpattern: '2 images (normal and under)',
      aebracketingcount: '0',
      batterylevel: '80%',
      availableshots: '20000',
      capturetarget: 'Internal RAM',
    };
    const shown = Object.keys(values).map((name) => [name, settings.get(name)?.value]);
    expect(Object.fromEntries(shown)).toEqual(values);
    expect(settings.get('aebracketingpattern')?.choices).toEqual(PATTERNS.map(([label]) => label));
    expect(settings.get('aebracketingstep')?.choices).toEqual(['1/3 EV', '2/3 EV', '1 EV', '2 EV', '3 EV']);
    expect(settings.get('datetime')?.kind).toBe('date');
    const clock = Date.parse(settings.get('datetime')?.value ?? '');
    expect(Math.abs(clock - body.clock.getTime())).toBeLessThan(5000);
    // Reached directly, the practice body shows the same.
    const inOrder = (labels: readonly string[]) => [...labels].sort();
    for (const { name, of, label } of facesOf('pattern')) {
      const direct = body.choices[of].map((choice) => label(choice as never, body));
      // The library has another word for raw files, also where there are two files a frame.
      const plain = (choice: string) => choice.replace(/^.*(?=\+Fine$)/, '').replace(/^.* \(Raw\)$/, 'RAW');
      const offered = settings.get(name)?.choices ?? [];
      expect([name, inOrder(offered.map(plain))]).toEqual([name, inOrder(direct.map(plain))]);
    }
    expect(printed).toEqual([]);
  }));

test('every choice of every bracket setting is taken and read back; so are the other settings', () =>
  withLinkedBody('pattern', async ({ link, body }) => {
    const settings = await link.readSettings();
    for (const name of [
      'bracketing',
      'bracketset',
      'aebracketingstep',
      'aebracketingpattern',
      'bracketorder',
    ]) {
      for (const value of settings.get(name)?.choices ?? []) {
        expect(await link.changeSetting(name, value)).toMatchObject({ value });
      }
    }
    expect(body.state).toMatchObject({
      bracket: 'off',
      bracketOf: 'white-balance',
      bracketStep: 18,
      bracketPattern: 7,
      bracketOrder: 'dark-first',
    });
    for (const [name, value, of, state] of [
      ['shutterspeed2', '13/10', 'shutter', -2],
      ['shutterspeed', '0.0080s', 'shutter', 42],
      ['f-number', 'f/11', 'aperture', 42],
      ['iso', '800', 'iso', 800],
      ['exposurecompensation', '-0.666', 'compensation', -4],
      ['expprogram', 'A', 'mode', 'aperture'],
      ['whitebalance', 'Automatic', 'whiteBalance', 'auto'],
      ['focusmode', 'AF-S', 'focus', 'single'],
      ['capturemode', 'Burst', 'drive', 'continuous'],
      ['longexpnr', 'On', 'noiseReduction', 'on'],
    ] as const) {
      expect(await link.changeSetting(name, value)).toMatchObject({ value });
      expect(body.state[of]).toBe(state);
    }
    const both = settings.get('imagequality')?.choices?.[1] ?? '';
    expect(await link.changeSetting('imagequality', both)).toMatchObject({ value: both });
    expect(body.state.format).toBe('raw-and-jpeg');
  }));

test('what the body does not offer, or only tells, never reaches it', () =>
  withLinkedBody('pattern', async (linked) => {
    const { link, responder } = linked;
    for (const [name, value] of [
      ['aebracketingstep', '1/2 EV'],
      ['bracketset', 'AE & Flash'],
      ['shutterspeed2', '1/45'],
    ] as const) {
      await expect(link.changeSetting(name, value)).rejects.toMatchObject({ code: 'choice-not-offered' });
    }
    await expect(link.changeSetting('aebracketingcount', '3')).rejects.toMatchObject({
      code: 'setting-not-taken',
    });
    expect(responder.count(OPERATION.setPropertyValue)).toBe(0);
  }));

for (const [word, response] of [
  ['refuses', RESPONSE.invalidPropertyValue],
  ['is too busy for', RESPONSE.deviceBusy],
] as const) {
  test.concurrent(`a write that the body ${word} is found out by reading back, since the library reports success`, () =>
    withLinkedBody('pattern', async ({ link, body, responder }) => {
      responder.intercept(OPERATION.setPropertyValue, async () => ({ response }));
      await expect(link.changeSetting('bracketing', 'On')).rejects.toMatchObject({
        code: 'setting-not-taken',
        details: { name: 'bracketing', wanted: 'On', found: 'Off' },
      });
      expect(body.state.bracket).toBe('off');
    }));
}

test.concurrent('a body that reports a change late is believed in the end', () =>
  withLinkedBody('pattern', async ({ link, responder }) => {
    let asItWas: PtpAnswer | undefined;
    let late = false;
    responder.intercept(OPERATION.setPropertyValue, (_, proceed) => {
      late = true;
      return proceed();
    });
    responder.intercept(OPERATION.getPropertyDescription, async (request, proceed) => {
      if (request.parameters[0] !== PATTERN_PROPERTY.bracketStep) return proceed();
      if (late && asItWas !== undefined) {
        late = false;
        return asItWas;
      }
      asItWas = await proceed();
      return asItWas;
    });
    expect(await link.changeSetting('aebracketingstep', '2 EV')).toMatchObject({ value: '2 EV' });
    expect(late).toBe(false);
  }));

for (const order of ['MTR > Under', 'Under > MTR']) {
  test(
    `every pattern is fired frame by frame in the order of the body: ${order}`,
    () =>
      withLinkedBody('pattern', async (linked) => {
        const { link, body } = linked;
        for (const [label, normalFirst] of PATTERNS) {
          const expected = order === 'MTR > Under' ? normalFirst : [...normalFirst].sort((a, b) => a - b);
          await arm(linked, label, order);
          expect([label, await fireAndRead(linked, expected.length)]).toEqual([label, expected]);
          expect(body.shots.slice(-expected.length).map((shot) => shot.bracketPosition)).toEqual(expected);
        }
        // Round it goes.
        expect(await fireAndRead(linked, 1)).toEqual([order === 'MTR > Under' ? 0 : -4]);
        await link.changeSetting('bracketing', 'Off');
        expect(await fireAndRead(linked, 2)).toEqual([0, 0]);
      }),
    FIRING_MS,
  );
}

test('the step is what it says, and a bracket of white balance leaves the exposure alone', () =>
  withLinkedBody('pattern', async (linked) => {
    const { link, body } = linked;
    await arm(linked, THREE);
    for (const [label, sixths] of [
      ['1/3 EV', 2],
      ['2/3 EV', 4],
      ['2 EV', 12],
      ['3 EV', 18],
    ] as const) {
      await link.changeSetting('aebracketingstep', label);
      await fireAndRead(linked, 3);
      expect(body.shots.slice(-3).map((shot) => shot.tv - 36)).toEqual([0, sixths, -sixths]);
    }
    await link.changeSetting('bracketset', 'WB bracketing');
    expect(await fireAndRead(linked, 3)).toEqual([0, 0, 0]);
  }));

test('off and on starts the bracket at its first frame, and so does writing any of its settings again', () =>
  withLinkedBody('pattern', async (linked) => {
    const { link } = linked;
    await arm(linked, THREE);
    expect(await fireAndRead(linked, 2)).toEqual([0, -1]);
    await link.changeSetting('bracketing', 'Off');
    await link.changeSetting('bracketing', 'On');
    expect(await fireAndRead(linked, 2)).toEqual([0, -1]);
    for (const [name, value, property] of [
      ['bracketing', 'On', PATTERN_PROPERTY.bracket],
      ['bracketset', 'AE only', PATTERN_PROPERTY.bracketOf],
      ['aebracketingpattern', THREE, PATTERN_PROPERTY.bracketPattern],
      ['aebracketingstep', '1 EV', PATTERN_PROPERTY.bracketStep],
      ['bracketorder', 'MTR > Under', PATTERN_PROPERTY.bracketOrder],
    ] as const) {
      const before = writes(linked, property);
      await link.changeSetting(name, value);
      expect([name, writes(linked, property) - before]).toEqual([name, 1]);
      expect([name, await fireAndRead(linked, 2)]).toEqual([name, [0, -1]]);
    }
    // The centre is no part of the bracket.
    await link.changeSetting('shutterspeed2', '1/60');
    await link.changeSetting('f-number', 'f/8');
    expect(await fireAndRead(linked, 1)).toEqual([1]);
  }));

test('the frames left are counted down, and after a frame the body is asked for them anew', () =>
  withLinkedBody('pattern', async (linked) => {
    const { link } = linked;
    await arm(linked, THREE);
    // The library must know a value before it can be told that it changed.
    await link.readSettings();
    const left: (string | undefined)[] = [];
    for (let frame = 0; frame < 4; frame += 1) {
      await fireAndRead(linked, 1);
      left.push((await link.readSettings()).get('aebracketingcount')?.value);
    }
    expect(left).toEqual(['2', '1', '3', '2']);
  }));

test.concurrent('what a write changes beside itself is told from memory for up to 2 s', () =>
  withLinkedBody('pattern', async ({ link, responder }) => {
    const count = async () => (await link.readSettings()).get('aebracketingcount')?.value;
    expect(await count()).toBe('0');
    await link.changeSetting('aebracketingpattern', NINE);
    expect(await link.changeSetting('bracketing', 'On')).toMatchObject({ value: 'On' });
    const soon = await count();
    // On a machine that is slow enough for the memory to have run out the body was asked since.
    const since = responder.transactions.slice(
      responder.transactions.findLastIndex(({ request }) => request.code === OPERATION.setPropertyValue),
    );
    const asked = since.some(({ request }) => request.parameters[0] === PATTERN_PROPERTY.bracketFramesLeft);
    expect(soon).toBe(asked ? '9' : '0');
    await expect.poll(count, { timeout: 4000, interval: 200 }).toBe('9');
  }));

test('with the memory of the body as target a frame comes back, and nothing stays behind; letting go gives the buttons back', () =>
  withLinkedBody('pattern', async ({ link, into, card, responder, printed }) => {
    const control = () =>
      responder.transactions
        .filter(({ request }) => request.code === PATTERN_OPERATION.takeControl)
        .map(({ request }) => request.parameters[0]);
    await link.readSettings();
    expect(control()).toEqual([]);
    const { path: file } = await link.fire({ into, ...EXPOSURE_OF });
    expect((await readRecorded(file)).exposureTime).toBeCloseTo(BASE_SECONDS);
    expect(control()).toEqual([1]);
    expect(card.pictures).toEqual([]);
    const [deleted] = responder.transactions.filter(({ request }) => request.code === OPERATION.deleteObject);
    expect(deleted?.response).toBe(RESPONSE.ok);
    expect(card.picture(deleted?.request.parameters[0] ?? 0)).toBeUndefined();
    await link.letGo();
    expect(control()).toEqual([1, 0]);
    expect(responder.count(OPERATION.closeSession)).toBe(1);
    expect(printed).toEqual([]);
  }));

test('with the card as target every frame stays on it, and nothing is deleted', () =>
  withLinkedBody('pattern', async (linked) => {
    const { link, card, responder, printed } = linked;
    const steps = await during(linked, () => link.changeSetting('capturetarget', 'Memory card'));
    // The target is the library's own setting: it goes along with each release.
    expect(steps).not.toContain(OPERATION.setPropertyValue.toString(16));
    await arm(linked, THREE);
    expect(await fireAndRead(linked, 3)).toEqual([0, -1, 1]);
    expect(card.pictures).toHaveLength(3);
    expect(responder.count(OPERATION.deleteObject)).toBe(0);
    expect(printed).toEqual([]);
  }));

test('a body that is busy for a moment is asked again; one that stays busy is told as busy, and nothing was fired', () =>
  withLinkedBody('pattern', async ({ link, into, body, responder }) => {
    let refusals = 0;
    const stepOut = responder.intercept(PATTERN_OPERATION.capture, async (_, proceed) => {
      refusals += 1;
      return refusals <= 3 ? { response: RESPONSE.deviceBusy } : proceed();
    });
    await link.fire({ into, ...EXPOSURE_OF });
    expect(refusals).toBe(4);
    stepOut();
    responder.intercept(PATTERN_OPERATION.capture, async () => ({ response: RESPONSE.deviceBusy }));
    await expect(link.fire({ into, ...EXPOSURE_OF })).rejects.toMatchObject({ code: 'body-busy' });
    expect(body.shots).toHaveLength(1);
  }));

test('a settings change costs two transactions, a frame a handful, and each while the body exposes one more', () =>
  withLinkedBody('pattern', async (linked) => {
    const { link, into } = linked;
    await link.readSettings();
    // Tried again where the memory of the library ran out in between, and the whole tree was read.
    await expect
      .poll(() => during(linked, () => link.changeSetting('shutterspeed2', '1/125')), { timeout: 5000 })
      .toEqual(['1016', '1014']);

    const fire = () => during(linked, () => link.fire({ into, ...EXPOSURE_OF }));
    const withoutWaiting = (codes: string[]) => codes.filter((code) => code !== '90c8!2019');
    expect(withoutWaiting(await fire())).toContain('90c2');
    expect(withoutWaiting(await fire())).toEqual('1014 9207 90c8 90c7 1008 1009 100b 90c7'.split(' '));
    await link.changeSetting('capturetarget', 'Memory card');
    await fire();
    expect(withoutWaiting(await fire())).toEqual('1014 9207 90c8 90c7 1008 1008 1009'.split(' '));
  }));

test('the first frame on the card asks for every picture that lies there', () =>
  withLinkedBody('pattern', async (linked) => {
    const { link, into, body, card } = linked;
    for (let picture = 0; picture < 20; picture += 1) {
      for (const file of await body.release({ place: 'card' })) card.add(file);
    }
    await link.changeSetting('capturetarget', 'Memory card');
    const fire = () => during(linked, () => link.fire({ into, ...EXPOSURE_OF }));
    const infos = (codes: string[]) => codes.filter((code) => code === '1008').length;
    expect(infos(await fire())).toBeGreaterThanOrEqual(20);
    expect(infos(await fire())).toBe(2);
  }));

test('a clock is written as local time', () =>
  withLinkedBody('pattern', async (linked) => {
    const { link, body, responder } = linked;
    // By its number. It runs on, so what is read back may be a second later.
    await link.changeSetting(PROPERTY.clock.toString(16), '20260102T030405').catch(() => undefined);
    const written = responder.transactions.find(({ request }) => request.code === OPERATION.setPropertyValue);
    expect(readText(written?.request.data ?? Buffer.alloc(1))).toBe('20260102T030405');
    const ahead = body.clock.getTime() - new Date(2026, 0, 2, 3, 4, 5).getTime();
    expect(ahead).toBeGreaterThanOrEqual(0);
    expect(ahead).toBeLessThan(20_000);
  }));

// What follows are traps: what the library does with such bodies that nobody would want.

test.concurrent('trap: what the bracket moves in manual mode can be read, but not written by its name', () =>
  withLinkedBody('pattern', async (linked) => {
    // Two settings carry one label, and the library looks for the changed one by its label. It reports success.
    await expect(linked.link.changeSetting('bracketmode', 'Flash only')).rejects.toMatchObject({
      code: 'setting-not-taken',
    });
    expect(writes(linked, PATTERN_PROPERTY.bracketInManual)).toBe(0);
    const byNumber = PATTERN_PROPERTY.bracketInManual.toString(16);
    await linked.link.changeSetting(byNumber, '0');
    expect(writes(linked, PATTERN_PROPERTY.bracketInManual)).toBe(1);
  }));

test('trap: a frame that was made by hand in between is taken for the next one', () =>
  withLinkedBody('pattern', async (linked) => {
    const { link, body, card } = linked;
    await link.changeSetting('capturetarget', 'Memory card');
    await arm(linked, THREE);
    expect(await fireAndRead(linked, 1)).toEqual([0]);
    const [byHand] = await body.release({ place: 'card' });
    if (byHand === undefined) throw new Error('The practice camera made no frame.');
    reportFirst(linked, [
      [EVENT.objectAdded, card.add(byHand)],
      [EVENT.captureComplete, 0],
    ]);
    // The shutter made 0, -1 by hand, +1; what comes back is the one by hand.
    expect(await fireAndRead(linked, 1)).toEqual([-1]);
    expect(body.shots.map((shot) => shot.bracketPosition)).toEqual([0, -1, 1]);
    // The one after it is the right one again.
    expect(await fireAndRead(linked, 2)).toEqual([0, -1]);
  }));

test('trap: a picture on the card that has no folder is taken for one in memory, and deleted', () =>
  withLinkedBody('pattern', async ({ link, into, card, responder }) => {
    const parentAt = 38;
    responder.intercept(OPERATION.getObjectInfo, async (_, proceed) => {
      const answer = await proceed();
      answer.data?.writeUInt32LE(0, parentAt);
      return answer;
    });
    await link.changeSetting('capturetarget', 'Memory card');
    await link.fire({ into, ...EXPOSURE_OF });
    expect(card.pictures).toEqual([]);
  }));

test('trap: with two files a frame the first stays in the memory of the body', () =>
  withLinkedBody('pattern', async (linked) => {
    const { link, into, body, card } = linked;
    const [other] = await body.release({ place: 'memory' });
    if (other === undefined) throw new Error('The practice camera made no frame.');
    const handle = card.add(other);
    reportFirst(linked, [[PATTERN_EVENT.objectAddedInMemory, handle]]);
    await link.fire({ into, ...EXPOSURE_OF });
    expect(card.picture(handle)).toBe(other.content);
  }));

test('trap: every change that is reported before the picture costs another wait', () =>
  withLinkedBody('pattern', async (linked) => {
    const { link, into } = linked;
    const reported = PROPERTY.battery;
    for (const changes of [0, 3]) {
      reportFirst(
        linked,
        Array.from({ length: changes }, () => [EVENT.propertyChanged, reported] as const),
      );
      const steps = await during(linked, () => link.fire({ into, ...EXPOSURE_OF }));
      // One is at the end.
      expect(steps.filter((code) => code === '90c7')).toHaveLength(1 + changes + 1);
    }
  }));

test('trap: a release that the body cannot follow without focusing is repeated with focusing', () =>
  withLinkedBody('pattern', async ({ link, into, responder }) => {
    const INVALID_STATUS = 0xa004;
    const [WITHOUT_FOCUSING, WITH_FOCUSING] = [0xffffffff, 0xfffffffe];
    const asked: (number | undefined)[] = [];
    responder.intercept(PATTERN_OPERATION.capture, async ({ parameters: [focusing] }, proceed) => {
      asked.push(focusing);
      return focusing === WITHOUT_FOCUSING ? { response: INVALID_STATUS } : proceed();
    });
    // The tree says otherwise.
    expect((await link.readSettings()).get('autofocus')?.value).toBe('On');
    await link.fire({ into, ...EXPOSURE_OF });
    expect(asked).toEqual([WITHOUT_FOCUSING, WITH_FOCUSING]);
  }));

test('the cable pulled: whatever is asked then tells that the body is lost; put back, it is found again', () =>
  withLinkedBody('pattern', async ({ link, into, usb, responder }) => {
    const settings = await link.readSettings();
    const lost = { code: 'body-lost' };
    await usb.unplug();
    await expect(link.changeSetting('shutterspeed2', '1/125')).rejects.toMatchObject(lost);
    await usb.plug();
    expect((await link.readSettings()).size).toBe(settings.size);
    await usb.unplug();
    await expect(link.fire({ into, ...EXPOSURE_OF })).rejects.toMatchObject(lost);
    await usb.plug();
    await link.readSettings();
    responder.intercept(PATTERN_OPERATION.capture, (_, proceed) => {
      setImmediate(() => void usb.unplug());
      return proceed();
    });
    await expect(link.fire({ into, ...EXPOSURE_OF })).rejects.toMatchObject(lost);
  }));
