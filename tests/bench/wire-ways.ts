// Nine frames by each way there is, on one body at a time, for the bench `wire`: over the binding; directly, the next frame released while
// the file of the one before comes; and directly, whole passes from one release. Seconds beside the least that body and
// cable allow, and how far apart in time the frames were, as the body itself saw it.
import { mkdtemp } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import type { LinkWay } from '../../src/camera/index.js';
import { NO_EV } from '../../src/exposure/index.js';
import type { FaceName } from '../wire/ptp/plugged-body.js';
import type { Fired, Planned, Tally } from './wire-messages.js';
import { startBody, startDaemon } from './wire-processes.js';
import type { Bench } from './wire-sets.js';
import { leastOf, mostSpread, type Needed, type TimingTable } from './wire-timing.js';
import { quantile } from './wire-watch.js';

export const WAYS = ['binding', 'pipelined', 'one-release'] as const;
export type Way = (typeof WAYS)[number];

const LINKS: Readonly<Record<Way, LinkWay>> = {
  binding: 'binding',
  pipelined: 'direct',
  'one-release': 'direct',
};

const requestOf = (way: Way) =>
  ({ frames: 9, step: 1, base: '1/60', release: way === 'one-release' ? 'pass' : 'frame' }) as const;

const ROUNDS = 5;

/**
 * Settings of the bracket that a body has otherwise as it is found, one frame a release: the amount; the switch, the pattern and the step;
 * the entry of the drive.
 */
const BRACKET_SETTINGS: Readonly<Record<FaceName, number>> = {
  amount: 1,
  hidden: 0,
  pattern: 3,
  'drive-entry': 1,
  'drive-entry-leaping': 1,
  'drive-entry-walking': 1,
  standard: 0,
};

/** What the best way may take, beside the least. */
const BEST_RATIOS: Partial<Record<FaceName, number>> = {
  amount: 1.2,
  pattern: 1.1,
  'drive-entry': 1.15,
  standard: 1.15,
};
/** What the sets took over the binding before there was another way, on the machine on which it was measured. */
const BINDING_BEFORE: Partial<Record<FaceName, number>> = {
  amount: 16,
  pattern: 14.8,
  'drive-entry': 14.3,
  standard: 15.4,
};

interface Round {
  readonly fired: Fired;
  readonly spread: number;
  readonly load: number;
}

interface MeasuredWay {
  readonly way: Way;
  readonly planned: Planned;
  readonly rounds: readonly Round[];
}

/** Meets one goal or misses it, and says which. */
export type Goal = (isMet: boolean, what: string) => string;

/** @param faces each with its dialect, as it is printed */
export async function measureWays(
  bench: Bench,
  {
    faces,
    ways,
    timing,
    goal,
  }: {
    readonly faces: readonly (readonly [FaceName, string])[];
    readonly ways: readonly Way[];
    readonly timing: TimingTable;
    readonly goal: Goal;
  },
): Promise<void> {
  console.log(
    `\n=== nine frames by each way, ${timing.name}, one body at a time, medians of ${ROUNDS}\n` +
      'least: changes before the first frame, that frame, the settings put back, and of what goes on side by side from then on the slower:\n' +
      '       every file over the cable and the changes between passes, or the frames and the last file\n' +
      'spread: from the first opening of the shutter to its last closing; at most 1.3 times exposures, cycles, lags and changes between passes',
  );
  for (const [face, dialect] of faces) {
    const measured: MeasuredWay[] = [];
    for (const way of ways) {
      const one = await measureWay(bench, face, way, timing);
      if (one === null) console.log(`wire ${dialect} ${way} none: ${noneBecause}`);
      else measured.push(one);
    }
    printWays(dialect, face, measured, timing, goal);
  }
}

const noneBecause = 'no release of this body fires a bracket';

/** @returns null if the body cannot be fired so @throws where a set went wrong */
async function measureWay(
  { scratch, pictures }: Bench,
  face: FaceName,
  way: Way,
  timing: TimingTable,
): Promise<MeasuredWay | null> {
  const body = await startBody(face, timing, pictures);
  try {
    const into = await mkdtemp(path.join(scratch, 'daemon-'));
    const asFound = (await body.ask('tally')).state;
    const { environment } = body;
    const daemon = await startDaemon({ environment, way: LINKS[way], keepsJournal: true, into });
    const met = await body.ask('tally');
    const request = requestOf(way);
    const planned = await daemon.plan(request).catch((cause: unknown) => {
      if (way === 'one-release' && BRACKET_SETTINGS[face] === 0) return null;
      throw cause;
    });
    const rounds: Round[] = [];
    while (planned !== null && rounds.length < ROUNDS) {
      const fired = await daemon.fire(request);
      const tally = await body.ask('tally');
      mustBeRight(planned, tally, met.state);
      rounds.push({ fired, spread: tally.spread ?? Number.NaN, load: os.loadavg()[0] ?? Number.NaN });
    }
    await daemon.end();
    if ((await body.ask('tally')).state !== asFound)
      throw new Error(`${face}: let go, the body was not as it was found.`);
    return planned === null ? null : { way, planned, rounds };
  } finally {
    await body.end();
  }
}

/** Each frame once, and the body as it was met. */
function mustBeRight({ frames }: Planned, { shots, state }: Tally, met: string): void {
  const wanted = frames.map(({ tv }) => tv).sort((a, b) => a - b);
  if (String([...shots].sort((a, b) => a - b)) !== String(wanted))
    throw new Error(`The shutter made ${shots} where ${wanted} were wanted.`);
  if (state !== met) throw new Error('The body was not left as it was met.');
}

/** Frame by frame, since one release may need the drive besides. The shutter stands on the base at first. */
function neededFor(face: FaceName, { centres, exposures }: Planned): Needed {
  const moves = centres.map((centre, index) => centre !== (centres[index - 1] ?? NO_EV));
  const [isFirst = false, ...between] = moves;
  const bracket = BRACKET_SETTINGS[face];
  return {
    exposures,
    before: bracket + (isFirst ? 1 : 0),
    between: between.filter((isMove) => isMove).length,
    after: bracket + (moves.includes(true) ? 1 : 0),
  };
}

const two = (value: number): string => value.toFixed(2);

function printWays(
  dialect: string,
  face: FaceName,
  measured: readonly MeasuredWay[],
  timing: TimingTable,
  goal: Goal,
): void {
  const least = Math.min(...measured.map(({ planned }) => leastOf(timing, neededFor(face, planned))));
  const ratios: number[] = [];
  for (const { way, planned, rounds } of measured) {
    const [seconds, spread] = [
      rounds.map(({ fired }) => fired.seconds),
      rounds.map((round) => round.spread),
    ].map((values) => quantile(values, 0.5)) as [number, number];
    const isOneRelease = way === 'one-release';
    const most = mostSpread(timing, neededFor(face, planned), planned.centres.length);
    ratios.push(seconds / least);
    console.log(
      `wire ${dialect} ${way} set ${two(seconds)} least ${two(least)} ratio ${two(seconds / least)} spread ${two(spread)}` +
        (isOneRelease ? ` most ${two(most)}` : ''),
    );
    printRounds(rounds);
    if (isOneRelease)
      goal(
        spread <= most,
        `${dialect}, ${way}: the frames are spread over ${two(spread)} s where ${two(most)} s is the goal`,
      );
    const before = BINDING_BEFORE[face];
    if (way === 'binding' && before !== undefined)
      goal(seconds <= before, `${dialect}, ${way}: ${two(seconds)} s, slower than before (${two(before)} s)`);
  }
  const best = Math.min(...ratios);
  const ratio = BEST_RATIOS[face];
  if (ratio !== undefined && measured.length > 0)
    goal(
      best <= ratio,
      `${dialect}: the best way takes ${two(best)} times the least where ${two(ratio)} is the goal`,
    );
}

const INDENT = ' '.repeat(5);

function printRounds(rounds: readonly Round[]): void {
  const all = rounds.map(({ fired, load }) => `${two(fired.seconds)} (load ${load.toFixed(1)})`);
  console.log(`${INDENT}rounds: ${all.join(', ')}`);
  const median = (of: (round: Round) => number) => two(quantile(rounds.map(of), 0.5));
  console.log(
    `${INDENT}before the first release ${median(({ fired }) => fired.before)}, after the last file ${median(({ fired }) => fired.after)}`,
  );
  const calls = Object.entries(rounds.at(-1)?.fired.calls ?? {});
  const words = calls.map(
    ([method, { count, milliseconds }]) => `${method} ${count} in ${two(milliseconds / 1000)}`,
  );
  console.log(`${INDENT}calls of the link, last round, seconds with their waits: ${words.join(', ')}`);
}
