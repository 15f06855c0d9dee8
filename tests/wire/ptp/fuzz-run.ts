// A short session over a cable that spoils one container, again and again: settings read, one changed, one frame fired, through
// everything real. What the library makes of it is its own affair; each call must end in time, in a value or in an error of the
// catalogue, with at most one camera process alive and none left.
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readdirSync, readFileSync } from 'node:fs';
import { mkdir, rm, symlink } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { EvenrungError } from '../../../shared/errors.js';
import type { LinkWay, MadeFile } from '../../../src/camera/link.js';
import { SupervisedLink } from '../../../src/camera/process/supervised-link.js';
import { seeded } from '../../bench/cover.bench-helper.js';
import { CAMERA_PROCESS, isAlive } from '../../built.js';
import { RESPONSE } from './codes.js';
import { FuzzCable, type Place } from './fuzz-cable.js';
import { MUTATION_URN, MUTATIONS, pick, placeKey } from './fuzz-mutations.js';
import { type FaceName, type PluggedBody, plugIn } from './plugged-body.js';

const FACES: readonly FaceName[] = ['amount', 'pattern', 'drive-entry', 'standard'];

const CALL_MS = 600;
/** On a busy machine a start takes much longer than any call. */
const START_MS = 5000;
const DEADLINES = { call: CALL_MS, start: START_MS, fire: CALL_MS, release: 300 };
/** What a call may take at most: the end of a process, back-off, start, the question who it is, itself; and a busy machine. */
const MOST_MS = 1000 + 1000 + START_MS + 2 * CALL_MS + 2000;
const MOST_STARTS = 3;
const GONE_MS = 3000;

/** How many of the mutations spoil what only a process that starts is told. */
const OPENINGS = 0.1;

export const OUTCOMES = ['answered', 'refused', 'lost', 'timed out', 'crashed'] as const;
export type Outcome = (typeof OUTCOMES)[number];

export interface Fuzzed {
  readonly seed: number;
  readonly face: FaceName;
  readonly mutation: string;
  /** The operation and the container type. */
  readonly place: string;
  /** The mutation took place. */
  readonly isHit: boolean;
  /** The worst that came of it. */
  readonly outcome: Outcome;
  /** The signal of a crash, or the code of an error. */
  readonly how: string;
  readonly slowestMs: number;
  /** What must not be, in words; empty where all is well. */
  readonly wrong: readonly string[];
}

const DRIVER = 'ptp2.so';

/** Where libgphoto2 has its drivers. */
const driverFolder = () =>
  execFileSync('pkg-config', ['--variable=driverdir', 'libgphoto2'], { encoding: 'utf8' }).trim();

/** The camera processes of a link: children of this process with its HOME. */
function processesOf(home: string): number[] {
  const children = readdirSync(`/proc/${process.pid}/task`).flatMap((thread) => {
    try {
      return readFileSync(`/proc/${process.pid}/task/${thread}/children`, 'utf8').split(' ');
    } catch {
      return [];
    }
  });
  return children
    .filter((pid) => pid.trim() !== '')
    .map(Number)
    .filter((pid) => {
      try {
        return (
          isAlive(pid) && readFileSync(`/proc/${pid}/environ`, 'utf8').split('\0').includes(`HOME=${home}`)
        );
      } catch {
        return false;
      }
    });
}

function outcomeOf(error: EvenrungError): { outcome: Outcome; how: string } {
  const { signal } = error.details;
  if (typeof signal === 'string') return { outcome: 'crashed', how: signal };
  if (error.code === 'call-timed-out') return { outcome: 'timed out', how: error.code };
  const isLost = error.code === 'body-lost' || error.code === 'no-body';
  return { outcome: isLost ? 'lost' : 'refused', how: error.code };
}

/** One body on a cable of its own, and one link to it that goes through all that happens. */
class Lane {
  private readonly face: FaceName;
  private readonly way: LinkWay;
  private readonly plugged: PluggedBody;
  private readonly cable: FuzzCable;
  private readonly folder: string;
  private readonly home: string;
  private readonly link: SupervisedLink;
  /** Containers that every session brings, and those that only the first of a process does. */
  private everyTime: readonly Place[] = [];
  private atStart: readonly Place[] = [];
  private labels: readonly string[] = [];
  private turn = 0;

  private constructor(face: FaceName, way: LinkWay, plugged: PluggedBody, cable: FuzzCable, folder: string) {
    this.face = face;
    this.way = way;
    this.plugged = plugged;
    this.cable = cable;
    this.folder = folder;
    this.home = path.join(folder, 'home');
    this.link = this.open(DEADLINES);
  }

  static async on(face: FaceName, way: LinkWay): Promise<Lane> {
    const plugged = await plugIn(face);
    const folder = mkdtempSync(path.join(tmpdir(), 'evenrung-fuzz-'));
    const cable = new FuzzCable(path.join(folder, 'cable'), plugged.usb.path);
    await cable.plug();
    // What spoilt answers made the library say must not end the body.
    plugged.responder.intercept('any', async (_, proceed) => {
      try {
        return await proceed();
      } catch {
        return { response: RESPONSE.generalError };
      }
    });
    // Starts are most of what this costs, and loading the drivers of all other cameras is most of a start.
    const drivers = path.join(folder, 'drivers');
    await mkdir(drivers);
    await symlink(path.join(driverFolder(), DRIVER), path.join(drivers, DRIVER));
    const lane = new Lane(face, way, plugged, cable, folder);
    await lane.lookAround();
    return lane;
  }

  private open(deadlines?: typeof DEADLINES): SupervisedLink {
    return new SupervisedLink({
      kind: 'usb',
      way: this.way,
      home: this.home,
      log: () => undefined,
      entry: CAMERA_PROCESS,
      env: {
        ...this.plugged.environment,
        VIRTUAL_BODY_SOCKETS: this.cable.path,
        CAMLIBS: path.join(this.folder, 'drivers'),
      },
      ...(deadlines === undefined ? {} : { deadlines }),
    });
  }

  /** Two sessions with nothing spoilt tell which containers there are. */
  private async lookAround(): Promise<void> {
    const link = this.open();
    const sessions: Map<string, Place>[] = [];
    try {
      for (let session = 0; session < 2; session += 1) {
        const seen = new Map<string, Place>();
        this.cable.startCounting();
        this.cable.spoiler = (place) => {
          seen.set(`${placeKey(place)} ${place.nth}`, place);
          return undefined;
        };
        const settings = await link.readSettings();
        const { value = '', choices = [] } = settings.get('shutterspeed') ?? {};
        const at = choices.indexOf(value);
        this.labels = [choices[at - 6] ?? value, value];
        await link.changeSetting('shutterspeed', this.nextLabel());
        for (const [, call] of this.firing(link)) await call();
        sessions.push(seen);
      }
    } finally {
      await link.letGo();
    }
    const [first = new Map(), second = new Map()] = sessions;
    const keys = new Set([...second.values()].map(placeKey));
    this.everyTime = [...second.values()];
    this.atStart = [...first.values()].filter((place) => !keys.has(placeKey(place)));
    this.cable.spoiler = () => undefined;
    await this.meet();
  }

  /** A frame in one call; and, where the link takes them apart, release and file as two things, and what is on the card. */
  private firing(link: SupervisedLink): readonly (readonly [string, () => Promise<unknown>])[] {
    const fire = () => link.fire({ into: this.folder, exposureSeconds: 0 });
    if (this.way === 'binding') return [['fire', fire]];
    let file: MadeFile | undefined;
    const to = path.join(this.folder, 'incoming.pieces');
    return [
      ['fire', fire],
      ['press', () => link.press({ button: null, holdSeconds: null, exposureSeconds: 0 })],
      [
        'listen',
        async () => {
          [file] = (await link.listen(CALL_MS / 2)).made;
        },
      ],
      [
        'bring',
        async () => {
          if (file === undefined) return;
          const { bytes } = await link.bring({ file, to, from: 0, most: 4096 });
          await link.bring({ file, to, from: bytes, most: 1_000_000 });
        },
      ],
      ['list', () => link.list()],
    ];
  }

  /** Finds the body over a clean cable. */
  private async meet(): Promise<void> {
    for (let tries = 1; ; tries += 1) {
      try {
        await this.link.identify();
        return;
      } catch (cause) {
        if (tries === MOST_STARTS || outcomeOf(cause as EvenrungError).outcome !== 'timed out') throw cause;
      }
    }
  }

  private nextLabel(): string {
    this.turn += 1;
    return this.labels[this.turn % 2] ?? '';
  }

  async fuzz(seed: number): Promise<Fuzzed> {
    const random = seeded(seed);
    const mutation = pick(random, MUTATION_URN);
    const isOpening = this.atStart.length > 0 && random() < OPENINGS;
    const places = isOpening ? this.atStart : this.everyTime;
    // First the kind of answer, then which of them: else the many answers of one kind would get everything.
    const kind = pick(random, [...new Set(places.map(placeKey))]);
    const target = pick(
      random,
      places.filter((place) => placeKey(place) === kind),
    );

    const wrong: string[] = [];
    let isHit = false;
    let slowestMs = 0;
    let worst: { outcome: Outcome; how: string } = { outcome: 'answered', how: '' };
    /** @returns whether the process is still the same, so that there is a session to go on with */
    const attempt = async (name: string, call: () => Promise<unknown>): Promise<boolean> => {
      const started = performance.now();
      const ended = await Promise.race([
        call().then(
          () => undefined,
          (cause: unknown) => cause ?? new Error('nothing was thrown'),
        ),
        pause(MOST_MS, 'late', { ref: false }),
      ]);
      slowestMs = Math.max(slowestMs, performance.now() - started);
      if (ended === 'late') wrong.push(`${name} did not end within ${MOST_MS} ms`);
      else if (ended !== undefined) {
        if (!(ended instanceof EvenrungError)) wrong.push(`${name} threw ${String(ended)}`);
        else {
          if (!/^\S.{10,}/.test(ended.message) || ended.code === 'internal') {
            wrong.push(`${name} says ${ended.code}: ${ended.message}`);
          }
          const found = outcomeOf(ended);
          if (OUTCOMES.indexOf(found.outcome) > OUTCOMES.indexOf(worst.outcome)) worst = found;
        }
      }
      const alive = processesOf(this.home);
      if (alive.length > 1) wrong.push(`${alive.length} processes are alive after ${name}`);
      return this.link.pid !== undefined;
    };

    // A clean cable to start with: whatever was before, the body is there again.
    this.cable.spoiler = () => undefined;
    if (isOpening) this.link.kill();
    else if (this.link.pid === undefined) {
      await this.meet().catch((cause: unknown) => {
        wrong.push(`after the mutation before, a clean body was not found: ${String(cause)}`);
      });
    }
    this.cable.startCounting();
    this.cable.spoiler = (place, container) => {
      if (isHit || placeKey(place) !== kind || place.nth !== target.nth) return undefined;
      isHit = true;
      return MUTATIONS[mutation]?.(container, random);
    };
    const { link, folder } = this;
    let isOver = false;
    for (const [name, call] of [
      ['readSettings', () => link.readSettings()],
      ['changeSetting', () => link.changeSetting('shutterspeed', this.nextLabel())],
      ...this.firing(link),
    ] as const) {
      isOver = !(await attempt(name, call));
      if (isOver) break;
    }
    this.cable.spoiler = () => undefined;
    // What is left on the line after a session that went through would be found by the next: that belongs to this seed.
    if (!isOver) await attempt('readSettings again', () => link.readSettings());
    for (const file of readdirSync(folder)) {
      if (file.startsWith('incoming.')) await rm(path.join(folder, file), { force: true });
    }
    return { seed, face: this.face, mutation, place: kind, isHit, ...worst, slowestMs, wrong };
  }

  /** @returns how many processes are left */
  async close(): Promise<number> {
    await this.link.letGo();
    const until = performance.now() + GONE_MS;
    while (processesOf(this.home).length > 0 && performance.now() < until) await pause(20);
    const left = processesOf(this.home).length;
    await this.cable.unplug();
    await this.plugged.remove();
    await rm(this.folder, { recursive: true, force: true });
    return left;
  }
}

export interface FuzzReport {
  readonly fuzzed: readonly Fuzzed[];
  readonly left: number;
}

export interface FuzzOptions {
  readonly way: LinkWay;
  /** Seeds from here on. */
  readonly from: number;
  readonly count: number;
  /** Takes each as it is done. */
  readonly tell?: (fuzzed: Fuzzed) => void;
  /** Asked before each. */
  readonly mayGoOn?: () => boolean;
}

/** One lane for each kind of body, at once. */
export async function fuzz({
  way,
  from,
  count,
  tell = () => undefined,
  mayGoOn = () => true,
}: FuzzOptions): Promise<FuzzReport> {
  const fuzzed: Fuzzed[] = [];
  let next = from;
  const left = await Promise.all(
    FACES.map(async (face) => {
      const lane = await Lane.on(face, way);
      while (next < from + count && mayGoOn()) {
        const seed = next;
        next += 1;
        const one = await lane.fuzz(seed);
        fuzzed.push(one);
        tell(one);
      }
      return lane.close();
    }),
  );
  return { fuzzed, left: left.reduce((sum, one) => sum + one, 0) };
}

/** @returns a line of counts, such as `300 mutations: 200 answered, ...` */
export function counted(fuzzed: readonly Fuzzed[]): string {
  const counts = OUTCOMES.map((outcome) => {
    const those = fuzzed.filter((one) => one.outcome === outcome);
    return `${those.length} ${outcome === 'crashed' ? `process crashed by signal${signals(those)}` : outcome}`;
  });
  const hit = fuzzed.filter(({ isHit }) => isHit).length;
  const slowest = Math.round(Math.max(0, ...fuzzed.map(({ slowestMs }) => slowestMs)));
  return `${fuzzed.length} mutations (${hit} took place): ${counts.join(', ')}; slowest call ${slowest} ms`;
}

function signals(crashed: readonly Fuzzed[]): string {
  if (crashed.length === 0) return '';
  const names = [...new Set(crashed.map(({ how }) => how))].sort();
  return ` (${names.map((name) => `${name} ${crashed.filter(({ how }) => how === name).length}`).join(', ')})`;
}
