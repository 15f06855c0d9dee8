// Takes soundings, one at a time: tells how each goes, keeps the small pictures of its test frames, and has
// the set that it proposes planned. The last sounding stays until the next one begins, or until something is
// fired.
import { randomUUID } from 'node:crypto';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { fromEv } from '../../shared/ev.js';
import { parseSetRequest } from '../../shared/request.js';
import {
  type Proposal,
  parseSoundRequest,
  type SoundingView,
  type SoundRequest,
} from '../../shared/sounding.js';
import type { BodyInHand, BodyReport } from '../bodies/index.js';
import { formatEv, minusSixths, toEv } from '../exposure/index.js';
import { openJudge, type ProcessOptions } from '../light/index.js';
import { MAY_BE_SUN, MOST_TEST_FRAMES, SUN_SEEN, whyInWords } from '../plan/index.js';
import { type Sounded, type SoundingStep, sound, sweepUp } from '../sounding/index.js';
import type { EventLog } from './event-log.js';
import type { Idle } from './idle.js';
import type { OneAtATime } from './one-at-a-time.js';
import type { Planner } from './planner.js';
import { commandFor, purposeInWords } from './sounding-words.js';

export interface SounderOptions {
  readonly stateFolder: string;
  /** Where to find the process that looks at pictures, if it is not beside the program. */
  readonly light?: ProcessOptions | undefined;
}

/** What it needs of the station. */
interface Needs {
  readonly one: OneAtATime;
  readonly bodies: BodyInHand;
  readonly report: BodyReport;
  readonly planner: Planner;
  readonly events: EventLog;
  readonly idle: Pick<Idle, 'during'>;
}

export interface BegunSounding {
  readonly id: string;
  /** The sounding at its end; never rejects. */
  readonly ended: Promise<SoundingView>;
  /** The error that it failed with; null before its end, and if there was none. */
  readonly problem: () => EvenrungError | null;
}

interface Current {
  view: SoundingView;
  isStopping: boolean;
  problem: EvenrungError | null;
  readonly thumbnails: Map<number, Buffer>;
}

export class Sounder {
  private readonly options: SounderOptions;
  private readonly parts: Needs;
  private current: Current | null = null;

  constructor(options: SounderOptions, parts: Needs) {
    this.options = options;
    this.parts = parts;
  }

  /**
   * Begins a sounding, and returns at once.
   * @param written a SoundRequest as in shared/sounding.ts
   * @throws EvenrungError as parseSoundRequest; run-under-way, no-body, ending
   */
  begin(written: unknown, startedBy: string): BegunSounding {
    const request = parseSoundRequest(written);
    const { one, bodies, idle } = this.parts;
    one.mustBeFree();
    bodies.mustNotBeLooking();
    bodies.must();
    const current: Current = {
      view: newView(request, startedBy),
      isStopping: false,
      problem: null,
      thumbnails: new Map(),
    };
    this.current = current;
    this.tell(current, {});
    const ended = one
      .errand(() => idle.during(() => bodies.withBody(() => this.carryOut(current, request))))
      .catch((cause: unknown) => this.failed(current, asEvenrungError(cause)))
      .then(() => current.view);
    return { id: current.view.id, ended, problem: () => current.problem };
  }

  /**
   * The current test frame ends, then nothing more is fired.
   * @throws EvenrungError nothing-to-stop
   */
  stop(): void {
    if (this.current === null || this.current.view.state !== 'firing')
      throw new EvenrungError('nothing-to-stop', 'No sounding is being taken.');
    this.current.isStopping = true;
  }

  /** @returns a small picture of a test frame; null if there is none */
  thumbnail(id: string, frame: number): Buffer | null {
    if (this.current?.view.id !== id) return null;
    return this.current.thumbnails.get(frame) ?? null;
  }

  /** Another set is made in another light, so the sounding is dropped. */
  forget(): void {
    if (this.current === null || this.current.view.state === 'firing') return;
    this.current = null;
    this.parts.events.tell({ type: 'sounding', sounding: null });
  }

  /** Sweeps up the files that a killed program left behind. Never throws. */
  sweepUp(): Promise<void> {
    return sweepUp(this.options.stateFolder);
  }

  private async carryOut(current: Current, request: SoundRequest): Promise<void> {
    const { one, bodies, report, planner } = this.parts;
    const body = bodies.must();
    const sounded = await sound({
      ...{ body, request, limits: planner.limitsOf(body), stateFolder: this.options.stateFolder },
      readiness: { ...(await report.readinessAsked()), mode: request.mode, frames: MOST_TEST_FRAMES },
      judge: openJudge(this.options.light),
      stopping: () => one.isEnding || current.isStopping,
      tell: (step) => this.step(current, step),
    });
    this.tell(current, this.endOf(sounded));
  }

  private endOf(sounded: Sounded): Partial<SoundingView> {
    const ended = { now: null, endedAt: new Date().toISOString() };
    if (sounded.is === 'sun') return { ...ended, state: 'sun', sentence: SUN_SEEN, error: 'sun-in-frame' };
    return { ...ended, state: 'proposed', proposal: this.proposal(sounded) };
  }

  private proposal({ at, proposed, mayBeSun, lost, shots }: Extract<Sounded, { is: 'proposed' }>): Proposal {
    const { offsets } = proposed;
    const [first, last] = [offsets[0] ?? fromEv(0), offsets.at(-1) ?? fromEv(0)];
    // Offsets of the sounding are counted from its first test frame, those of the set from its base.
    const base = at.mode === 'manual' ? proposed.base : null;
    const zero = base === null ? fromEv(0) : minusSixths(at.start.tv, base.tv);
    const set = {
      from: formatEv(minusSixths(first, zero)),
      to: formatEv(minusSixths(last, zero)),
      step: formatEv(at.step, false),
      ...(base === null ? {} : { base: base.label }),
      mode: at.mode,
    } as const;
    const { passes, estimate } = this.parts.planner.plan(parseSetRequest(set));
    const labels = passes.flatMap(({ frames }) => frames).filter(({ wanted }) => wanted);
    const labelAt = (offset: number) =>
      at.mode === 'aperture'
        ? null
        : (labels.find((frame) => frame.offset === offset - zero)?.shutter.label ?? null);
    const nearest = (offset: number) =>
      shots.reduce((best, shot) =>
        Math.abs(shot.exposure.offset - offset) < Math.abs(best.exposure.offset - offset) ? shot : best,
      ).number;
    const end = (which: 'darkest' | 'brightest', offset: number) => ({
      shutter: labelAt(offset),
      testFrame: nearest(offset),
      isHeld: (which === 'darkest' ? proposed.highlights : proposed.shadows).isReached,
      sentence: whyInWords(which, proposed, labelAt(offset), lost, at),
    });
    return {
      ...{ set, frames: offsets.length, passes: passes.length, seconds: estimate.seconds },
      span: toEv(minusSixths(last, first)),
      darkest: end('darkest', first),
      brightest: end('brightest', last),
      caution: mayBeSun ? MAY_BE_SUN : null,
      command: commandFor(set),
    };
  }

  private step(current: Current, step: SoundingStep): void {
    const { frames } = current.view;
    if (step.is === 'firing') {
      const { exposure, to } = step;
      const shutter = current.view.mode === 'manual' ? exposure.shutter.label : null;
      const frame = { number: frames.length + 1, offset: toEv(exposure.offset), shutter, lost: null };
      this.tell(current, { now: purposeInWords(to), frames: [...frames, frame] });
      return;
    }
    const { number, lost, thumbnail, label } = step.shot;
    if (thumbnail !== null) current.thumbnails.set(number, thumbnail);
    const seen = { bright: lost.bright.share, dark: lost.dark.share };
    this.tell(current, {
      frames: frames.map((frame) =>
        frame.number === number ? { ...frame, shutter: label, lost: seen } : frame,
      ),
    });
  }

  private failed(current: Current, error: EvenrungError): void {
    const isStopped = error.code === 'ending';
    current.problem = error;
    this.tell(current, {
      state: isStopped ? 'stopped' : 'failed',
      ...{ now: null, endedAt: new Date().toISOString(), proposal: null },
      ...{ sentence: error.message, error: isStopped ? null : error.code },
    });
  }

  private tell(current: Current, change: Partial<SoundingView>): void {
    current.view = { ...current.view, ...change };
    if (this.current === current) this.parts.events.tell({ type: 'sounding', sounding: current.view });
  }
}

const newView = ({ mode, step }: SoundRequest, startedBy: string): SoundingView => ({
  ...{ id: randomUUID(), state: 'firing', startedBy, startedAt: new Date().toISOString(), endedAt: null },
  ...{ mode, step: toEv(step), most: MOST_TEST_FRAMES, frames: [], now: purposeInWords('ready') },
  ...{ proposal: null, sentence: null, error: null },
});
