// The one place that owns a body: finds it, plans for it, and lets one run at a time have it. Used by the server and by
// `fire` alike.
import { randomUUID } from 'node:crypto';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { parseSetRequest, type SetRequest } from '../../shared/request.js';
import { Body, type LinkKind, SupervisedLink, type SupervisedLinkOptions } from '../camera/index.js';
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

  constructor(options: StationOptions) {
    this.options = options;
  }

  /**
   * Lets go of the body, if there is one, and looks for one anew. What was found is told as an event; never throws.
   * @throws EvenrungError run-under-way
   */
  look(): Promise<void> {
    if (this.running !== undefined) {
      throw new EvenrungError('run-under-way', 'A set is being fired: wait for its end, or stop it.');
    }
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
    this.refuseWhileRunning();
    const request = parseSetRequest(written);
    if (request.mode !== 'manual') {
      throw new EvenrungError(
        'mode-not-supported',
        'Sets are fired in manual mode: set the mode to manual, and the dial to M.',
      );
    }
    const plan = this.planFor(request);
    const body = this.requireBody();
    const { events, into } = this.options;
    const folder = await SetFolder.create(into, new Date());
    // Another start may have come first while the folder was being made.
    if (this.running !== undefined) {
      await folder.removeIfEmpty();
      this.refuseWhileRunning();
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
      if (run.error?.code === 'body-lost') this.lose(run.error.message);
    });
    return run;
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

  /** Stops what is under way, puts settings back, lets go of the body. Never throws. */
  async close(): Promise<void> {
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
      fNumber: fNumber ?? undefined,
      iso: iso ?? undefined,
    });
  }

  private requireBody(): Body {
    if (this.body !== undefined) return this.body;
    throw new EvenrungError(
      'no-body',
      'No body is connected yet: plug the camera in, switch it on, and look for it again.',
    );
  }

  private refuseWhileRunning(): void {
    if (this.running === undefined) return;
    throw new EvenrungError('run-under-way', 'A set is already being fired: wait for its end, or stop it.');
  }

  private async lookOnce(): Promise<void> {
    const { events, choice } = this.options;
    events.tell({ type: 'body', body: { state: 'looking' } });
    await this.body?.release();
    this.body = undefined;
    try {
      const [{ body, note }] = await Promise.all([this.find(choice), warmUp()]);
      this.body = body;
      this.trouble = null;
      events.tell({ type: 'body', body: { state: 'ready', body: body.view(), note } });
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
      return await Body.meet(opened);
    } catch (cause) {
      await opened.release();
      throw cause;
    }
  }

  private lose(sentence: string): void {
    this.options.events.tell({ type: 'body', body: { state: 'absent', sentence } });
    void this.body?.release();
    this.body = undefined;
  }
}
