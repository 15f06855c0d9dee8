// What was learnt of a camera and does not hold any more: told, written down, and the set goes on by what held before.
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import { Body, type GivenUp } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { planSet, resolveBase } from '../../src/plan/index.js';
import { ApartTestLink } from '../harness/links.js';
import { fireSet, offsetsOf } from '../harness/set.js';

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(into, { recursive: true, force: true });
});

async function meet() {
  const practice = new PracticeBody(AT_ONCE);
  const link = new ApartTestLink(practice);
  const gaveUp: [GivenUp, string][] = [];
  const body = await Body.meet(link, { gaveUp: (_, what, why) => gaveUp.push([what, why]) });
  return { practice, link, body, gaveUp };
}

const hung = () => new EvenrungError('call-timed-out', 'The camera did not answer within 15 s.');

describe('one release that makes a whole bracket', () => {
  const planFor = (body: Body) => {
    const base = resolveBase('1/60', body.limits);
    const wanted = {
      offsets: offsetsOf(9),
      step: sixths(6),
      mode: 'manual',
      settleSeconds: 0,
      base,
    } as const;
    return planSet({ ...wanted, release: 'pass' }, body.limits);
  };

  it('and brings fewer frames twice: the rest is fired frame by frame, and that is told and written down', async () => {
    const { practice, link, body, gaveUp } = await meet();
    let dropped = 0;
    // The last frame of each of the first two passes is never told of; it is on the card.
    practice.beforeTelling((files, { bracketPosition }) => {
      if (dropped >= 2 || bracketPosition !== 1) return files;
      dropped += 1;
      return [];
    });
    const plan = planFor(body);
    const { state, record } = await fireSet(into, { frames: 9, body, plan });
    expect(state).toBe('complete');
    expect(gaveUp.map(([what]) => what)).toEqual(['one-release']);
    expect(record?.notes.join()).toMatch(/Twice in one set, one release brought too few frames/);
    expect(body.firesWhole).toBe(false);
    expect(link.presses).toBe(2 + 3);
    expect(practice.state.drive).toBe('single');
  });

  it('and brings fewer frames once: what is missing is fetched from the card, and the next pass is fired as before', async () => {
    const { practice, link, body, gaveUp } = await meet();
    let dropped = 0;
    practice.beforeTelling((files, { bracketPosition }) => {
      if (dropped >= 1 || bracketPosition !== 1) return files;
      dropped += 1;
      return [];
    });
    const { state } = await fireSet(into, { frames: 9, body, plan: planFor(body) });
    expect(state).toBe('complete');
    expect(gaveUp).toEqual([]);
    expect(link.presses).toBe(3);
  });
});

describe('a way to the camera that fails twice in a row', () => {
  it('is left for the one that held before; the set is made', async () => {
    const { link, body, gaveUp } = await meet();
    link.hasOtherWay = true;
    link.beforePress = (count) => {
      if (count > 2) throw hung();
    };
    const { state, record } = await fireSet(into, { frames: 5, body });
    expect(state).toBe('complete');
    expect(link.fellBack).toBe(true);
    expect(link.presses).toBe(2 + 2);
    expect(gaveUp.map(([what]) => what)).toEqual(['direct']);
    expect(record?.notes.join()).toMatch(/failed twice in a row/);
    expect(body.isApart).toBe(false);
  });

  it('is kept if there is no other, and if one failure is followed by a success', async () => {
    const { link, body, gaveUp } = await meet();
    link.beforePress = (count) => {
      if (count === 1 || count === 4) throw hung();
    };
    const { state } = await fireSet(into, { frames: 3, body });
    expect(state).toBe('complete');
    expect(gaveUp).toEqual([]);
    expect(body.isApart).toBe(true);
  });

  it('is not blamed for a cable that is pulled', async () => {
    const { link, body, gaveUp } = await meet();
    link.hasOtherWay = true;
    link.beforePress = (count) => {
      if (count < 3) throw new EvenrungError('body-lost', 'The camera is gone.');
    };
    const { state } = await fireSet(into, { frames: 3, body, patienceMs: 10_000 });
    expect(state).toBe('complete');
    expect(gaveUp).toEqual([]);
  });
});
