// One release that is to bring several frames: it is meant before the shutter is touched, and what it brought and what went wrong are both
// told. Over the practice body in this process, whose frames come in one go.
import { mkdtemp, readdir, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import type { Happening } from '../../shared/state.js';
import { Body, type FiredFrame, type Released } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { SetFolder } from '../../src/frames/index.js';
import { planSet, resolveBase } from '../../src/plan/index.js';
import { Redo } from '../../src/set/again/redo.js';
import { Book } from '../../src/set/book/book.js';
import { KEEPS_NOTHING, type Keeper } from '../../src/set/book/keeper.js';
import { InHand } from '../../src/set/in-hand.js';
import { Common } from '../../src/set/judge/common.js';
import { SetLabels } from '../../src/set/labels.js';
import { Releases } from '../../src/set/release/release.js';
import { armingOf } from '../../src/set/release/walk.js';
import { framesOf } from '../../src/set/set-frame.js';
import { Steady } from '../../src/set/steady.js';
import { ASKED } from '../asked.js';
import { THE_SET } from '../harness/set.js';
import { namedBy } from '../set-naming.js';

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(into, { recursive: true, force: true });
});

/** A set of one pass of three, armed, whose release brings what `bring` says. */
async function burst(
  bring: (files: FiredFrame[]) => Released,
  keeper: Partial<Keeper> = {},
  asked: (exposureSeconds: number) => void = () => undefined,
) {
  const practice = new PracticeBody(AT_ONCE);
  const body = await Body.meet(new PracticeLink(practice));
  const base = resolveBase('1/60', body.limits);
  const plan = planSet(
    { offsets: [-6, 0, 6].map(sixths), step: sixths(6), mode: 'manual', settleSeconds: 0, base },
    body.limits,
  );
  const [pass] = plan.passes;
  if (pass === undefined) throw new Error('There is no pass.');
  await body.makeReady(ASKED);
  const told: Happening[] = [];
  const book = new Book({
    ...{ run: 'a-run', frames: framesOf(plan), passes: 1, begun: undefined },
    keeper: { ...KEEPS_NOTHING, ...keeper },
    tell: (happening) => told.push(happening),
  });
  const folder = await SetFolder.create(into, namedBy(new Date()));
  const hand = new InHand({
    ...{ run: 'a-run', plan, body, folder, book, startedAt: new Date(), iso: null },
    labels: new SetLabels(THE_SET, undefined),
    redo: new Redo(null, []),
    common: (changed) => new Common(null, changed),
  });
  const steady = new Steady({
    ...{ patienceMs: 100, isStopping: () => false, isPuttingBack: () => false },
    ...{ checkBody: async () => undefined, tell: () => undefined },
  });
  await body.arm(armingOf(pass, hand));
  const { fire } = body;
  body.releaseShutter = async (options) => {
    asked(options.exposureSeconds);
    const files: FiredFrame[] = [];
    for (const _ of pass.frames) files.push(await fire.call(body, options));
    return bring(files);
  };
  book.enter('firing');
  const releases = new Releases(hand, steady);
  const own = hand.framesOfPass(pass);
  const turns = pass.frames.map((turn) => own.find(({ planned }) => planned === turn) ?? null);
  const went = await releases.fire({
    is: 'release',
    state: 'firing',
    expects: turns,
    pass: own,
    isSingle: false,
  });
  await releases.looks.catchUp();
  return { went, book, told, folder, practice, order: turns.map((frame) => frame?.view.number) };
}

const timeOut = () => new EvenrungError('call-timed-out', 'The camera did not answer.', { released: true });

describe('a release of three frames', () => {
  it('brings all three', async () => {
    const { went, book, practice } = await burst((files) => ({ files, failure: null }));
    expect(went).toBe('done');
    expect(book.frames.map(({ view }) => [view.state, view.attempts])).toEqual(
      Array(3).fill(['verified', 1]),
    );
    expect(book.asides).toEqual([]);
    expect(practice.shots).toHaveLength(3);
  });

  it('in whatever order they come', async () => {
    const { went, book } = await burst((files) => ({ files: files.toReversed(), failure: null }));
    expect(went).toBe('done');
    expect(book.frames.every(({ view }) => view.state === 'verified')).toBe(true);
    // No order is odd within one release.
    const codes = book.frames.flatMap(({ view }) => view.marks.map(({ code }) => code));
    expect(codes.filter((code) => code === 'order' || code === 'time')).toEqual([]);
  });

  it('of which two come, and then nothing more: neither hides the other', async () => {
    const { went, book, order } = await burst((files) => ({ files: files.slice(0, 2), failure: timeOut() }));
    expect(went).toBe('lost');
    const states = Object.fromEntries(book.frames.map(({ view }) => [view.number, view.state]));
    expect(order.map((number) => states[number ?? 0])).toEqual(['verified', 'verified', 'rejected']);
    expect(book.strays).toMatchObject([{ frame: order[2], reason: 'The camera did not answer.' }]);
  });

  it('of which one never comes without a word: it is owed', async () => {
    const { went, book, order } = await burst((files) => ({
      files: files.filter((_, turn) => turn !== 1),
      failure: null,
    }));
    expect(went).toBe('lost');
    expect(book.strays.map(({ frame }) => frame)).toEqual([order[1]]);
    expect(book.frames.filter(({ view }) => view.state === 'verified')).toHaveLength(2);
  });

  it('is kept as fired in one transaction before the shutter is touched', async () => {
    const kept: string[][] = [];
    let current: string[] | null = null;
    await burst((files) => ({ files, failure: null }), {
      together: (work) => {
        current = [];
        work();
        kept.push(current);
        current = null;
      },
      happening: (happening) => {
        if (happening.type === 'frame') current?.push(`${happening.frame.number} ${happening.frame.state}`);
      },
    });
    expect(kept).toHaveLength(1);
    expect(kept[0]?.toSorted()).toEqual(['1 armed', '1 fired', '2 armed', '2 fired', '3 armed', '3 fired']);
  });

  it('is not made if that cannot be kept, and nothing has changed', async () => {
    const practice: PracticeBody[] = [];
    const refused = burst(
      (files) => {
        practice.push(new PracticeBody(AT_ONCE));
        return { files, failure: null };
      },
      {
        together: () => {
          throw new EvenrungError('storing-failed', 'The disk of the journal is full.');
        },
      },
    );
    await expect(refused).rejects.toMatchObject({ code: 'storing-failed' });
    expect(practice).toEqual([]);
    const [set] = await readdir(into);
    expect(await readdir(path.join(into, set ?? '', '.incoming')).catch(() => [])).toEqual([]);
  });
});

it('is fired with time for all of its exposures', async () => {
  let asked = 0;
  await burst(
    (files) => ({ files, failure: null }),
    {},
    (seconds) => {
      asked = seconds;
    },
  );
  expect(asked).toBeCloseTo(2 ** -7 + 2 ** -6 + 2 ** -5, 9);
});

it('of which one file cannot be told, and then nothing more comes: the others are taken in, and what is missing is said', async () => {
  const result = burst((files) => ({
    files: files.slice(1).map((file) => ({ ...file, path: `${file.path}.gone` })),
    failure: timeOut(),
  }));
  await expect(result).rejects.toMatchObject({ code: 'storing-failed' });
});
