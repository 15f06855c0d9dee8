// The two ways through a pass, frame by frame and in one release; the least time and the least spread. Timing is invented, so that sums
// can be done by hand.
import { readFile } from 'node:fs/promises';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import { planSchema, suggestionSchema } from '../../shared/plan.js';

import { readSetRecord } from '../../shared/set-record.js';
import { Body } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody, type PracticeShape } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import {
  type ApartTiming,
  type BodyLimits,
  type BracketShape,
  firedBy,
  hasOneRelease,
  isSameShape,
} from '../../src/exposure/index.js';
import {
  type Conditions,
  fromWirePlan,
  limitsFromStated,
  type Plan,
  type PlanRequest,
  planSet,
  resolveBase,
  STATED_DEFAULTS,
  type StatedLimits,
  toWirePlan,
} from '../../src/plan/index.js';
import { parseFramed } from '../framed.js';
import fc from '../seeded.js';

const APART: ApartTiming = {
  secondsBeforeExposure: 0.06,
  secondsAfterExposure: 0.14,
  secondsPerTransfer: 0.8,
  secondsPerPiece: 0.25,
  mostInOneGo: null,
};

const inOneGo = (brackets: readonly BracketShape[]): BracketShape[] =>
  brackets.map((shape) => ({ ...shape, isOneRelease: true }));

/** Three frames in steps of 1 EV over a link that takes both apart, fired either way; a change takes 0.3 s. */
const body = (
  apart: Partial<ApartTiming> = {},
  stated: Partial<StatedLimits> = {},
  more: Partial<BodyLimits> = {},
): BodyLimits => {
  const limits = limitsFromStated({ ...STATED_DEFAULTS, bodySteps: '1', ...stated });
  return {
    ...limits,
    brackets: [...limits.brackets, ...inOneGo(limits.brackets)],
    apart: { ...APART, ...apart },
    ...more,
  };
};

const plan = (
  written: Record<string, unknown>,
  limits: BodyLimits = body(),
  conditions: Conditions = {},
): Plan => {
  const { conditions: _, base, ...asked } = parseFramed(written);
  return planSet({ ...asked, base: resolveBase(base, limits) }, limits, conditions);
};

function refusal(work: () => unknown): EvenrungError {
  try {
    work();
  } catch (cause) {
    if (cause instanceof EvenrungError) return cause;
    throw cause;
  }
  throw new Error('Nothing was refused.');
}

const NINE = { frames: 9, step: 1, base: '1/60' };
const sizes = ({ passes }: Plan) => passes.map(({ frames }) => frames.length);
const isInOneGo = ({ passes }: Plan) => passes.map(({ shape }) => shape?.isOneRelease === true);
/** Of nine frames from 1/1024 s to 1/4 s. */
const EXPOSED = [10, 9, 8, 7, 6, 5, 4, 3, 2].reduce((sum, tv) => sum + 2 ** -tv, 0);

describe('nine frames from a three-frame body, by hand', () => {
  it('frame by frame: a piece between two releases; the rest of the files queues up, and comes after the last', () => {
    const { estimate, ...made } = plan(NINE);
    expect([sizes(made as Plan), isInOneGo(made as Plan)]).toEqual([
      [3, 3, 3],
      [false, false, false],
    ]);
    // Bracket on, three centres, bracket off, shutter back: six changes of 0.3 s. The first frame, 1/512 s, takes 0.06 + 1/512 +
    // 0.14 s; from then on the cable has nine files of 0.8 s to bring, which is longer than what the body needs, and stands still for
    // changes alone.
    expect(estimate.seconds).toBeCloseTo(6 * 0.3 + (0.2 + 1 / 512) + 9 * 0.8, 3);
    // From the first opening to the last closing: nine exposures, eight rests and eight lags, two changes. Before the first frame there
    // is no file, so it waits for nothing; the seven after it have 0.25 s to wait each, for the longest of them, 1/8 s, takes 0.325 s
    // and leaves 0.475 s of a file of 0.8 s. The wait of the last one comes after its closing.
    expect(estimate.spreadSeconds).toBeCloseTo(EXPOSED + 8 * (0.14 + 0.06) + 7 * 0.25 + 2 * 0.3, 3);
    expect(estimate.passSeconds.reduce((sum, seconds) => sum + seconds, 0) + 0.6).toBeCloseTo(
      estimate.seconds,
      2,
    );
  });

  it('in one release a pass: exposures and rests, a change and a lag between passes; the files meanwhile', () => {
    const made = plan({ ...NINE, release: 'pass' });
    expect([sizes(made), isInOneGo(made)]).toEqual([
      [3, 3, 3],
      [true, true, true],
    ]);
    expect(made.estimate.spreadSeconds).toBeCloseTo(EXPOSED + 8 * 0.14 + 2 * (0.3 + 0.06), 3);
    // The cable is the longer way: six changes, the first frame, nine files.
    expect(made.estimate.seconds).toBeCloseTo(6 * 0.3 + (0.2 + 1 / 512) + 9 * 0.8, 3);
  });

  it('where files come fast, the shutter is the longer way', () => {
    const made = plan({ ...NINE, release: 'pass' }, body({ secondsPerTransfer: 0.05 }));
    expect(made.estimate.spreadSeconds).toBeCloseTo(EXPOSED + 8 * 0.14 + 2 * (0.3 + 0.06), 3);
    expect(made.estimate.seconds).toBeCloseTo(6 * 0.3 + EXPOSED + 9 * 0.14 + 3 * 0.06 + 0.05, 3);
    const framewise = plan(NINE, body({ secondsPerTransfer: 0.05 })).estimate;
    expect(framewise.seconds).toBeCloseTo(6 * 0.3 + EXPOSED + 9 * (0.06 + 0.14) + 0.05, 3);
  });

  it('where less than a piece is left of a file, frame by frame waits for that', () => {
    const { estimate } = plan(NINE, body({ secondsPerTransfer: 0.3 }));
    // 0.3 s from frame to frame where exposure, lag and rest take less: 1/512 s has no file before it; 1/8 s takes 0.325 s, 1/4 s
    // takes 0.45 s; the six others are shorter than 0.1 s. Then the last file.
    const frames = 0.2 + 1 / 512 + 6 * 0.3 + 0.325 + 0.45;
    expect(estimate.seconds).toBeCloseTo(6 * 0.3 + frames + 0.3, 3);
    expect(estimate.spreadSeconds).toBeCloseTo(frames - 0.06 - 0.14 + 2 * 0.3, 3);
  });

  it('where files come whole, frame by frame adds each to its exposure', () => {
    const { estimate } = plan(NINE, body({ secondsPerPiece: null }));
    expect(estimate.seconds).toBeCloseTo(6 * 0.3 + EXPOSED + 9 * (0.06 + 0.14 + 0.8), 3);
    expect(estimate.spreadSeconds).toBeCloseTo(EXPOSED + 8 * (0.06 + 0.14 + 0.8) + 2 * 0.3, 3);
  });

  it('where files come whole, one release waits for all its files before the next', () => {
    const { estimate } = plan({ ...NINE, release: 'pass' }, body({ secondsPerPiece: null }));
    // Each pass fires its metered frame first: 1/512, 1/64, 1/8 s. Its file comes after 0.06 + exposure + 0.14 s; the two further frames
    // are exposed meanwhile, and three files take 2.4 s.
    const metered = 1 / 512 + 1 / 64 + 1 / 8;
    expect(estimate.seconds).toBeCloseTo(6 * 0.3 + metered + 3 * (0.2 + 2.4), 3);
    // Two passes so, less the first lag; then the last one until it closes: 1/8, 1/16 and 1/4 s with two rests.
    const last = 0.06 + 1 / 8 + 1 / 16 + 1 / 4 + 2 * 0.14;
    const before = 1 / 512 + 1 / 64 + 2 * (0.2 + 2.4) - 0.06;
    expect(estimate.spreadSeconds).toBeCloseTo(before + 2 * 0.3 + last, 3);
  });

  it('over a link that does both at once: as ever, and the spread beside it', () => {
    const { apart: _, ...limits } = body({}, {}, { secondsPerFrame: 0.5 });
    const { estimate } = plan(NINE, limits);
    expect(estimate.seconds).toBeCloseTo(EXPOSED + 9 * 0.5 + 6 * 0.3, 3);
    // Eight frames and two changes lie before the last closing, and nothing of what comes after it.
    expect(estimate.spreadSeconds).toBeCloseTo(EXPOSED + 8 * 0.5 + 2 * 0.3, 3);
  });
});

describe('the drawing in the notes', () => {
  it('shows what the planner says of these figures', async () => {
    const read = (name: string) =>
      readFile(fileURLToPath(new URL(`../../hardware-notes/${name}`, import.meta.url)), 'utf8');
    const [drawing, note] = await Promise.all([read('two-ways.svg'), read('passes.md')]);
    const plans = [plan(NINE), plan({ ...NINE, release: 'pass' })];
    const whole = plan(NINE, body({ secondsPerPiece: null })).estimate;
    expect(note.replaceAll('\n', ' ')).toContain(
      `a spread of ${whole.spreadSeconds?.toFixed(1)} seconds, and a set of ${whole.seconds.toFixed(1)} seconds`,
    );
    const figures = plans.map(({ estimate: { seconds, spreadSeconds } }) => [seconds, spreadSeconds ?? 0]);
    const written = [...drawing.matchAll(/time ([\d.]+) s, spread ([\d.]+) s</g)];
    expect(written.map(([, ...numbers]) => numbers)).toEqual(
      figures.map((numbers) => numbers.map((number) => number.toFixed(1))),
    );
    // Nine exposures and nine files each, a change before and after, and some in between.
    expect(drawing.match(/class="exposure"/g)).toHaveLength(2 * 9 + 1);
    for (const spread of figures.map(([, spread = 0]) => spread))
      expect(note).toContain(`a spread of ${spread.toFixed(1)} seconds`);
  });
});

describe('what costs what', () => {
  it('an exposure longer than a transfer hides it, frame by frame', () => {
    const { estimate } = plan({ frames: 3, step: 1, base: '4' }, body({}, { maxFrames: '1' }));
    // 2, 4 and 8 s singly: two files come while the next frame is exposed, the last one behind. Three centres, shutter back.
    expect(estimate.seconds).toBeCloseTo(4 * 0.3 + 3 * 0.2 + 14 + 0.8, 3);
    expect(estimate.spreadSeconds).toBeCloseTo(14 + 2 * (0.14 + 0.3 + 0.06), 3);
  });

  it('waiting for what trembles hides a transfer, too', () => {
    const limits = body({}, { maxFrames: '1' });
    const seconds = (settle: number) => plan({ frames: 3, step: 1, settle }, limits).estimate.seconds;
    // The first file is fetched while the body waits: of 0.5 s there are 0.5 before the first frame, and none after it.
    expect(seconds(0.5) - seconds(0)).toBeCloseTo(0.5, 3);
    // Of 2 s the first frame has them all; the second and the third the part that is longer than their transfer: 2.2 s and
    // their exposures of 1/60 and 1/30 s, less 0.8 s.
    expect(seconds(2) - seconds(0)).toBeCloseTo(2 + 2 * (2.2 - 0.8) + 1 / 64 + 1 / 32, 3);
  });

  it('is paid once a pass: a frame that nobody asked for is cheaper than waiting twice', () => {
    expect(sizes(plan({ frames: 2, step: 1 }))).toEqual([1, 1]);
    expect(sizes(plan({ frames: 2, step: 1, settle: 5 }))).toEqual([3]);
  });

  it('the setting of another shape counts for the least time, too', () => {
    // Five and three take a change more than five and five, which have two files more.
    for (const release of ['frame', 'pass'])
      for (const [secondsPerChange, expected] of [
        [1.5, [3, 5]],
        [1.7, [5, 5]],
      ] as const) {
        const limits = body({}, { maxFrames: '3,5' }, { secondsPerChange });
        expect(sizes(plan({ frames: 8, step: 1, release }, limits))).toEqual(expected);
      }
  });

  it('what is set for a pass keeps the cable busy; files come before and after', () => {
    const files = (secondsPerChange: number) =>
      plan({ ...NINE, release: 'pass' }, body({ secondsPerTransfer: 3 }, {}, { secondsPerChange })).estimate
        .seconds;
    expect(files(1.3) - files(0.3)).toBeCloseTo(6, 3);
  });

  it('the longest gap between neighbours is counted from opening to opening', () => {
    const { estimate } = plan({ frames: 3, step: 1, release: 'pass' });
    // 0, -1, +1: the brightest opens when the metered one (1/64 s) and the darker one (1/128 s) have had their rests.
    expect(estimate.longestGapSeconds).toBeCloseTo(1 / 64 + 1 / 128 + 2 * 0.14, 3);
  });
});

describe('the least spread', () => {
  it('takes fewer and larger passes, with a frame that nobody asked for, if setting takes longer than firing it', () => {
    const limits = body({}, { maxFrames: '3,5' });
    // By time three passes of three are best: a tenth file would take 0.8 s, a third change takes 0.3 s.
    const byTime = plan({ ...NINE, release: 'pass' }, limits);
    const bySpread = plan({ ...NINE, release: 'pass', least: 'spread' }, limits);
    expect([sizes(byTime), sizes(bySpread)]).toEqual([
      [3, 3, 3],
      [5, 5],
    ]);
    expect(bySpread.estimate.actuations).toBe(10);
    // One change instead of two; one exposure more, of 1/2048 s or 1/60 s, by which passes overlap or begin.
    expect(bySpread.estimate.spreadSeconds ?? 0).toBeLessThan(byTime.estimate.spreadSeconds ?? 0);
    expect(bySpread.estimate.seconds).toBeGreaterThan(byTime.estimate.seconds);
  });

  it('counts the setting of another shape: nine and three thirds become seven, seven and seven', () => {
    const limits = body({}, { maxFrames: '3,5,7,9', bodySteps: '1/3' });
    const made = plan({ frames: 21, step: '1/3', release: 'pass', least: 'spread' }, limits);
    expect(sizes(made)).toEqual([7, 7, 7]);
    expect(made.provenLeast).toBe(true);
  });

  it('where nobody says how, it goes in one release if that is shorter, and frame by frame if not', () => {
    const shorter = plan({ ...NINE, least: 'spread' });
    expect(isInOneGo(shorter)).toEqual([true, true, true]);
    expect(isInOneGo(plan({ ...NINE, least: 'spread', release: 'frame' }))).toEqual([false, false, false]);
    // Its buffer holds three frames, and frame by frame it brackets nine; files come at once.
    const limits = body(
      { secondsPerTransfer: 0, mostInOneGo: 3, secondsBeforeExposure: 0 },
      { maxFrames: '3,9' },
    );
    const made = plan({ ...NINE, least: 'spread' }, limits);
    expect([sizes(made), isInOneGo(made)]).toEqual([[9], [false]]);
  });

  it('of a single frame is its exposure', () => {
    expect(plan({ frames: 1, step: 1, base: '1', least: 'spread' }).estimate.spreadSeconds).toBe(1);
  });

  it('is asked of a body over the old link, too', () => {
    const { apart: _, ...limits } = body({}, { maxFrames: '3,5' });
    const made = plan({ frames: 8, step: 1, least: 'spread' }, { ...limits, secondsPerChange: 2 });
    expect(sizes(made)).toEqual([5, 5]);
  });
});

describe('one release a pass', () => {
  it('is refused where the link cannot do it, with what to do', () => {
    const { apart: _, ...limits } = body();
    const refused = refusal(() => plan({ ...NINE, release: 'pass' }, limits));
    expect(refused.code).toBe('one-release-not-offered');
    expect(refused.message).toBe(
      'This camera cannot fire a whole pass from one release over the cable. Choose frame by frame.',
    );
    expect(refused.details.field).toBe('release');
    const [suggestion] = suggestionSchema.array().parse(refused.details.suggestions);
    expect(suggestion?.change).toEqual({ release: 'frame' });
    expect(plan({ ...NINE, ...suggestion?.change }, limits).passes).toHaveLength(3);
  });

  it('is refused where no bracket fits into the buffer, in other words', () => {
    const limits = body({ mostInOneGo: 4 }, { maxFrames: '5,9' });
    expect(refusal(() => plan({ ...NINE, release: 'pass' }, limits)).message).toBe(
      'This camera fires at least 5 frames from one release, but its buffer holds only 4. Choose frame by frame.',
    );
    expect(hasOneRelease(limits)).toBe(false);
  });

  it('of a single frame nobody is refused: it takes one release anyway', () => {
    const { apart: _, ...limits } = body();
    const made = plan({ frames: 1, step: 1, release: 'pass' }, limits);
    expect([sizes(made), made.release]).toEqual([[1], 'frame']);
  });

  it.each([
    [null, [9]],
    [9, [9]],
    [8, [5, 5]],
    [3, [3, 3, 3]],
  ])('is never longer than what the buffer was seen to hold: %s frames', (mostInOneGo, expected) => {
    const limits = body({ mostInOneGo }, { maxFrames: '3,5,9' });
    expect(sizes(plan({ ...NINE, release: 'pass', least: 'spread' }, limits))).toEqual(expected);
  });

  it('that nobody has tried is said to be so', () => {
    const codes = (mostInOneGo: number | null, release: 'frame' | 'pass') =>
      plan({ ...NINE, release }, body({ mostInOneGo })).warnings.map(({ code }) => code);
    expect(codes(null, 'pass')).toContain('buffer-untried');
    expect(codes(9, 'pass')).not.toContain('buffer-untried');
    expect(codes(null, 'frame')).not.toContain('buffer-untried');
  });

  it('a body that fires its bracket so and not otherwise sets the shutter for every frame, unless it may', () => {
    const { brackets, ...others } = body();
    const limits = { ...others, brackets: brackets.filter(({ isOneRelease }) => isOneRelease) };
    const made = plan({ frames: 3, step: 1 }, limits);
    expect(sizes(made)).toEqual([1, 1, 1]);
    expect(made.warnings.map(({ message }) => message)).toContain(
      'This camera fires its auto-bracket only as a whole, from one release: Evenrung sets the shutter for each frame.',
    );
    expect(sizes(plan({ frames: 3, step: 1, release: 'pass' }, limits))).toEqual([3]);
  });

  it('a step that no bracket helps with is made singly, and waits for no file either', () => {
    const made = plan({ frames: 3, step: '1/3', release: 'pass' });
    expect([sizes(made), made.release]).toEqual([[1, 1, 1], 'pass']);
    expect(made.warnings.map(({ code }) => code)).toContain('single-frames');
    const exposed = [-2, 0, 2].reduce((sum, sixths) => sum + 2 ** (sixths / 6 - 6), 0);
    expect(made.estimate.spreadSeconds).toBeCloseTo(exposed + 2 * (0.14 + 0.3 + 0.06), 3);
  });

  it('single frames beside it wait for no file', () => {
    const made = plan({ frames: 4, step: 1, release: 'pass' });
    expect(sizes(made)).toEqual([3, 1]);
    // Bracket off and the centre moved; no file of the three comes before it.
    const [first, second, third, last] = [0, -1, 1, 2].map((ev) => 2 ** (ev - 6)) as [
      number,
      number,
      number,
      number,
    ];
    const spread = first + second + third + last + 3 * 0.14 + 2 * 0.3 + 0.06;
    expect(made.estimate.spreadSeconds).toBeCloseTo(spread, 3);
  });
});

describe('in aperture priority', () => {
  const request = (release: 'frame' | 'pass' | null): PlanRequest => ({
    offsets: [-24, -18, -12].map(sixths),
    step: sixths(6),
    base: resolveBase('1/60', body()),
    mode: 'aperture',
    release,
  });

  it('where one way reaches what the other does not, it is suggested', () => {
    // Compensation goes 3 EV; -4 EV is reached by a bracket about -3 EV alone.
    const { brackets, ...others } = body();
    const only = (isOneRelease: boolean) => ({
      ...others,
      brackets: brackets.filter((shape) => (shape.isOneRelease ?? false) === isOneRelease),
    });
    const refused = refusal(() => planSet(request('frame'), only(true)));
    expect(refused.code).toBe('outside-compensation-range');
    const suggestions = suggestionSchema.array().parse(refused.details.suggestions);
    expect(suggestions.map(({ change }) => change.release)).toContain('pass');
    expect(sizes(planSet(request('pass'), only(true)))).toEqual([3]);
    // Least spread takes the way that there is.
    const made = planSet(
      { ...request(null), least: 'spread' },
      {
        ...only(true),
        brackets: [...only(true).brackets],
      },
    );
    expect(isInOneGo(made)).toEqual([true]);
  });
});

describe('what is kept', () => {
  it('a plan goes over the wire and comes back, with what one release fires', () => {
    const limits = body();
    const made = plan({ ...NINE, release: 'pass', least: 'spread' }, limits);
    const wire = toWirePlan(made);
    expect(planSchema.parse(wire)).toEqual(wire);
    expect(wire.passes.map(({ oneRelease }) => oneRelease)).toEqual([true, true, true]);
    const { offsets: _, base: __, release: ___, ...asked } = made;
    const back = fromWirePlan(wire, asked, limits);
    expect(back.passes).toEqual(made.passes);
    expect([back.release, back.least]).toEqual(['pass', 'spread']);
  });

  it('a plan of an earlier program has neither, and is read as it was meant', () => {
    const { estimate, ...wire } = toWirePlan(plan(NINE));
    const { spreadSeconds: _, ...before } = estimate;
    const { release: __, ...earlier } = wire;
    expect(wire.passes.some((pass) => 'oneRelease' in pass)).toBe(false);
    const read = planSchema.parse({ ...earlier, estimate: before });
    expect([read.estimate.spreadSeconds, read.release]).toEqual([null, 'frame']);
    expect(fromWirePlan(read, { step: sixths(6), mode: 'manual' }, body()).passes).toEqual(plan(NINE).passes);
  });

  it('the record of a set keeps it', () => {
    const record = {
      ...{ version: 2, id: 'a', complete: false, sentence: '', practice: true, startedAt: '', endedAt: '' },
      body: { link: 'practice', model: '', serial: null },
      base: { shutter: '1/60', exposureTime: 1 / 64, aperture: null, iso: null },
      ...{ mode: 'manual', step: 1, frames: [], setAside: [], notes: [], clockDifference: null },
      ...{ putBack: [], notPutBack: [] },
    };
    const passes = (of: Plan) =>
      readSetRecord(JSON.stringify({ ...record, passes: toWirePlan(of).passes })).record.passes;
    expect(passes(plan({ ...NINE, release: 'pass' })).every(({ oneRelease }) => oneRelease)).toBe(true);
    expect(passes(plan(NINE)).some((pass) => 'oneRelease' in pass)).toBe(false);
  });

  it('a bracket that takes one release is another one to set than the same frame by frame', () => {
    const shape = { step: sixths(6), pattern: [0, -1, 1] };
    expect(isSameShape(shape, { ...shape, isOneRelease: false })).toBe(true);
    expect(isSameShape(shape, { ...shape, isOneRelease: true })).toBe(false);
  });
});

describe('on what each dialect reads off its body', async () => {
  const SHAPES: readonly PracticeShape[] = ['amount', 'pattern', 'drive-entry', 'none'];
  const met = await Promise.all(
    SHAPES.map(async (shape): Promise<[PracticeShape, BodyLimits]> => {
      const { limits } = await Body.meet(new PracticeLink(new PracticeBody({ ...AT_ONCE, shape })));
      return [shape, { ...limits, secondsPerChange: 0.3, secondsPerFrame: 1 }];
    }),
  );

  it.each(met)('%s: with its brackets either way, least time and spread', (shape, { apart: _, ...old }) => {
    const before = planSet(parsed(NINE, old), old);
    const limits: BodyLimits = { ...old, brackets: [...old.brackets, ...inOneGo(old.brackets)] };
    // Brackets of one release are nothing to a link that cannot fire them.
    expect(planSet(parsed(NINE, limits), limits)).toEqual(before);
    const apart = { ...limits, apart: APART };
    const framewise = planSet(parsed(NINE, apart), apart);
    expect(isInOneGo(framewise).some(Boolean)).toBe(false);
    expect(framewise.estimate.seconds).toBeLessThan(before.estimate.seconds);
    if (shape === 'none') {
      expect(refusal(() => planSet(parsed({ ...NINE, release: 'pass' }, apart), apart)).code).toBe(
        'one-release-not-offered',
      );
      return;
    }
    const together = planSet(parsed({ ...NINE, least: 'spread' }, apart), apart);
    expect(isInOneGo(together).every(Boolean)).toBe(true);
    // Seven of nine frames wait for a piece before the last one opens; in one release none does.
    const saved = (framewise.estimate.spreadSeconds ?? 0) - (together.estimate.spreadSeconds ?? 0);
    expect(saved).toBeGreaterThan(7 * 0.25);
  });
});

const parsed = (written: Record<string, unknown>, limits: BodyLimits): PlanRequest => {
  const { conditions: _, base, ...asked } = parseFramed(written);
  return { ...asked, base: resolveBase(base, limits) };
};

describe('for any body and request', () => {
  const seconds = fc.integer({ min: 0, max: 3000 }).map((ms) => ms / 1000);
  const bodies = fc
    .record({
      counts: fc.subarray(['2', '3', '5', '7', '9'], { minLength: 1 }),
      steps: fc.subarray(['1/3', '2/3', '1', '2'], { minLength: 1 }),
      ways: fc.constantFrom('frame', 'pass', 'both'),
      ...{ change: seconds, before: seconds, after: seconds, transfer: seconds },
      piece: fc.option(seconds),
      mostInOneGo: fc.constantFrom(null, 2, 3, 5, 9),
      perSetting: fc.constantFrom(0, 0.05),
    })
    .map(
      ({
        counts,
        steps,
        ways,
        change,
        before,
        after,
        transfer,
        piece,
        mostInOneGo,
        perSetting,
      }): BodyLimits => {
        const limits = limitsFromStated({
          ...STATED_DEFAULTS,
          maxFrames: counts.join(),
          bodySteps: steps.join(),
        });
        return {
          ...limits,
          brackets: [
            ...(ways === 'pass' ? [] : limits.brackets),
            ...(ways === 'frame' ? [] : inOneGo(limits.brackets)),
          ],
          ...{ secondsPerChange: change, secondsPerSetting: perSetting },
          apart: {
            secondsBeforeExposure: before,
            secondsAfterExposure: after,
            secondsPerTransfer: transfer,
            secondsPerPiece: piece,
            mostInOneGo,
          },
        };
      },
    );
  const requests = fc.record({
    frames: fc.integer({ min: 1, max: 9 }),
    step: fc.constantFrom('1/3', '2/3', '1', '2'),
    base: fc.constant('1/30'),
    settle: fc.constantFrom(0, 0, 1.5),
  });
  const standing = fc.constantFrom(undefined, 36, 42);

  it('each wanted frame is made once, the asked way, within the buffer; the spread lies within the time', () => {
    fc.assert(
      fc.property(
        bodies,
        requests,
        standing,
        fc.constantFrom('frame', 'pass', undefined),
        fc.constantFrom('time', 'spread'),
        (limits, request, tv, release, least) => {
          fc.pre(release !== 'pass' || request.frames === 1 || hasOneRelease(limits));
          const conditions = tv === undefined ? {} : { standingTv: sixths(tv) };
          const asked = parsed({ ...request, least, ...(release === undefined ? {} : { release }) }, limits);
          const { passes, estimate, offsets, release: way } = planSet(asked, limits, conditions);
          const made = passes.flatMap(({ frames }) => frames.filter(({ wanted }) => wanted));
          expect(made.map(({ offset }) => offset).sort((a, b) => a - b)).toEqual(offsets);
          const shapes = passes.flatMap(({ shape }) => shape ?? []);
          for (const { isOneRelease } of shapes) expect(isOneRelease === true).toBe(way === 'pass');
          if (release === 'frame' || (release === undefined && least === 'time')) expect(way).toBe('frame');
          if (release === 'pass' && request.frames > 1) expect(way).toBe('pass');
          const most = way === 'pass' ? (limits.apart?.mostInOneGo ?? 99) : 99;
          for (const { pattern } of shapes) expect(pattern.length).toBeLessThanOrEqual(most);
          expect(estimate.spreadSeconds ?? -1).toBeGreaterThan(0);
          expect(estimate.spreadSeconds ?? 0).toBeLessThanOrEqual(estimate.seconds + 0.001);
          expect(estimate.longestGapSeconds).toBeLessThanOrEqual((estimate.spreadSeconds ?? 0) + 0.001);
        },
      ),
      { numRuns: 150 },
    );
  });

  it('whoever asks for the least spread gets no more of it than whoever asks for the least time', () => {
    fc.assert(
      fc.property(bodies, requests, standing, (limits, request, tv) => {
        const conditions = tv === undefined ? {} : { standingTv: sixths(tv) };
        const spread = (asked: Record<string, unknown>) =>
          planSet(parsed({ ...request, ...asked }, limits), limits, conditions).estimate.spreadSeconds ?? 0;
        const ways = hasOneRelease(limits) ? ['frame', 'pass'] : ['frame'];
        for (const release of ways)
          expect(spread({ release, least: 'spread' })).toBeLessThanOrEqual(spread({ release }));
        const least = ways.map((release) => spread({ release, least: 'spread' }));
        expect(spread({ least: 'spread' })).toBe(Math.min(...least));
      }),
      { numRuns: 80 },
    );
  });

  it('over the old link nothing of it counts: brackets of one release, and frame by frame in so many words', () => {
    fc.assert(
      fc.property(bodies, requests, ({ apart: _, ...limits }, request) => {
        const plain = firedBy(limits, 'frame');
        const bare = planSet(parsed(request, plain), plain);
        const asked = planSet(parsed({ ...request, release: 'frame' }, limits), limits);
        expect({ ...asked, warnings: [] }).toEqual({ ...bare, warnings: [] });
      }),
      { numRuns: 60 },
    );
  });
});
