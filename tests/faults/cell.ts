// One cell of the table of faults: a set on one body with one fault at one point, through everything real (Station, camera
// process, binding, libgphoto2, virtual port), and whatever must hold after it. It knows nothing of which cells there are.
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { mkdir, mkdtemp, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { type SetRecord, setRecordSchema } from '../../shared/set-record.js';
import type { Happening } from '../../shared/state.js';
import type { PracticeOptions } from '../../src/camera/practice/model.js';
import { checkSet, readRecorded, recordedTv } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { EventLog } from '../../src/station/index.js';
import { cameraProcesses } from '../camera-processes.js';
import { stationOfProcess } from '../harness/process-station.js';
import { mountSmall } from '../harness/small-disk.js';
import { ShutterBook } from '../resume/shutter-book.js';
import { type FaceName, type PluggedBody, plugIn } from '../wire/ptp/plugged-body.js';

export const BODIES = ['amount', 'pattern', 'drive-entry', 'standard', 'practice'] as const;
export type BodyName = (typeof BODIES)[number];

/**
 * How the body is released: over the npm package gphoto2, where release and fetch are one call; by calling the library directly, a frame a
 * release; or directly with a whole pass from one release. The practice body has the first two, without a library.
 */
export const WAYS = ['binding', 'direct', 'pass'] as const;
export type Way = (typeof WAYS)[number];

export const POINTS = [
  'before the first frame',
  'first frame of a pass',
  'middle frame of a pass',
  'last frame of a pass',
  'between passes',
  'putting back',
] as const;
export type Point = (typeof POINTS)[number];

export type Outcome = 'goes on' | 'halts';

/** The things that a fault can act on. */
export interface Struck {
  readonly name: BodyName;
  readonly way: Way;
  readonly point: Point | number;
  /** Whether the release of the point is under way: of a whole pass from one release, another frame than the first. */
  readonly isWithin: boolean;
  /** Undefined for the practice body, which has no cable. */
  readonly plugged: PluggedBody | undefined;
  /** The folder that takes sets. */
  readonly into: string;
  /** The folder with the journal and the settings owed to bodies. */
  readonly stateFolder: string;
  /** The journal of the run; undefined if the fault has nothing to do with it. */
  readonly journal: Journal | undefined;
  /** The camera processes that are alive. */
  processes(): number[];
  /** To be called when the body can be reached again, if that is at once or soon. */
  isBack(): void;
  /** To be called when the fault has really happened: a fault that nothing met proves nothing. */
  hit(): void;
  /** The practice body behind the cable, and the cable: for faults that need them. */
  wire(): PluggedBody;
}

export interface Fault {
  readonly name: string;
  /** Called at the point; at a frame, before its release. */
  readonly strike: (cell: Struck) => void | Promise<void>;
  /** Called when the run has ended: the body answers again. */
  readonly lift?: (cell: Struck) => void | Promise<void>;
  /** Called before the body is looked for, when nothing is wrong yet. */
  readonly prepare?: (cell: Struck) => void | Promise<void>;
  /** The options of the body that it happens to. */
  readonly body?: Partial<PracticeOptions>;
  /** The part that has a small disk of its own. */
  readonly smallDisk?: SmallDisk;
  /**
   * Whether the program ends with the fault and another one resumes the set afterwards: no good frame is
   * fired again.
   */
  readonly goesOnAfter?: boolean;
  /** Strikes before the body is looked for; then no run begins. */
  readonly beforeLooking?: boolean;
}

export interface SmallDisk {
  readonly of: 'sets' | 'state';
  readonly kilobytes: number;
}

export interface Seen {
  readonly outcome: Outcome | 'not begun';
  readonly sentence: string;
  /** Whether the run ended with settings that it could not put back. */
  readonly owes: boolean;
  /** Why it was tried again to put settings back, a sentence each. */
  readonly puttingBackAgain: readonly string[];
  /** Expectations that did not hold, a sentence each. */
  readonly wrong: readonly string[];
  readonly seconds: number;
  /** Frames that the shutter made, and frames that are verified; null of a body whose shutter nobody can see. */
  readonly made: number | null;
  readonly verified: number;
  /**
   * Milliseconds from the return of the body until the next frame is armed; null if the fault does not tell,
   * or if none was armed.
   */
  readonly armedAgainMs: number | null;
}

const FRAMES = 9;
const BASE_TV = 6;
/** Short, so that a cell takes a few seconds: the library's own waits are cut off by them. */
const DEADLINES = { call: 8000, fire: 2500, release: 2000 };
/** The practice body draws its scene at the first frame, which takes a busy machine a while; it never hangs here. */
const DEADLINES_OF_PRACTICE = { ...DEADLINES, fire: 12_000 };
export const FIRE_DEADLINE_MS = DEADLINES.fire;
/** A cable that is out for a moment comes back within it, also on a busy machine. */
const PATIENCE_MS = 4000;
const LOOK_EVERY_MS = 25;

/** Every body with a bracket has brackets of three: nine frames are three passes. */
const THREE_A_PASS: Partial<PracticeOptions> = { patterns: [[0, -1, 1]] };
const PASS_STRUCK = 2;

export const pause = (milliseconds: number) =>
  new Promise<void>((resolve) => setTimeout(resolve, milliseconds));

/** Which frame of its pass a point is, counted from 1; 0 if it is at none. */
const turnOf = (point: Point | number): number =>
  typeof point === 'number' ? 0 : TURNS.findIndex((word) => point.startsWith(`${word} frame of`)) + 1;
const TURNS = ['first', 'middle', 'last'];

/** @returns whether this happening is the point; of a pass from one release, the release */
function watchFor(point: Point | number, way: Way): (happening: Happening) => boolean {
  let pass = 0;
  let fired = 0;
  let firedInPass = 0;
  const stored = new Set<number>();
  return (happening) => {
    if (happening.type === 'pass' && happening.state === 'arming') {
      pass = happening.pass;
      firedInPass = 0;
      return (
        (point === 'before the first frame' && pass === 1) ||
        (point === 'between passes' && pass === PASS_STRUCK)
      );
    }
    if (happening.type !== 'frame') return false;
    const { number, state } = happening.frame;
    if (state === 'stored' && !stored.has(number)) {
      stored.add(number);
      // Settings are put back from then on, while the pictures are looked at.
      return point === 'putting back' && stored.size === FRAMES;
    }
    if (state !== 'fired') return false;
    fired += 1;
    firedInPass += 1;
    if (typeof point === 'number') return fired === point;
    const turn = turnOf(point);
    return turn > 0 && pass === PASS_STRUCK && firedInPass === (way === 'pass' ? 1 : turn);
  };
}

export async function runCell(name: BodyName, way: Way, fault: Fault, point: Point | number): Promise<Seen> {
  const started = performance.now();
  const root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-fault-'));
  const into = path.join(root, 'sets');
  await mkdir(into);
  const plugged =
    name === 'practice'
      ? undefined
      : await plugIn(name as FaceName, { ...(name === 'standard' ? {} : THREE_A_PASS), ...fault.body });
  const stateFolder = path.join(root, 'state');
  await mkdir(stateFolder);
  const small = fault.smallDisk?.of === 'state' ? stateFolder : into;
  // Without the right to mount a disk, the fault takes the folder away instead.
  const mounted = fault.smallDisk !== undefined && mountSmall(small, fault.smallDisk.kilobytes);
  const events = new EventLog();
  const home = path.join(stateFolder, 'camera-home');
  let journal = fault.goesOnAfter ? await Journal.open(stateFolder) : undefined;
  let hits = 0;
  let backAt: number | null = null;
  let armedAgainMs: number | null = null;
  events.watch(({ happening }) => {
    if (backAt === null || armedAgainMs !== null) return;
    if (happening.type === 'frame' && happening.frame.state === 'armed')
      armedAgainMs = performance.now() - backAt;
  });
  const cell: Struck = {
    name,
    way,
    point,
    isWithin: way === 'pass' && turnOf(point) > 1,
    plugged,
    into,
    stateFolder,
    journal,
    processes: () => cameraProcesses(home),
    hit: () => {
      hits += 1;
    },
    isBack: () => {
      backAt = performance.now();
    },
    wire: () => {
      if (plugged === undefined) throw new Error('The practice body has no cable.');
      return plugged;
    },
  };
  const wrong: string[] = [];
  const newStation = () =>
    stationOfProcess(root, plugged === undefined ? practiceOf(way) : plugged.environment, {
      way: way === 'binding' ? 'binding' : 'direct',
      ...{ choice: plugged === undefined ? 'practice' : 'usb', into, stateFolder, events, journal },
      ...{ patienceMs: PATIENCE_MS, deadlines: plugged === undefined ? DEADLINES_OF_PRACTICE : DEADLINES },
    }).station;
  let station = newStation();
  let fired = 0;
  events.watch(({ happening }) => {
    if (happening.type === 'frame' && happening.frame.state === 'fired') fired += 1;
  });
  let most = 0;
  const looking = setInterval(() => {
    most = Math.max(most, cell.processes().length);
  }, LOOK_EVERY_MS);
  const kept = watchFrames(events, into, wrong);
  let book: ShutterBook | undefined;
  const puttingBackAgain: string[] = [];
  events.watch(({ happening }) => {
    if (
      happening.type === 'trouble' &&
      happening.trouble !== null &&
      events.state.run?.state === 'putting-back'
    )
      puttingBackAgain.push(happening.trouble.sentence);
  });
  try {
    // A body that nobody tethers keeps its frames on the card; the library moves that while it is connected.
    await plugged?.body.change('target', 'card');
    await fault.prepare?.(cell);
    const before = plugged && { ...plugged.body.state };
    book = plugged && new ShutterBook(plugged.body);
    if (fault.beforeLooking) await fault.strike(cell);
    await station.look();
    let seen: Pick<Seen, 'outcome' | 'sentence' | 'owes'>;
    if (station.problem === null) {
      let struck: Promise<void> | undefined;
      const isPoint = watchFor(point, way);
      const stopWatching = events.watch(({ happening }) => {
        if (fault.beforeLooking || struck !== undefined || !isPoint(happening)) return;
        struck = strike(fault, cell).catch((cause: unknown) => {
          wrong.push(`The fault could not be made: ${cause}`);
        });
      });
      await station.start({
        ...{ frames: FRAMES, step: 1, base: '1/60' },
        release: way === 'pass' ? 'pass' : 'frame',
      });
      await station.settled();
      stopWatching();
      await struck;
      if (struck === undefined && !fault.beforeLooking) wrong.push('The point was never reached.');
      else if (hits === 0) wrong.push('Nothing met with the fault.');
      const run = events.state.run;
      const outcome = run?.state === 'complete' ? 'goes on' : 'halts';
      const sentence = run?.sentence ?? '';
      seen = { outcome, sentence, owes: sentence.includes('could not be put back') };
      wrong.push(...(await afterRun(events, into, kept, outcome)));
    } else {
      seen = { outcome: 'not begun', sentence: station.problem.message, owes: false };
    }
    if (fault.goesOnAfter) {
      await station.close();
      journal?.close();
    }
    await fault.lift?.(cell);
    if (fault.goesOnAfter) {
      journal = await Journal.open(stateFolder);
      station = newStation();
      await station.look();
      await station.resume();
      await station.settled();
      wrong.push(...(await afterGoingOn(events, fired)));
    }
    if (seen.outcome !== 'goes on' || seen.owes) {
      await station.look();
      if (station.problem !== null)
        wrong.push(`After the fault it is not found again: ${station.problem.message}`);
    }
    await station.close();
    // The kernel takes a moment.
    for (let looks = 0; looks < 40 && cell.processes().length > 0; looks += 1) await pause(LOOK_EVERY_MS);
    if (cell.processes().length > 0) wrong.push('A camera process is left after the end.');
    if (most > 1) wrong.push(`${most} camera processes were alive at a time.`);
    if (plugged && before) {
      for (const [setting, found] of Object.entries(before)) {
        const now = plugged.body.state[setting as keyof typeof before];
        if (now !== found)
          wrong.push(`${setting} is ${JSON.stringify(now)}, found was ${JSON.stringify(found)}.`);
      }
    }
    if (plugged && book) wrong.push(...(await accounted(book, events)));
    return {
      ...{ ...seen, wrong, puttingBackAgain, armedAgainMs },
      seconds: (performance.now() - started) / 1000,
      made: plugged?.body.shots.length ?? null,
      verified: verifiedIn(events),
    };
  } finally {
    clearInterval(looking);
    await station.close();
    journal?.close();
    await plugged?.remove();
    if (mounted) spawnSync('umount', ['-l', small]);
    await rm(root, { recursive: true, force: true });
  }
}

/** Of a whole pass from one release, another frame than the first is struck as soon as the body is about to tell of the one before. */
async function strike(fault: Fault, cell: Struck): Promise<void> {
  if (!cell.isWithin) return fault.strike(cell);
  let toCome = turnOf(cell.point) - 1;
  await new Promise<void>((resolve, reject) => {
    const out = cell.wire().body.beforeTelling(async (files) => {
      toCome -= 1;
      if (toCome > 0) return files;
      out();
      await Promise.resolve(fault.strike(cell)).then(resolve, reject);
      return files;
    });
  });
}

/** Of the practice body in its own process. */
const practiceOf = (way: Way): Record<string, string> => ({
  EVENRUNG_PRACTICE_TIMING: 'at-once',
  EVENRUNG_PRACTICE_LINK: way === 'binding' ? 'at-once' : 'apart',
});

interface Kept {
  readonly hash: string;
  readonly file: string;
}

const hashOf = (file: string): string => createHash('sha256').update(readFileSync(file)).digest('hex');

/** The verified frames, each with its file as it was then. */
function watchFrames(events: EventLog, into: string, wrong: string[]): Map<number, Kept> {
  const kept = new Map<number, Kept>();
  events.watch(({ happening }) => {
    if (happening.type !== 'frame' || happening.frame.state !== 'verified') return;
    const { number, file } = happening.frame;
    // A frame is told again if more is known of it.
    if (kept.get(number)?.file === file) return;
    if (kept.has(number)) wrong.push(`Frame ${number} was verified twice.`);
    const [set] = readdirSync(into).filter((name) => name.startsWith('set-'));
    try {
      kept.set(number, { file: file ?? '', hash: hashOf(path.join(into, set ?? '', file ?? '')) });
    } catch (cause) {
      wrong.push(`Frame ${number} is verified, but its file cannot be read: ${cause}`);
    }
  });
  return kept;
}

/** @returns what does not hold of the set on disk, a sentence each */
async function afterRun(
  events: EventLog,
  into: string,
  kept: ReadonlyMap<number, Kept>,
  outcome: Outcome,
): Promise<string[]> {
  const wrong: string[] = [];
  const run = events.state.run;
  const folder = run?.folder ?? null;
  if (folder === null) {
    const left = readdirSync(into, { recursive: true }).filter((name) =>
      /\.jpg$|incoming\./.test(String(name)),
    );
    if (kept.size > 0 || outcome === 'goes on' || left.length > 0) wrong.push('There is no set folder.');
    return wrong;
  }
  for (const [number, { file, hash }] of kept) {
    const at = path.join(folder, file);
    if (!existsSync(at) || hashOf(at) !== hash)
      wrong.push(`Frame ${number} was verified, and is lost or replaced.`);
  }
  let record: SetRecord;
  try {
    record = setRecordSchema.parse(JSON.parse(await readFile(path.join(folder, 'set.json'), 'utf8')));
  } catch (cause) {
    const words = cause instanceof Error ? cause.message : String(cause);
    return [...wrong, `There is no record: ${words.slice(0, 120)}`];
  }
  const says = run?.sentence?.includes('could not be put back') ?? false;
  if (record.notPutBack.length > 0 !== says)
    wrong.push(
      `The record has ${record.notPutBack.length} settings that were not put back; the sentence says otherwise.`,
    );
  if (record.sentence !== run?.sentence)
    wrong.push(`The record says: ${record.sentence}. Told was: ${run?.sentence}.`);
  const verified = record.frames.filter((frame) => frame.state === 'verified');
  if (verified.length !== kept.size)
    wrong.push(`${kept.size} frames were verified, the record has ${verified.length}.`);
  for (const { number, offset, file } of verified) {
    const { exposureTime } = await readRecorded(path.join(folder, file ?? ''));
    const tv = recordedTv(exposureTime) ?? Number.NaN;
    if (!(Math.abs(tv - (BASE_TV - offset)) < 1e-9))
      wrong.push(`Frame ${number} is to be ${offset} EV off 1/60 s, and was ${exposureTime} s.`);
  }
  const offsets = verified.map(({ offset }) => offset).join();
  if (outcome === 'goes on') {
    if (offsets !== '-4,-3,-2,-1,0,1,2,3,4') wrong.push(`The offsets are ${offsets}.`);
    if (!record.complete) wrong.push('The record does not call it complete.');
  } else if (record.complete !== (verified.length === FRAMES)) {
    wrong.push(`The record says complete: ${record.complete}.`);
  }
  const files = readdirSync(folder, { recursive: true }).map(String);
  for (const { file } of record.setAside) if (!files.includes(file)) wrong.push(`${file} is not there.`);
  if (files.some((name) => name.startsWith('.incoming/')))
    wrong.push('Something is left among the arrivals.');
  return wrong;
}

/** @returns what does not hold of the set that was resumed, a sentence each */
async function afterGoingOn(events: EventLog, fired: number): Promise<string[]> {
  const { run } = events.state;
  const wrong: string[] = [];
  if (run?.state !== 'complete') wrong.push(`Gone on with, it is ${run?.state}: ${run?.sentence}`);
  if (fired !== FRAMES) wrong.push(`${fired} were fired for ${FRAMES} frames.`);
  const { findings } = await checkSet(run?.folder ?? '');
  return [...wrong, ...findings.map(({ sentence }) => `Gone on with, the check says: ${sentence}`)];
}

const verifiedIn = ({ state: { run } }: EventLog): number =>
  run?.frames.filter(({ state }) => state === 'verified').length ?? 0;

/** Every file that the shutter made is in the set, set aside, or told of as a stray; none is there twice as a frame. */
async function accounted(book: ShutterBook, events: EventLog): Promise<string[]> {
  const folder = events.state.run?.folder ?? null;
  if (folder === null)
    return book.shots.length > 0 ? [`${book.shots.length} files were made, and there is no set.`] : [];
  const record = setRecordSchema.safeParse(
    JSON.parse(await readFile(path.join(folder, 'set.json'), 'utf8').catch(() => 'null')),
  ).data;
  if (record === undefined) return [];
  const wrong: string[] = [];
  const made = new Set(book.shots.map(({ sha256 }) => sha256));
  const frames = record.frames.flatMap(({ file, partner }) => [
    ...(file === null ? [] : [file]),
    ...(partner?.state === 'there' ? [partner.file] : []),
  ]);
  const framesBy = new Map<string, string>();
  for (const file of frames) {
    const hash = hashOf(path.join(folder, file));
    if (framesBy.has(hash)) wrong.push(`${file} and ${framesBy.get(hash)} are one picture.`);
    framesBy.set(hash, file);
    if (!made.has(hash)) wrong.push(`${file}: the shutter never made it.`);
  }
  const asides = record.setAside
    .map(({ file }) => path.join(folder, file))
    .filter((file) => existsSync(file));
  const aside = asides.map(hashOf);
  // Files that were set aside and differ from what the body made were cut short on their way.
  const damaged = aside.filter((hash) => !made.has(hash)).length;
  const left = [...made].filter((hash) => !framesBy.has(hash) && !aside.includes(hash)).length;
  const alone = record.frames.filter(({ partner }) => partner?.state === 'missing').length;
  const told = record.strays.length + damaged + alone;
  if (left > told) wrong.push(`${left} files that were made are nowhere, and ${told} are told of.`);
  return wrong;
}
