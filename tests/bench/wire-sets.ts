// Sets on one virtual body under one timing table, for the bench `wire`: made by a Station, then frame by frame by the bare
// binding. What comes back is measured, not judged.
import { copyFile, mkdtemp, rm } from 'node:fs/promises';
import path from 'node:path';
import { formatEv } from '../../src/exposure/index.js';
import type { Plan } from '../../src/plan/index.js';
import type { FaceName } from '../wire/ptp/plugged-body.js';
import type { BareOrder, Tally } from './wire-messages.js';
import { type BodyProcess, CAMERA_PROCESS, startBare, startBody } from './wire-processes.js';
import { type Fired, fireSet, removeSets, stationOn } from './wire-station.js';
import { type Limit, limitOf, type TimingTable } from './wire-timing.js';
import { type Change, type Gap, type LinkWatch, quantile } from './wire-watch.js';

export const SETS = [
  { name: '9 x 1 EV', request: { frames: 9, step: 1, base: '1/60' } },
  { name: '11 x 2/3 EV', request: { frames: 11, step: '2/3', base: '1/60' } },
] as const;

/** One way of making a set: seconds, and what it came to on the wire. */
export interface Made {
  /** Median. */
  readonly seconds: number;
  readonly transactions: number;
  readonly writes: Readonly<Record<number, number>>;
  /** How often the shutter went. */
  readonly releases: number;
  /** Seconds that the body was asked to wait for the sake of its transactions. */
  readonly transactionWait: number;
}

/** A set as a run made it. */
export interface SetByRun {
  readonly face: FaceName;
  readonly set: string;
  readonly frames: number;
  /** Each pass as centre and count, in firing order: `-3 EV x 3`. */
  readonly passes: readonly string[];
  readonly limit: Limit;
  readonly made: Made;
  /** Of the last round. */
  readonly ways: Ways;
  /** What it changed through the link, in order. */
  readonly changes: readonly Change[];
  readonly order: Omit<BareOrder, 'into'>;
  /** Tv of its frames, from the darkest to the lightest. */
  readonly tvs: readonly number[];
}

/** What a Station made of one body, which waits for the bare binding now. */
export interface MeasuredRuns {
  readonly body: BodyProcess;
  readonly timing: TimingTable;
  readonly sets: readonly SetByRun[];
  readonly gaps: readonly Gap[];
  readonly looks: readonly number[];
  readonly channel: readonly number[];
  /** Where a frame that came back was copied to. */
  readonly sample: string;
}

export interface MeasuredSet extends SetByRun {
  readonly bare: Made & {
    /** Frames with another time than was set for them: the body had not made the change yet, and nothing waited for it. */
    readonly wrong: number;
  };
}

export interface Bench {
  readonly watch: LinkWatch;
  readonly scratch: string;
  readonly largePicture: string;
}

export const total = (counts: Readonly<Record<number, number>>): number =>
  Object.values(counts).reduce((sum, count) => sum + count, 0);

/** What a run's seconds hold beside its frames; seconds. */
export interface Ways {
  /** From asking for the set to its first frame. */
  readonly wayIn: number;
  /** From the last frame in hand to the end. */
  readonly wayOut: number;
  /** The daemon's own cost between frames, added up. */
  readonly own: number;
}

function waysOf({ firstFire = Number.NaN, lastInHand = Number.NaN, gaps }: LinkWatch, fired: Fired): Ways {
  const between = gaps.flatMap(({ next, total: gap }) => (next === 'put-back' ? [] : gap));
  return {
    wayIn: (firstFire - fired.began) / 1000,
    wayOut: (fired.ended - lastInHand) / 1000,
    own: between.reduce((sum, gap) => sum + gap, 0) / 1000,
  };
}

interface Rounds {
  readonly seconds: number[];
  readonly tallies: Tally[];
}

function madeOf({ seconds, tallies }: Rounds): Made {
  const last = tallies.at(-1);
  return {
    seconds: quantile(seconds, 0.5),
    transactions: quantile(
      tallies.map(({ operations }) => total(operations)),
      0.5,
    ),
    writes: last?.writes ?? {},
    releases: last?.shots.length ?? 0,
    transactionWait: last?.waits.seconds ?? 0,
  };
}

function asPlanned(face: FaceName, plan: Plan, timing: TimingTable) {
  const frames = plan.passes.flatMap((pass) => pass.frames.filter(({ wanted }) => wanted));
  const ascending = frames.sort((a, b) => a.offset - b.offset).map(({ shutter }) => shutter);
  return {
    frames: frames.length,
    passes: plan.passes.map(({ centre, frames: fired }) => `${formatEv(centre)} EV x ${fired.length}`),
    limit: limitOf(
      timing,
      ascending.map(({ seconds }) => seconds),
    ),
    order: {
      setting: face === 'pattern' ? 'shutterspeed2' : 'shutterspeed',
      labels: ascending.map(({ wire }) => wire),
    },
    tvs: ascending.map(({ tv }) => tv),
  };
}

/** Every set by a Station. The body is handed on: `measureBare` ends it. @throws where a set went wrong */
export async function measureRuns(
  { watch, scratch, largePicture }: Bench,
  face: FaceName,
  timing: TimingTable,
): Promise<MeasuredRuns> {
  const body = await startBody(face, timing, largePicture);
  const into = await mkdtemp(path.join(scratch, 'sets-'));
  const sample = path.join(into, 'sample.jpg');
  const { station, events } = stationOn(watch, {
    cameraProcess: CAMERA_PROCESS,
    environment: body.environment,
    into,
  });
  const sets: SetByRun[] = [];
  const gaps: Gap[] = [];
  const looks: number[] = [];
  const channel: number[] = [];
  try {
    await station.look();
    if (station.problem !== null) throw station.problem;
    for (const { name, request } of SETS) {
      const planned = asPlanned(face, station.plan(request), timing);
      const rounds: Rounds = { seconds: [], tallies: [] };
      let ways: Ways = { wayIn: 0, wayOut: 0, own: 0 };
      const before = (await body.ask('tally')).state;
      for (let round = 0; round < timing.rounds; round += 1) {
        watch.clear();
        const fired = await fireSet(station, events, request);
        rounds.seconds.push((fired.ended - fired.began) / 1000);
        ways = waysOf(watch, fired);
        gaps.push(...watch.gaps);
        looks.push(...watch.looks);
        channel.push(...watch.channel);
        const tally = await body.ask('tally');
        rounds.tallies.push(tally);
        if (planned.tvs.some((tv) => !tally.shots.includes(tv)))
          throw new Error(`${face}: not every frame was made.`);
        if (tally.state !== before) throw new Error(`${face}: the body was not left as it was found.`);
        const { folder, frames } = events.state.run ?? {};
        await copyFile(path.join(folder ?? '', frames?.[0]?.file ?? ''), sample);
        await removeSets(into);
      }
      sets.push({ face, set: name, ...planned, made: madeOf(rounds), ways, changes: [...watch.changes] });
    }
  } catch (cause) {
    await body.end();
    throw cause;
  } finally {
    await station.close();
  }
  return { body, timing, sets, gaps, looks, channel, sample };
}

/**
 * The same sets by the bare binding, when the Station has let go: two libraries at one body would take each other's events.
 * The shutter is set back by hand before each set.
 */
export async function measureBare(
  { scratch }: Bench,
  { body, timing, sets }: MeasuredRuns,
): Promise<MeasuredSet[]> {
  const home = await mkdtemp(path.join(scratch, 'home-'));
  const measured: MeasuredSet[] = [];
  try {
    const bare = await startBare({ ...body.environment, HOME: home });
    try {
      for (const set of sets) {
        const rounds: Rounds = { seconds: [], tallies: [] };
        for (let round = 0; round < timing.rounds; round += 1) {
          await body.ask('rest');
          const into = await mkdtemp(path.join(scratch, 'bare-'));
          rounds.seconds.push(await bare.fire({ ...set.order, into }));
          rounds.tallies.push(await body.ask('tally'));
          await rm(into, { recursive: true });
        }
        const wrong = Math.max(
          ...rounds.tallies.map(({ shots }) => set.tvs.filter((tv, index) => shots[index] !== tv).length),
        );
        measured.push({ ...set, bare: { ...madeOf(rounds), wrong } });
      }
    } finally {
      await bare.end();
    }
  } finally {
    await body.end();
  }
  return measured;
}
