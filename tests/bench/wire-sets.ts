// Sets on one virtual body under one timing table, for the bench `wire`: made by the daemon, then frame by frame by the bare
// binding. What comes back is measured, not judged.
import { mkdtemp, rm } from 'node:fs/promises';
import path from 'node:path';
import type { FaceName } from '../wire/ptp/plugged-body.js';
import type { Fired, Planned, Tally } from './wire-messages.js';
import { type BodyProcess, startBare, startBody, startDaemon } from './wire-processes.js';
import { type Limit, limitOf, type Megapixels, type TimingTable } from './wire-timing.js';
import { quantile } from './wire-watch.js';

export const SETS = [
  { name: '9 x 1 EV', request: { frames: 9, step: 1, base: '1/60' } },
  { name: '11 x 2/3 EV', request: { frames: 11, step: '2/3', base: '1/60' } },
] as const;

export interface Bench {
  /** A folder for everything. */
  readonly scratch: string;
  /** The files whose pixels the frames get. */
  readonly pictures: Readonly<Record<Megapixels, string>>;
}

/** One way of making a set: seconds, and what it came to on the wire. Medians of the rounds. */
export interface Made {
  readonly seconds: number;
  readonly transactions: number;
  /** By property code; of the last round. */
  readonly writes: Readonly<Record<number, number>>;
  /** Seconds that its transactions were made to wait. */
  readonly waited: number;
}

export interface SetByDaemon {
  readonly face: FaceName;
  readonly set: string;
  readonly planned: Planned;
  readonly limit: Limit;
  readonly made: Made;
  /** The last round. */
  readonly fired: Fired;
}

/** What the daemon made of one body, which waits for the bare binding now. */
export interface MeasuredByDaemon {
  readonly body: BodyProcess;
  readonly timing: TimingTable;
  readonly sets: readonly SetByDaemon[];
  /** Every round of every set. */
  readonly fired: readonly Fired[];
  /** Where a frame that came back was copied to. */
  readonly sample: string;
}

export interface MeasuredSet extends SetByDaemon {
  readonly bare: Made & {
    /** Frames with another time than was set for them: the body had not made the change yet, and nothing waited for it. */
    readonly wrong: number;
  };
}

export const total = (counts: Readonly<Record<number, number>>): number =>
  Object.values(counts).reduce((sum, count) => sum + count, 0);

interface Round {
  readonly seconds: number;
  readonly tally: Tally;
}

function madeOf(rounds: readonly Round[]): Made {
  const median = (of: (round: Round) => number) => quantile(rounds.map(of), 0.5);
  return {
    seconds: median(({ seconds }) => seconds),
    transactions: median(({ tally }) => tally.transactions),
    writes: rounds.at(-1)?.tally.writes ?? {},
    waited: median(({ tally }) => tally.waited),
  };
}

/** Every set by the daemon. The body is handed on: `measureBare` ends it. @throws where a set went wrong */
export async function measureDaemon(
  { scratch, pictures }: Bench,
  face: FaceName,
  timing: TimingTable,
): Promise<MeasuredByDaemon> {
  const body = await startBody(face, timing, pictures);
  const into = await mkdtemp(path.join(scratch, 'daemon-'));
  const sample = path.join(into, 'sample.jpg');
  const sets: SetByDaemon[] = [];
  const all: Fired[] = [];
  try {
    const daemon = await startDaemon({
      environment: body.environment,
      way: 'binding',
      keepsJournal: false,
      into,
    });
    const { state } = await body.ask('tally');
    for (const { name, request } of SETS) {
      const planned = await daemon.plan(request);
      const rounds: Round[] = [];
      await body.ask('tally');
      for (let round = 0; round < timing.rounds; round += 1) {
        const fired = await daemon.fire(request, sample);
        const tally = await body.ask('tally');
        if (planned.frames.some(({ tv }) => !tally.shots.includes(tv)))
          throw new Error(`${face}: not every frame was made.`);
        if (tally.state !== state) throw new Error(`${face}: the body was not left as it was found.`);
        rounds.push({ seconds: fired.seconds, tally });
        all.push(fired);
      }
      const limit = limitOf(
        timing,
        planned.frames.map(({ seconds }) => seconds),
      );
      const fired = all.at(-1);
      if (fired !== undefined) sets.push({ face, set: name, planned, limit, made: madeOf(rounds), fired });
    }
    await daemon.end();
  } catch (cause) {
    await body.end();
    throw cause;
  }
  return { body, timing, sets, fired: all, sample };
}

/**
 * The same sets by the bare binding, when the daemon has let go: two libraries at one body would take each other's events.
 * The shutter is set back by hand before each set.
 */
export async function measureBare(
  { scratch }: Bench,
  { body, timing, sets }: MeasuredByDaemon,
): Promise<MeasuredSet[]> {
  const home = await mkdtemp(path.join(scratch, 'home-'));
  const measured: MeasuredSet[] = [];
  try {
    const bare = await startBare({ ...body.environment, HOME: home });
    for (const set of sets) {
      const { frames } = set.planned;
      const rounds: Round[] = [];
      for (let round = 0; round < timing.rounds; round += 1) {
        await body.ask('rest');
        const into = await mkdtemp(path.join(scratch, 'bare-'));
        const setting = set.face === 'pattern' ? 'shutterspeed2' : 'shutterspeed';
        const seconds = await bare.fire({ setting, labels: frames.map(({ label }) => label), into });
        rounds.push({ seconds, tally: await body.ask('tally') });
        await rm(into, { recursive: true });
      }
      const wrong = rounds.map(({ tally }) => frames.filter(({ tv }, at) => tally.shots[at] !== tv).length);
      measured.push({ ...set, bare: { ...madeOf(rounds), wrong: Math.max(...wrong) } });
    }
    await bare.end();
  } finally {
    await body.end();
  }
  return measured;
}
