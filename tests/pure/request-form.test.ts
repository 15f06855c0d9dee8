// What is asked for is one value: what the panel's buttons and the daemon's suggestions make of it.
import { describe, expect, it } from 'vitest';
import type { Asked } from '../../shared/asked.js';
import { sixths } from '../../shared/ev.js';
import type { WirePlan } from '../../shared/plan.js';
import { NO_READINGS, standingsFor } from '../../web/src/readings.js';
import {
  asFrames,
  asSuggested,
  atNextViewpoint,
  choicesOf,
  chosenFor,
  evenly,
  fieldsOf,
  inStep,
  keyOf,
  keyOfForm,
  type RequestForm,
  reaching,
  readRequest,
  spanOf,
  USUAL_REQUEST,
  writeAsked,
  writeDelay,
  writeLabels,
} from '../../web/src/request.js';

const HAND = { what: 'iso', value: 400, sentence: 'Set the ISO to 400.' } as const;

/** What differs from what it was made of. */
function changed(before: RequestForm, after: RequestForm): Partial<RequestForm> {
  const names = Object.keys(after) as (keyof RequestForm)[];
  return Object.fromEntries(
    names.filter((name) => after[name] !== before[name]).map((name) => [name, after[name]]),
  );
}

const UNEVEN = reaching(USUAL_REQUEST, { from: sixths(-24), to: sixths(12) });

describe('a request in the fields', () => {
  it('reaches farther at one end, in another step too, until it is laid evenly again', () => {
    expect(changed(USUAL_REQUEST, UNEVEN)).toEqual({ framesWritten: '7', ends: { from: '-4', to: '+2' } });
    const wider = inStep(UNEVEN, sixths(8));
    expect(spanOf(wider)).toEqual({ from: -24, to: 16 });
    expect(wider.framesWritten).toBe('6');
    expect(changed(UNEVEN, evenly(UNEVEN, '5'))).toEqual({ framesWritten: '5', ends: null });
    // One that lies evenly keeps its number.
    expect(changed(USUAL_REQUEST, inStep(USUAL_REQUEST, sixths(4)))).toEqual({ step: 4 });
  });

  it('takes over what is suggested, and nothing else', () => {
    const asked = { ...UNEVEN, settleWritten: '2', delay: 10 };
    expect(changed(asked, asSuggested(asked, { base: '1/30' }, HAND))).toEqual({
      base: '1/30',
      byHand: HAND,
    });
    expect(changed(asked, asSuggested(asked, { frames: 5, step: '2/3' }, null))).toEqual({
      framesWritten: '5',
      step: 4,
      ends: null,
    });
    expect(
      changed(asked, asSuggested(asked, { from: '-1', to: '+2', step: '1', mode: 'aperture' }, null)),
    ).toEqual({
      framesWritten: '4',
      ends: null,
      mode: 'aperture',
    });
    expect(asSuggested({ ...asked, byHand: HAND }, { mode: 'manual' }, null).byHand).toBeNull();
    const inOneRelease = { ...asked, release: 'pass' as const };
    expect(changed(inOneRelease, asSuggested(inOneRelease, { release: 'frame' }, null))).toEqual({
      release: 'frame',
    });
  });

  it('by readings is changed like any other, and turns into a number of frames as it was planned', () => {
    const readings = { ...NO_READINGS, darkest: '1/4', brightest: '1/2000' };
    const metered: RequestForm = { ...UNEVEN, by: 'readings', readings, base: '1/8', byHand: HAND };
    // The step alone is changed: frames follow.
    expect(changed(metered, inStep(metered, sixths(4)))).toEqual({ step: 4 });
    expect(asSuggested(metered, { step: '2/3' }, null)).toMatchObject({ by: 'readings', step: 4 });
    const swapped = { darkest: '1/2000', brightest: '1/4' };
    expect(asSuggested(metered, { readings: swapped }, null)).toMatchObject({
      ...{ by: 'readings', readings: { ...NO_READINGS, ...swapped } },
    });
    expect(asSuggested(metered, { from: '-1', to: '+2', step: '1', base: '1/30' }, null)).toMatchObject({
      ...{ by: 'frames', framesWritten: '4', base: '1/30' },
    });
    const plan = { offsets: [-1, 0, 1, 2], base: { shutter: '1/50', exposureTime: 1 / 64 } } as WirePlan;
    expect(changed(metered, asFrames(metered, plan))).toEqual({
      ...{ by: 'frames', framesWritten: '4', ends: null, base: '1/50', byHand: null },
    });
    // Without a plan what stood there before stays.
    expect(changed(metered, asFrames(metered, null))).toEqual({ by: 'frames' });
  });

  it('by readings is told without a base, and not before both can be read', () => {
    const form: RequestForm = { ...USUAL_REQUEST, by: 'readings', base: '1/8' };
    expect(readRequest(form, '1/8')).toBe('darkest');
    expect(writeAsked(form)).toBeNull();
    const half = { ...form, readings: { ...NO_READINGS, darkest: ' EV 3 ', brightest: 'EV' } };
    expect(readRequest(half, '1/8')).toBe('brightest');
    const whole = { ...half, readings: { ...half.readings, brightest: '600 cd/m2' } };
    expect(readRequest(whole, '1/8')).toEqual({
      ...{ readings: { darkest: 'EV 3', brightest: '600 cd/m2' }, step: '1', mode: 'manual', settle: 0 },
    });
  });

  it('by readings takes aperture and ISO, where the camera does not tell them', () => {
    const asked = (said: object) =>
      readRequest(
        {
          ...USUAL_REQUEST,
          by: 'readings',
          readings: { ...NO_READINGS, darkest: 'EV 3', brightest: 'EV 9', ...said },
        },
        null,
      );
    expect(asked({ aperture: 'f/8', iso: 'ISO 100' })).toMatchObject({
      readings: { darkest: 'EV 3', brightest: 'EV 9', aperture: 8, iso: 100 },
    });
    expect(asked({ aperture: ' 5.6 ' })).toMatchObject({ readings: { aperture: 5.6 } });
    expect(asked({ aperture: 'wide' })).toBe('aperture');
    expect(asked({ iso: '0' })).toBe('iso');
    // They are told as other fields are, and stand in the fields again on another device.
    const told = asked({ aperture: '8', iso: '100' });
    if (typeof told === 'string') throw new Error('It can be read.');
    expect(fieldsOf(told as Asked).readings).toMatchObject({ aperture: '8', iso: '100', beside: {} });
    expect(standingsFor({ aperture: null, iso: '100' }, NO_READINGS)).toEqual(['aperture']);
    expect(standingsFor({ aperture: 'f/8', iso: '100' }, NO_READINGS)).toEqual([]);
    // What was said for another camera can be taken away.
    expect(standingsFor({ aperture: 'f/8', iso: '100' }, { aperture: '', iso: '200' })).toEqual(['iso']);
  });

  it('says how many frames may be added, and nothing of it where that is none', () => {
    expect(readRequest({ ...USUAL_REQUEST, extendWritten: '2' }, null)).toMatchObject({ extend: 2 });
    for (const none of ['0', '', ' '])
      expect(readRequest({ ...USUAL_REQUEST, extendWritten: none }, null)).not.toHaveProperty('extend');
    const told = writeAsked({ ...USUAL_REQUEST, extendWritten: '3' });
    if (told === null) throw new Error('It can be read.');
    expect(fieldsOf(told).extendWritten).toBe('3');
    expect(keyOf(told)).not.toBe(keyOf({ ...told, extend: 2 }));
    // Nothing typed asks for the same as none.
    expect(keyOfForm({ ...USUAL_REQUEST, extendWritten: '' })).toBe(keyOfForm(USUAL_REQUEST));
  });

  it('is read as a whole, or names the field that cannot be', () => {
    expect(readRequest(USUAL_REQUEST, '1/60')).toEqual({
      ...{ frames: 9, step: '1', base: '1/60', mode: 'manual', settle: 0 },
    });
    expect(readRequest(UNEVEN, null)).toEqual({ from: '-4', to: '+2', step: '1', mode: 'manual', settle: 0 });
    const wrong: readonly [Partial<RequestForm>, string][] = [
      [{ framesWritten: 'nine' }, 'frames'],
      [{ settleWritten: '61' }, 'settle'],
      [{ extendWritten: '61' }, 'extend'],
      [{ extendWritten: '1.5' }, 'extend'],
      [{ extendWritten: '-1' }, 'extend'],
      [{ circumstances: { ...USUAL_REQUEST.circumstances, fileMegabytes: '0' } }, 'fileMegabytes'],
      [{ labels: { ...USUAL_REQUEST.labels, viewpoint: '1.5' } }, 'viewpoint'],
    ];
    for (const [change, field] of wrong)
      expect(readRequest({ ...USUAL_REQUEST, ...change }, null)).toBe(field);
  });

  it('tells other devices what somebody chose, and no base that follows the body', () => {
    expect(writeAsked(USUAL_REQUEST)).toEqual({ frames: 9, step: '1', mode: 'manual', settle: 0 });
    const named = { ...USUAL_REQUEST.labels, name: 'Boathouse' };
    expect(writeAsked({ ...USUAL_REQUEST, base: '1/4', delay: 5, byHand: HAND, labels: named })).toEqual({
      ...{ frames: 9, step: '1', base: '1/4', mode: 'manual', settle: 0 },
      ...{ name: 'Boathouse', delay: 5, byHand: HAND },
    });
    expect(writeAsked({ ...USUAL_REQUEST, framesWritten: '' })).toBeNull();
  });

  it('says name of the set, and when it is fired, where somebody said so', () => {
    expect([writeLabels(USUAL_REQUEST), writeDelay(USUAL_REQUEST)]).toEqual([{}, {}]);
    const named = { ...USUAL_REQUEST, delay: 5, labels: { name: ' Boathouse ', note: '  ', viewpoint: '' } };
    expect([writeLabels(named), writeDelay(named)]).toEqual([{ name: 'Boathouse' }, { delay: 5 }]);
    expect(writeLabels(atNextViewpoint(named))).toEqual({ name: 'Boathouse', viewpoint: 1 });
    expect(atNextViewpoint(atNextViewpoint(named)).labels.viewpoint).toBe('2');
  });
});

describe('what one release fires, and what is kept short', () => {
  const body = { brackets: [{ frames: 3, step: 1 }], oneRelease: true };
  const usual = USUAL_REQUEST;

  it('is written where somebody chose it, and left out where not', () => {
    const written = (form: Partial<RequestForm>) => readRequest({ ...usual, ...form }, '1/60');
    expect(written({})).not.toHaveProperty('release');
    expect(written({})).not.toHaveProperty('least');
    expect(written({ release: 'pass', least: 'spread' })).toMatchObject({ release: 'pass', least: 'spread' });
  });

  it('is offered where the body can do it, and where something has to be undone', () => {
    expect(choicesOf(body, usual)).toEqual({ least: true, release: ['frame', 'pass'] });
    expect(choicesOf(body, { ...usual, least: 'spread' }).release).toEqual([null, 'frame', 'pass']);
    const framewise = { ...body, oneRelease: false };
    expect(choicesOf(framewise, usual)).toEqual({ least: true, release: [] });
    expect(choicesOf(framewise, { ...usual, release: 'pass' }).release).toEqual(['frame', 'pass']);
    const none = { brackets: [], oneRelease: false };
    expect(choicesOf(none, usual)).toEqual({ least: false, release: [] });
    expect(choicesOf(none, { ...usual, least: 'spread' }).least).toBe(true);
  });

  it('frame by frame needs no word for the least time, and one for the least spread', () => {
    expect(chosenFor('time', 'frame')).toEqual({ least: 'time', release: null });
    expect(chosenFor('spread', 'frame')).toEqual({ least: 'spread', release: 'frame' });
    expect(chosenFor('time', 'pass')).toEqual({ least: 'time', release: 'pass' });
    expect(chosenFor('spread', null)).toEqual({ least: 'spread', release: null });
  });
});
