// One run on a schedule, made by the program as a user has it (`serve --resume always` as a process, asked
// over HTTP), while it meets with faults: the program and its camera process are killed, the cable is pulled,
// frames go wrong. compare-run.ts compares what is left with what was asked and with what the shutter did.
import { mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { sixths } from '../../shared/ev.js';
import type { DirectProfile } from '../../shared/profile.js';
import type { WrittenRunRequest } from '../../shared/run-request.js';
import type { Overrun } from '../../shared/schedule.js';
import type { DaemonState } from '../../shared/state.js';
import { ProfileStore } from '../../src/bodies/profiles.js';
import { loadGphoto2 } from '../../src/camera/direct/load.js';
import { JournalReader } from '../../src/journal/index.js';
import { isAlive, type Started, start } from '../built.js';
import { cameraProcesses } from '../camera-processes.js';
import { type BodyName, pause, type Struck, type Way } from '../faults/cell.js';
import { BUSY_MS, FAULTS } from '../faults/faults.js';
import { type FaceName, type PluggedBody, plugIn } from '../wire/ptp/plugged-body.js';
import { compareRun, type Finding } from './compare-run.js';
import type { DrawnFault, Kind } from './run-faults.js';
import { ShutterBook } from './shutter-book.js';

export interface RunAsked {
  readonly body: BodyName;
  /** Over the binding, as a body is reached that nobody has learnt, if it is left out. */
  readonly way?: Way;
  readonly slots: number;
  readonly overrun: Overrun;
  readonly faults: readonly DrawnFault[];
}

export interface RunSeen {
  readonly sets: number;
  readonly complete: number;
  /** Slots that passed without a set, as the program counts them. */
  readonly missed: number;
  /** Faults that really took place. */
  readonly struck: ReadonlyMap<Kind, number>;
  readonly findings: readonly Finding[];
  readonly sentence: string;
  readonly seconds: number;
  /**
   * The folder with everything, including the program's output and a diary of the faults, if something was
   * found.
   */
  readonly kept: string | null;
}

/** The shortest that there is. */
export const EVERY_SECONDS = 5;
export const FRAMES = 9;
const BASE = '1/60';
/** Of the program: `--patience`, in seconds. */
const PATIENCE = 8;
/** Time that a run may take beyond its slots: a set that waits for its body, a program that starts. */
const MOST_BEYOND_MS = 90_000;
const LOOK_EVERY_MS = 200;
/** A program that was told to resume what was cut off does so when its body is there. */
const GOES_ON_WITHIN_MS = 10_000;
/**
 * A camera process ends itself when its program is gone: the time it takes to let go of the body, with some
 * reserve.
 */
const ENDS_ITSELF_WITHIN_MS = 4000;
/** The system's answer to a process that opens a camera which another process holds. */
const CLAIMED = -53;
/** As `learn` finds it of a body that takes no time. */
const LEARNT_TIMING = { secondsPerChange: 0.1, secondsPerSetting: 0, secondsPerFrame: 0.2 };

/** The same, with the library that is called directly here. */
async function learntDirectly(): Promise<DirectProfile> {
  const { version } = await loadGphoto2();
  return {
    ...{ library: `libgphoto2 ${version}`, pipelined: true, oneRelease: true },
    ...{ pieceBytes: 2 * 1024 * 1024, mostInOneGo: FRAMES },
    timing: { secondsBeforeExposure: 0.05, secondsAfterExposure: 0.05, secondsPerTransfer: 0.1 },
  };
}

/** The program, through all its lives. */
class Program {
  /** The output of all of them. */
  readonly said: string[] = [];
  address = '';
  private current: Started | undefined;
  private readonly args: readonly string[];
  private readonly env: Readonly<Record<string, string>>;

  constructor(args: readonly string[], env: Readonly<Record<string, string>>) {
    this.args = args;
    this.env = env;
  }

  get pid(): number | undefined {
    return this.current?.pid;
  }

  async start(): Promise<void> {
    const started = start(this.args, this.env);
    this.current = started;
    [, this.address = ''] = await started.until(/Panel: (http:[^\s"]+)/);
  }

  async kill(): Promise<void> {
    await this.end('SIGKILL');
  }

  /** @returns the exit code */
  async stop(): Promise<number | null> {
    return this.end('SIGINT');
  }

  private async end(signal: NodeJS.Signals): Promise<number | null> {
    const { current } = this;
    if (current === undefined) return null;
    this.address = '';
    current.signal(signal);
    const { code, stdout, stderr } = await current.ended;
    this.said.push(`${stdout}${stderr}${signal} (${code})\n`);
    this.current = undefined;
    return code;
  }

  /** @returns undefined if nobody answers */
  async state(): Promise<DaemonState | undefined> {
    try {
      const answer = await fetch(`${this.address}/api/state`);
      return ((await answer.json()) as { state: DaemonState }).state;
    } catch {
      return undefined;
    }
  }

  /** @throws Error with the answer */
  async post(path: string, body?: object): Promise<unknown> {
    const answer = await fetch(`${this.address}${path}`, {
      method: 'POST',
      ...(body === undefined
        ? {}
        : { headers: { 'content-type': 'application/json' }, body: JSON.stringify(body) }),
    });
    const text = await answer.text();
    if (!answer.ok) throw new Error(`${path}: ${text}`);
    return JSON.parse(text);
  }
}

async function until<T>(
  what: string,
  withinMs: number,
  look: () => Promise<T | undefined> | T | undefined,
): Promise<T> {
  const since = performance.now();
  for (;;) {
    const found = await look();
    if (found !== undefined) return found;
    if (performance.now() - since > withinMs) throw new Error(`${what}: not within ${withinMs / 1000} s.`);
    await pause(LOOK_EVERY_MS);
  }
}

export async function driveRun(asked: RunAsked): Promise<RunSeen> {
  const began = performance.now();
  const root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-run-'));
  const driven = await Driven.begin(root, asked);
  let kept: string | null = root;
  try {
    const seen = await driven.toItsEnd();
    if (seen.findings.length === 0) kept = null;
    return { ...seen, kept, seconds: (performance.now() - began) / 1000 };
  } catch (cause) {
    throw new Error(`${cause instanceof Error ? cause.message : cause} See ${root}.`, { cause });
  } finally {
    await driven.end();
    if (kept === null) await rm(root, { recursive: true, force: true });
  }
}

class Driven {
  private readonly root: string;
  private readonly asked: RunAsked;
  private readonly plugged: PluggedBody | undefined;
  private readonly book: ShutterBook | undefined;
  private readonly program: Program;
  private readonly struck = new Map<Kind, number>();
  private readonly findings: Finding[] = [];
  /** What happened to the program from outside, for people who want to know how a finding came about. */
  private readonly diary: string[] = [];
  private readonly timers = new Set<NodeJS.Timeout>();
  /** The action on the body or the program that is under way: one after another. */
  private acting: Promise<unknown> = Promise.resolve();
  private isOver = false;
  /** By performance.now(). */
  private busyUntil = 0;

  private constructor(root: string, asked: RunAsked, plugged: PluggedBody | undefined) {
    this.root = root;
    this.asked = asked;
    this.plugged = plugged;
    this.book = plugged === undefined ? undefined : new ShutterBook(plugged.body);
    this.program = new Program(
      [
        ...['serve', '--resume', 'always', '--body', plugged === undefined ? 'practice' : 'usb'],
        ...['--into', this.into, '--port', '0', '--patience', String(PATIENCE)],
      ],
      {
        ...plugged?.environment,
        XDG_STATE_HOME: path.join(root, 'state'),
        XDG_CONFIG_HOME: path.join(root, 'config'),
        EVENRUNG_LOG: 'debug',
        ...(asked.way === 'direct' ? { EVENRUNG_PRACTICE_LINK: 'apart' } : {}),
      },
    );
  }

  static async begin(root: string, asked: RunAsked): Promise<Driven> {
    const { body } = asked;
    const plugged =
      body === 'practice'
        ? undefined
        : await plugIn(body as FaceName, body === 'standard' ? {} : { patterns: [[0, -1, 1]] });
    if (plugged !== undefined) {
      // As a person might have left it: none of it is as a set needs it.
      await plugged.body.change('target', 'card');
      await plugged.body.change('shutter', sixths(30));
      await plugged.body.change('drive', 'continuous');
      await new ProfileStore(path.join(root, 'config', 'evenrung', 'bodies')).write({
        version: 1,
        ...{ model: plugged.body.model, serial: plugged.body.options.serial },
        timing: LEARNT_TIMING,
        ...(asked.way === undefined || asked.way === 'binding' ? {} : { direct: await learntDirectly() }),
      });
    }
    await mkdir(path.join(root, 'sets'));
    return new Driven(root, asked, plugged);
  }

  private get into(): string {
    return path.join(this.root, 'sets');
  }

  private get stateFolder(): string {
    return path.join(this.root, 'state', 'evenrung');
  }

  private cameraProcesses(): number[] {
    const { pid } = this.program;
    return pid === undefined ? [] : cameraProcesses(path.join(this.stateFolder, 'camera-home'), pid);
  }

  async toItsEnd(): Promise<Omit<RunSeen, 'seconds' | 'kept'>> {
    const { asked, program, plugged, findings } = this;
    const before = plugged === undefined ? null : { ...plugged.body.state };
    await program.start();
    await until('The body is met', 30_000, () => this.isMet());
    const request: WrittenRunRequest = {
      ...{ frames: FRAMES, step: 1, base: BASE, name: 'Boathouse' },
      release: asked.way === 'pass' ? 'pass' : 'frame',
      schedule: { every: EVERY_SECONDS, count: asked.slots, overrun: asked.overrun },
    };
    const { run } = (await program.post('/api/run', request)) as { run: string };
    const begunAt = Date.now();
    this.plan(begunAt);
    const journal = await JournalReader.open(this.stateFolder);
    if (journal === null) throw new Error('There is no journal.');
    try {
      await this.goThrough(run, journal, asked.slots * EVERY_SECONDS * 1000 + MOST_BEYOND_MS);
      this.isOver = true;
      for (const timer of this.timers) clearTimeout(timer);
      await this.acting;
      // Whatever it still owes to a body that was away is put back when it is met again.
      await until('The body is met again', 30_000, () => this.isMet());
      const code = await program.stop();
      // An order that a busy body was given last may be carried out when it is no longer busy.
      await pause(Math.max(0, this.busyUntil - performance.now()));
      if (code !== 130) findings.push({ kind: 'wrong', sentence: `The program ended with ${code}.` });
      const compared = await compareRun({
        ...{ run, journal, into: this.into, slots: asked.slots, book: this.book ?? null },
        settings: plugged === undefined || before === null ? null : { before, after: plugged.body.state },
      });
      return {
        ...compared,
        struck: this.struck,
        findings: [...findings, ...compared.findings],
        sentence: journal.run(run)?.sentence ?? '',
      };
    } finally {
      journal.close();
    }
  }

  private async isMet(): Promise<true | undefined> {
    return (await this.program.state())?.body.state === 'ready' ? true : undefined;
  }

  /** Until the journal says that the run has ended. */
  private async goThrough(run: string, journal: JournalReader, withinMs: number): Promise<void> {
    let waitsSince: number | null = null;
    await until(`The end of the run, ${journal.run(run)?.sets} sets`, withinMs, async () => {
      if (journal.run(run)?.state !== 'under-way') return true;
      const state = await this.program.state();
      const waits = state !== undefined && state.unfinished !== null && state.body.state === 'ready';
      waitsSince = waits ? (waitsSince ?? performance.now()) : null;
      if (waitsSince === null || performance.now() - waitsSince < GOES_ON_WITHIN_MS) return undefined;
      this.findings.push({
        kind: 'wrong',
        sentence: `It does not go on by itself, although the body is there: ${state?.unfinished?.sentence}`,
      });
      waitsSince = null;
      await this.program.post('/api/run/resume');
      return undefined;
    });
  }

  // --- faults

  private plan(begunAt: number): void {
    for (const fault of this.asked.faults) {
      const { slot, moment } = fault;
      const slotAt = begunAt + slot * EVERY_SECONDS * 1000;
      if (moment.by === 'time') this.at(slotAt + moment.milliseconds, () => this.strike(fault));
      else
        this.at(slotAt, () =>
          this.book?.afterReleases(moment.releases, async () => {
            if (moment.milliseconds === 0) await this.strike(fault, moment.releases > 0);
            else this.at(Date.now() + moment.milliseconds, () => this.strike(fault));
          }),
        );
    }
  }

  private at(at: number, act: () => unknown): void {
    const timer = setTimeout(() => {
      this.timers.delete(timer);
      if (!this.isOver) void act();
    }, at - Date.now());
    this.timers.add(timer);
  }

  private hit(kind: Kind): void {
    this.struck.set(kind, (this.struck.get(kind) ?? 0) + 1);
    this.note(kind);
  }

  private note(what: string): void {
    this.diary.push(`${Date.now()} ${what}`);
  }

  /** @param inRelease whether a release waits for it: then it comes back when the fault has begun */
  private async strike(fault: DrawnFault, inRelease = false): Promise<void> {
    if (this.isOver) return;
    this.note(`(${fault.kind} from now on)`);
    switch (fault.kind) {
      case 'program killed':
        return this.one(inRelease, (begun) => this.killProgram(fault, begun));
      case 'camera process killed':
        for (const pid of this.cameraProcesses()) {
          process.kill(pid, 'SIGKILL');
          this.hit(fault.kind);
        }
        return;
      case 'cable out':
        return this.one(inRelease, (begun) => this.pull(fault, begun));
      case 'busy':
        // Between two sets nobody may meet with it.
        FAULTS.busy.strike(this.struckAs(fault.kind, true));
        this.busyUntil = performance.now() + BUSY_MS;
        return;
      case 'frame missing':
        return FAULTS.missing.strike(this.struckAs(fault.kind));
      case 'frame late':
        return FAULTS.late.strike(this.struckAs(fault.kind));
      case 'frame twice':
        return FAULTS.twice.strike(this.struckAs(fault.kind));
      case 'file cut short':
        return FAULTS.fileShort.strike(this.struckAs(fault.kind));
      case 'frame clamped':
        return FAULTS.clamped.strike(this.struckAs(fault.kind));
    }
  }

  /** One thing at a time happens to the cable and the program. @returns when it has begun, or when it is over */
  private async one(untilBegun: boolean, act: (begun: () => void) => Promise<void>): Promise<void> {
    let begun = () => {};
    const hasBegun = new Promise<void>((resolve) => {
      begun = resolve;
    });
    const acting = this.acting.then(() => act(begun)).finally(begun);
    this.acting = acting.catch((cause: unknown) => {
      this.findings.push({ kind: 'wrong', sentence: `A fault could not be made: ${cause}` });
    });
    // A release that waited for the cable to come back would hang.
    await (untilBegun ? Promise.race([hasBegun, pause(LOOK_EVERY_MS)]) : this.acting);
  }

  private async killProgram({ kind, lasts }: DrawnFault, begun: () => void): Promise<void> {
    if (this.isOver) return;
    const orphans = this.cameraProcesses();
    const usb = this.plugged?.usb;
    // A camera process that is letting go of the body still holds it.
    usb?.refuse(CLAIMED);
    const killed = this.program.kill();
    this.hit(kind);
    begun();
    await killed;
    const since = performance.now();
    const gone = until('The camera process is gone', ENDS_ITSELF_WITHIN_MS, () =>
      orphans.some(isAlive) ? undefined : true,
    )
      .catch((cause: unknown) => {
        this.findings.push({ kind: 'wrong', sentence: String(cause) });
        for (const pid of orphans.filter(isAlive)) process.kill(pid, 'SIGKILL');
      })
      .finally(() => usb?.refuse(null));
    await pause(Math.max(0, lasts - (performance.now() - since)));
    await this.program.start();
    await gone;
  }

  private async pull({ kind, lasts }: DrawnFault, begun: () => void): Promise<void> {
    if (this.isOver || this.plugged === undefined) return;
    const { usb } = this.plugged;
    await usb.unplug();
    this.hit(kind);
    begun();
    await pause(lasts);
    await usb.plug();
    this.note('cable in');
  }

  /** @param once whether it counts as one, however often it is met with */
  private struckAs(kind: Kind, once = false): Struck {
    let hits = 0;
    return {
      name: this.asked.body,
      way: this.asked.way ?? 'binding',
      isWithin: false,
      point: 'middle frame of a pass',
      plugged: this.plugged,
      into: this.into,
      stateFolder: this.stateFolder,
      journal: undefined,
      processes: () => this.cameraProcesses(),
      isBack: () => {},
      hit: () => {
        hits += 1;
        if (!once || hits === 1) this.hit(kind);
      },
      wire: () => {
        if (this.plugged === undefined) throw new Error('The practice camera has no cable.');
        return this.plugged;
      },
    };
  }

  /** Lets go of everything. */
  async end(): Promise<void> {
    this.isOver = true;
    for (const timer of this.timers) clearTimeout(timer);
    await this.acting;
    await this.program.kill();
    await this.plugged?.remove();
    const shots = this.book?.shots.map(({ tv, at, sha256 }) => `${at} shot at Tv ${tv}/6, ${sha256}`) ?? [];
    const diary = [...this.diary, ...shots].sort();
    await writeFile(path.join(this.root, 'diary.log'), diary.join('\n'));
    await writeFile(path.join(this.root, 'program.log'), this.program.said.join('\n'));
  }
}
