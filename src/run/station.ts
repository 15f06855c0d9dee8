// The one place that owns a body: finds it, plans for it, and lets one run at a time have it. Used by the server and by
// `fire` alike.
import { randomUUID } from 'node:crypto';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { parseSetRequest, type SetRequest } from '../../shared/request.js';
import {
  Body,
  type BodyIdentity,
  type Debts,
  type LinkKind,
  LOST,
  SupervisedLink,
  type SupervisedLinkOptions,
} from '../camera/index.js';
import type { BodyLimits } from '../exposure/index.js';
import { SetFolder, warmUp } from '../frames/index.js';
import { type Plan, planSet, resolveBase } from '../plan/index.js';
import type { EventLog } from './event-log.js';
import { Run } from './run.js';

export const BODY_CHOICES = ['practice', 'usb', 'auto'] as const;
/** Which body is wanted; `auto` is a camera where there is one, else the practice body. */
export type BodyChoice = (typeof BODY_CHOICES)[number];

const NO_CAMERA: ReadonlySet<string> = new Set(['no-body', 'usb-not-available']);

export interface StationOptions {
  readonly choice: BodyChoice;
  /** The folder that takes set folders. */
  readonly into: string;
  /** HOME of the camera process. */
  readonly cameraHome: string;
  readonly events: EventLog;
  /** Takes each line that the camera process prints. */
  readonly log: (line: string) => void;
  readonly link?: Partial<SupervisedLinkOptions>;
  /** Narrows what the body offers to what was asked for. */
  readonly narrow?: (limits: BodyLimits) => BodyLimits;
}

export class Station {
  private readonly options: StationOptions;
  private body: Body | undefined;
  private looking: Promise<void> | undefined;
  private run: Run | undefined;
  private running: Promise<void> | undefined;
  private trouble: EvenrungError | null = null;
  /** Set as soon as a run is asked for, before its folder is made, so that nothing else can come in between. */
  private starting: Promise<Run> | undefined;
  private closed = false;
  /** What could not be put back on a body that is gone, for when it comes back. */
  private readonly owed = new Map<string, Debts>();

  constructor(options: StationOptions) {
    this.options = options;
  }

  /**
   * Lets go of the body, if there is one, and looks for one anew. What was found is told as an event; never throws.
   * @throws EvenrungError run-under-way
   */
  look(): Promise<void> {
    if (this.running !== undefined || this.starting !== undefined) throw underWay();
    if (this.closed) throw ending();
    this.looking ??= this.lookOnce().finally(() => {
      this.looking = undefined;
    });
    return this.looking;
  }

  /**
   * @param written a SetRequest as in shared/request.ts
   * @throws EvenrungError as parseSetRequest, resolveBase and planSet; no-body
   */
  plan(written: unknown): Plan {
    return this.planFor(parseSetRequest(written));
  }

  /**
   * Begins a run and comes back at once.
   * @throws EvenrungError as plan; run-under-way, folder-not-writable, mode-not-supported
   */
  async start(written: unknown): Promise<Run> {
    if (this.running !== undefined || this.starting !== undefined) throw underWay();
    if (this.closed) throw ending();
    const request = parseSetRequest(written);
    if (request.mode !== 'manual') {
      throw new EvenrungError(
        'mode-not-supported',
        'Sets are fired in manual mode: set the mode to manual, and the dial to M.',
      );
    }
    if (this.looking !== undefined) throw noBody('Evenrung is still looking for a camera: wait a moment.');
    const plan = this.planFor(request);
    this.starting = this.begin(plan, this.requireBody());
    try {
      return await this.starting;
    } finally {
      this.starting = undefined;
    }
  }

  private async begin(plan: Plan, body: Body): Promise<Run> {
    const { events, into } = this.options;
    const folder = await SetFolder.create(into, new Date());
    if (this.closed) {
      await folder.removeIfEmpty();
      throw ending();
    }
    const run = new Run({
      id: randomUUID(),
      plan,
      body,
      folder,
      tell: (happening) => events.tell(happening),
    });
    this.run = run;
    this.running = run.carryOut().then(() => {
      this.running = undefined;
      this.remember(body);
      if (LOST.has(run.error?.code ?? '')) this.lose(run.error?.message ?? '');
    });
    return run;
  }

  private remember(body: Body): void {
    this.owed.set(keyOf(body.identity), new Map(body.debts));
  }

  /** @throws EvenrungError nothing-to-stop */
  stop(): void {
    if (this.running === undefined) throw new EvenrungError('nothing-to-stop', 'Nothing is being fired.');
    this.run?.stop();
  }

  /** @returns the run under way, or the last one, where it has this id */
  runWithId(id: string): Run | undefined {
    return this.run?.id === id ? this.run : undefined;
  }

  /** @throws EvenrungError folder-not-writable */
  checkFolder(): Promise<void> {
    return SetFolder.check(this.options.into);
  }

  /** Whether a run is under way. */
  get isRunning(): boolean {
    return this.running !== undefined;
  }

  /** Why there is no body, where looking for one failed. */
  get problem(): EvenrungError | null {
    return this.trouble;
  }

  /** Waits for the end of the run under way. */
  async settled(): Promise<void> {
    await this.running;
  }

  /** Stops what is under way, puts settings back, lets go of the body. Nothing can be begun after. Never throws. */
  async close(): Promise<void> {
    this.closed = true;
    await this.starting?.catch(() => undefined);
    this.run?.stop();
    await this.looking;
    await this.running;
    await this.body?.release();
    this.body = undefined;
  }

  private planFor(request: SetRequest): Plan {
    const body = this.requireBody();
    const limits = this.options.narrow?.(body.limits) ?? body.limits;
    const { offsets, step, mode } = request;
    const { fNumber, iso } = body.standing();
    return planSet({ offsets, step, mode, base: resolveBase(request.base, limits) }, limits, {
      ...request.conditions,
      baseWritten: request.base,
      fNumber: fNumber ?? undefined,
      iso: iso ?? undefined,
    });
  }

  private requireBody(): Body {
    if (this.body !== undefined) return this.body;
    throw noBody('No body is connected yet: plug the camera in, switch it on, and look for it again.');
  }

  private async lookOnce(): Promise<void> {
    const { events, choice } = this.options;
    events.tell({ type: 'body', body: { state: 'looking' } });
    await this.body?.release();
    this.body = undefined;
    try {
      // Only saves time later; what fails here fails again, and is told, where it is needed.
      const warm = warmUp().catch(() => undefined);
      const { body, note } = await this.find(choice);
      await warm;
      const paid = await this.payBack(body);
      this.body = body;
      this.trouble = null;
      events.tell({ type: 'body', body: { state: 'ready', body: body.view(), note: joined(note, paid) } });
    } catch (cause) {
      this.trouble = asEvenrungError(cause);
      events.tell({ type: 'body', body: { state: 'absent', sentence: this.trouble.message } });
    }
  }

  /** Only where no camera is found does the practice body step in: one that is there but claimed or asleep is no reason. */
  private async find(choice: BodyChoice): Promise<{ body: Body; note: string | null }> {
    if (choice === 'practice') return { body: await this.meet('practice'), note: null };
    try {
      return { body: await this.meet('usb'), note: null };
    } catch (cause) {
      const error = asEvenrungError(cause);
      if (choice === 'usb' || !NO_CAMERA.has(error.code)) throw error;
      return { body: await this.meet('practice'), note: error.message };
    }
  }

  private async meet(kind: LinkKind): Promise<Body> {
    const { cameraHome, log, link } = this.options;
    const opened = new SupervisedLink({ home: cameraHome, log, ...link, kind });
    try {
      return await Body.meet(opened, (identity) => this.owed.get(keyOf(identity)) ?? new Map());
    } catch (cause) {
      await opened.release();
      throw cause;
    }
  }

  /**
   * What an earlier run could not put back is put back first; what fails again stays owed, and the next run tries again.
   * @returns what came of it, in one sentence; null where nothing was owed
   */
  private async payBack(body: Body): Promise<string | null> {
    if (body.debts.size === 0) return null;
    try {
      const names = await body.putBack();
      return `What an earlier run had changed is put back: ${names.join(', ')}.`;
    } catch (cause) {
      return asEvenrungError(cause).message;
    } finally {
      this.remember(body);
    }
  }

  private lose(sentence: string): void {
    this.options.events.tell({ type: 'body', body: { state: 'absent', sentence } });
    void this.body?.release();
    this.body = undefined;
  }
}

const joined = (...notes: (string | null)[]): string | null =>
  notes.filter((note) => note !== null).join(' ') || null;

const keyOf = ({ model, serial }: BodyIdentity): string => JSON.stringify([model, serial]);

const underWay = () =>
  new EvenrungError('run-under-way', 'A set is already being fired: wait for its end, or stop it.');
const ending = () => new EvenrungError('ending', 'Evenrung is ending.');
const noBody = (sentence: string) => new EvenrungError('no-body', sentence);
