// The live bar of a terminal, and what stands there where standard output is none.
import { describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import type { FrameState, Happening, NumberedEvent, RunView } from '../../shared/state.js';
import { wordsPrinter } from '../../src/commands/words/fire-words.js';
import { barLine, isLive, type Terminal } from '../../src/commands/words/live-bar.js';
import { limitsFromStated, planSet, resolveBase, STATED_DEFAULTS, toWirePlan } from '../../src/plan/index.js';

const NOW = Date.parse('2026-11-25T15:40:00Z');

/** @param states of the frames that are not planned any more, by their numbers */
function runOf(
  count: number,
  states: Readonly<Record<number, FrameState>> = {},
  more: Partial<RunView> = {},
): RunView {
  const limits = limitsFromStated(STATED_DEFAULTS);
  const offsets = Array.from({ length: count }, (_, index) => (index - Math.floor((count - 1) / 2)) * 2);
  const base = resolveBase('1/60', limits);
  const plan = toWirePlan(
    planSet(
      { offsets: offsets.map(sixths), step: sixths(2), mode: 'manual', settleSeconds: 0, base },
      limits,
      {},
    ),
  );
  const frames = plan.passes
    .flatMap((pass, index) => pass.frames.map((frame) => ({ ...frame, pass: index + 1 })))
    .filter(({ wanted }) => wanted)
    .sort((a, b) => a.offset - b.offset)
    .map(({ wanted: _, ...frame }, index) => ({
      ...{ ...frame, number: index + 1, state: states[index + 1] ?? ('planned' as const), attempts: 0 },
      ...{ recorded: null, clipped: null, file: null, reason: null, baseMoved: null, marks: [] },
    }));
  return {
    ...{ id: 'a-run', state: 'firing', plan, frames, passes: plan.passes.map(() => 'planned' as const) },
    set: { id: 'a-set', ordinal: 1, name: null, note: null, viewpoint: null },
    base: { shutter: '1/60', aperture: '8', iso: '100' },
    ...{ startedAt: new Date(NOW).toISOString(), endedAt: null, beginsAt: null, startedBy: 'this computer' },
    ...{ trouble: null, sentence: null, error: null, folder: null, notes: [], light: null, isJudged: true },
    ...more,
  };
}

const plainly = (run: RunView, columns = 80) => barLine(run, { columns, colours: false, now: NOW });

describe('the bar', () => {
  it('shows each pass, its frames as they stand, how many are verified, and what is left', () => {
    const run = runOf(
      9,
      { 1: 'verified', 2: 'verified', 3: 'verified' },
      { passes: ['done', 'firing', 'planned'] },
    );
    const line = plainly(run);
    expect(line).toMatch(/^1 [#.]{3} {2}2 [#.]{3} {2}3 [#.]{3} {2}3 of 9, pass 2 of 3, about \d+ s left$/);
    expect(line.match(/#/g)).toHaveLength(3);
  });

  it('finds the frames of a pass however their offsets were counted', () => {
    const run = runOf(9, { 1: 'verified' });
    // Thirds of an EV added up one by one, as a program may that keeps EV: the last digit differs.
    const frames = run.frames.map((frame, index) => ({
      ...frame,
      offset: Array.from({ length: index }, () => 1 / 3).reduce((sum, third) => sum + third, -4 / 3),
    }));
    expect(frames.map(({ offset }) => offset)).not.toEqual(run.frames.map(({ offset }) => offset));
    expect(plainly({ ...run, frames })).toBe(plainly(run));
  });

  it.each([
    [{ state: 'held' } as const, '0 of 9, held'],
    [{ state: 'preparing' } as const, '0 of 9, getting ready'],
    [{ state: 'preparing', beginsAt: new Date(NOW + 4200).toISOString() } as const, '0 of 9, fires in 5 s'],
    [{ state: 'putting-back' } as const, '0 of 9, putting the settings back'],
    [
      { trouble: { doing: 'reconnecting', code: 'body-lost', sentence: '', next: '' } } as const,
      '0 of 9, camera gone: reconnecting',
    ],
  ])('%j: %s', (more, words) => {
    expect(plainly(runOf(9, {}, more)).endsWith(`  ${words}`)).toBe(true);
  });

  it.each([20, 40, 60, 80, 120])('is never wider than %i columns, however many frames', (columns) => {
    for (const count of [1, 3, 9, 27, 41]) {
      for (const state of ['preparing', 'firing', 'making-up', 'held', 'putting-back'] as const)
        expect(plainly(runOf(count, {}, { state }), columns).length).toBeLessThan(columns);
    }
  });

  it('of more passes than fit shows the one in hand', () => {
    const done = Object.fromEntries(
      Array.from({ length: 5 }, (_, index) => [index + 1, 'verified' as const]),
    );
    expect(plainly(runOf(41, done), 60)).toMatch(/^2 of 15 ##\. {2}5 of 41, about \d+ s left$/);
  });

  it('is coloured only where the terminal has colours', () => {
    const run = runOf(3, { 1: 'verified', 2: 'rejected' });
    const coloured = barLine(run, { columns: 80, colours: true, now: NOW });
    expect(coloured).toContain('\u001b[32m#');
    expect(coloured).toContain('\u001b[31mx');
    expect(plainly(run)).not.toContain('\u001b');
  });
});

/** To the end of the line. */
const CLEARS = '\u001b[K';

class Screen implements Terminal {
  readonly written: string[] = [];
  readonly isTTY: boolean;
  readonly columns = 80;
  constructor(isTTY: boolean) {
    this.isTTY = isTTY;
  }
  write(text: string) {
    this.written.push(text);
  }
  hasColors() {
    return false;
  }
  /** What is seen of it in the end. */
  get seen(): string[] {
    const lines = [''];
    for (const part of this.written
      .join('')
      .replaceAll(CLEARS, '')
      .split(/([\n\r])/)) {
      if (part === '\n') lines.push('');
      else if (part !== '\r' && part !== '') lines[lines.length - 1] = part;
    }
    return lines;
  }
}

const events = (): NumberedEvent[] => {
  const run = runOf(3);
  const [frame] = run.frames;
  if (frame === undefined) throw new Error('It has frames.');
  const ended = {
    sentence: 'All 3 frames are verified.',
    error: null,
    folder: '/sets/1',
    endedAt: run.startedAt,
  };
  const about = { run: run.id };
  return [
    { type: 'run', run } as const,
    { type: 'pass', ...about, pass: 1, state: 'firing' } as const,
    { type: 'frame', ...about, frame: { ...frame, state: 'stored' } } as const,
    { type: 'frame', ...about, frame: { ...frame, state: 'verified' } } as const,
    { type: 'run-state', ...about, state: 'complete', ...ended } as const,
  ].map((happening, index) => ({ seq: index + 1, at: run.startedAt, happening }));
};

describe('at a terminal', () => {
  it('lines go by above the bar, and it is gone in the end', () => {
    const screen = new Screen(true);
    const print = wordsPrinter(undefined, screen);
    for (const event of events().slice(0, 4)) print(event);
    expect(screen.seen.at(-1)).toMatch(/^1 [#.]{3} {2}1 of 3/);
    expect(screen.seen[1]).toBe('Pass 1 of 1');
    for (const event of events().slice(4)) print(event);
    expect(screen.written.at(-1)).toBe('Set folder: /sets/1\n');
    expect(screen.written.at(-3)).not.toContain('1 of 3');
  });

  it('elsewhere there are plain lines, and nothing that moves a cursor', () => {
    const screen = new Screen(false);
    const print = wordsPrinter(undefined, screen);
    for (const event of events()) print(event);
    for (const sign of ['\r', '\u001b']) expect(screen.written.join('')).not.toContain(sign);
    expect(screen.written.every((line) => line.endsWith('\n'))).toBe(true);
    expect(screen.seen).toContain('All 3 frames are verified.');
  });

  it('a line that is about no event takes the bar away, until the next event', () => {
    const screen = new Screen(true);
    const print = wordsPrinter(undefined, screen);
    for (const event of events().slice(0, 3)) print(event);
    print.say('Not connected.');
    expect(screen.written.at(-1)).toBe('Not connected.\n');
    for (const event of events().slice(3, 4)) print(event);
    expect(screen.seen.at(-1)).toMatch(/1 of 3/);
  });

  it('each frame stands under its own pass, though the next one is armed before the last of it is read', () => {
    const screen = new Screen(false);
    const print = wordsPrinter(undefined, screen);
    const run = runOf(9);
    const about = { run: run.id };
    const told: Happening[] = [{ type: 'run', run }];
    const pass = (number: number) => told.push({ type: 'pass', ...about, pass: number, state: 'firing' });
    const frame = (ofPass: number, index: number, state: FrameState) => {
      const found = run.frames.filter((one) => one.pass === ofPass)[index];
      if (found !== undefined) told.push({ type: 'frame', ...about, frame: { ...found, state } });
    };
    for (const ofPass of [1, 2, 3]) {
      pass(ofPass);
      for (const index of [0, 1, 2]) {
        frame(ofPass, index, 'armed');
        frame(ofPass, index, 'fired');
        // The last one of the pass before is read only now: behind the first release of this one.
        if (index === 0 && ofPass > 1) frame(ofPass - 1, 2, 'verified');
        frame(ofPass, index, 'stored');
        if (index < 2) frame(ofPass, index, 'verified');
      }
    }
    frame(3, 2, 'verified');
    for (const [index, happening] of told.entries()) print({ seq: index + 1, at: run.startedAt, happening });
    const heading = (line: string) => /^Pass (\d)/.exec(line)?.[1];
    let under: string | undefined;
    const stood = screen.written.flatMap((line) => {
      under = heading(line) ?? under;
      const [, number] = /^ {2}frame +(\d+) .* verified/.exec(line) ?? [];
      return number === undefined ? [] : [[Number(number), Number(under)]];
    });
    expect(stood).toHaveLength(9);
    for (const [number, ofPass] of stood)
      expect(run.frames.find((one) => one.number === number)?.pass).toBe(ofPass);
  });

  it('that cannot go back in its line is none for this', () => {
    expect(isLive(new Screen(true), { TERM: 'dumb' })).toBe(false);
    expect(isLive(new Screen(true), { TERM: 'xterm' })).toBe(true);
    expect(isLive(new Screen(false), { TERM: 'xterm' })).toBe(false);
  });
});
