// The body that the daemon holds: looks for it, looks again if it is gone, puts back what is owed to it, and
// lends it out. Who may have it, and when, is decided elsewhere: this file knows no set, run or plan.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { ReadinessCode } from '../../shared/readiness.js';
import { type Body, type BodyIdentity, LOST } from '../camera/index.js';
import { readyForPictures, warmUp } from '../frames/index.js';
import type { Finder } from './finder.js';
import type { BodyReport } from './report.js';

export interface BodyInHandOptions {
  readonly finder: Pick<Finder, 'find'> & Partial<Pick<Finder, 'findDirectly'>>;
  readonly report: BodyReport;
  /** Serial number or model of the wanted camera, if several may be attached. */
  readonly camera: string | null;
  /**
   * Milliseconds between two looks for a camera that is not there; if it is left out, nobody looks until told
   * to.
   */
  readonly lookAgainMs?: number | undefined;
}

type There =
  /** With the note that was made about it when it was found. */
  | { readonly is: 'met'; readonly body: Body; readonly note: string | null }
  /**
   * Why, if looking for a body failed; and the camera that was lost, if one was: the practice body must not
   * take its place.
   */
  | { readonly is: 'absent'; readonly why: EvenrungError | null; readonly lost: BodyIdentity | null };

export class BodyInHand {
  private readonly options: BodyInHandOptions;
  private there: There = { is: 'absent', why: null, lost: null };
  /** Serial number or model of the chosen camera. */
  private camera: string | null;
  private looking: Promise<void> | undefined;
  /** Runs until the next look for a camera that is not there. */
  private untilNextLook: NodeJS.Timeout | undefined;
  /** A sentence on settings that an earlier run had owed and that were put back, until a record has it. */
  private paid: string | null = null;
  private isEnding = false;

  constructor(options: BodyInHandOptions) {
    this.options = options;
    this.camera = options.camera;
  }

  get body(): Body | undefined {
    return this.there.is === 'met' ? this.there.body : undefined;
  }

  /** Why there is no body, if looking for one failed. */
  get problem(): EvenrungError | null {
    return this.there.is === 'met' ? null : this.there.why;
  }

  /** @throws EvenrungError no-body */
  must(): Body {
    if (this.body !== undefined) return this.body;
    throw noBody('No camera is connected yet: plug it in, switch it on, and look for it again.');
  }

  /** @throws EvenrungError no-body */
  mustNotBeLooking(): void {
    if (this.looking !== undefined) throw noBody('Evenrung is still looking for a camera: wait a moment.');
  }

  // --- looking

  /**
   * Lets go of the body, if there is one, and looks for one anew. What was found is told as an event. Never
   * throws.
   * @param camera serial number or model, if another camera is wanted from now on
   */
  look(camera?: string): Promise<void> {
    const isOther = camera !== undefined && camera !== this.camera;
    if (camera !== undefined) this.camera = camera;
    // A look that is already under way may be for another camera.
    if (isOther) return this.beginLook({ after: this.looking });
    return this.looking ?? this.beginLook();
  }

  /**
   * Looks for the body if it is not there.
   * @throws EvenrungError no-body if there is none, or if it is another one
   */
  async anew(wanted: BodyIdentity): Promise<Body> {
    if (this.body === undefined) await (this.looking ?? this.beginLook({ quietly: true }));
    if (this.problem !== null) throw noBody(this.problem.message);
    const body = this.must();
    if (isSameBody(body.identity, wanted)) return body;
    throw noBody(`The set was begun with a different camera from the one attached: ${wanted.model}.`);
  }

  /**
   * Looks for the body if it is not there, and reads its settings anew. Never rejects.
   * @returns null if it cannot be reached
   */
  async awake(wanted: BodyIdentity): Promise<Body | null> {
    try {
      const body = await this.anew(wanted);
      await body.refresh();
      return body;
    } catch (cause) {
      const error = asEvenrungError(cause);
      if (error.code !== 'no-body') this.loseIfLost(error);
      return null;
    }
  }

  /**
   * One look at a time.
   * @param quietly if nobody asked for the look: only a body that is found is told of
   */
  private beginLook({
    after = Promise.resolve(),
    quietly = false,
  }: {
    after?: Promise<void> | undefined;
    quietly?: boolean;
  } = {}): Promise<void> {
    const looking = after
      .then(() => this.lookOnce(quietly))
      .finally(() => {
        if (this.looking === looking) this.looking = undefined;
      });
    this.looking = looking;
    return looking;
  }

  private async lookOnce(quietly: boolean): Promise<void> {
    const { report } = this.options;
    clearTimeout(this.untilNextLook);
    if (!quietly) report.looking();
    await this.release();
    try {
      // Warming up only saves time later. If it fails here, it fails again when it is needed, and that is
      // reported.
      const warm = warmUp().catch(() => undefined);
      const { body, notes } = await this.find();
      void readyForPictures();
      await warm;
      this.paid = await payBack(body);
      // If this does not succeed now, it will when a set begins.
      await body.keepOnCard().catch(() => undefined);
      report.met(body);
      this.there = { is: 'met', body, note: joined(...notes, this.paid) };
      await this.tell();
    } catch (cause) {
      const error = asEvenrungError(cause);
      const isNews = error.message !== this.problem?.message;
      this.there = { is: 'absent', why: error, lost: this.lost };
      if (!quietly || isNews) report.absent(error, this.next());
      this.lookAgain();
    }
  }

  /** If somebody looks for a camera after one was lost, any camera will do. */
  private find() {
    const { camera, lost } = this;
    const { finder } = this.options;
    if (lost === null || lost.link === 'practice') return finder.find(camera);
    return finder.find(camera, 'usb');
  }

  private get lost(): BodyIdentity | null {
    return this.there.is === 'met' ? null : this.there.lost;
  }

  /** Applies to the practice body as well: its camera process may have been killed just as it was met. */
  private looksAgain(): boolean {
    return this.options.lookAgainMs !== undefined && !this.isEnding;
  }

  private next(): string | null {
    if (!this.looksAgain()) return null;
    return `Evenrung looks for it every ${(this.options.lookAgainMs ?? 0) / 1000} s, and puts its settings back.`;
  }

  private lookAgain(): void {
    clearTimeout(this.untilNextLook);
    if (!this.looksAgain()) return;
    this.untilNextLook = setTimeout(() => {
      if (this.looking !== undefined || this.body !== undefined || this.isEnding) return;
      void this.beginLook({ quietly: true });
    }, this.options.lookAgainMs);
  }

  // --- lending

  /**
   * Does something with the body, and tells its state afterwards. Nobody else can have the body meanwhile.
   * @throws EvenrungError no-body, and whatever the work throws
   */
  async withBody<T>(work: (body: Body) => Promise<T>): Promise<T> {
    this.mustNotBeLooking();
    const body = this.must();
    try {
      return await work(body);
    } catch (cause) {
      throw this.loseIfLost(asEvenrungError(cause));
    } finally {
      if (this.body === body) await this.tell();
    }
  }

  /**
   * Lets go of the body, and does something with the same one over a link that calls the library directly.
   * Afterwards it is looked for again.
   * @returns null if it is not a camera that can be reached directly
   * @throws EvenrungError no-body, usb-not-available, and whatever the work throws
   */
  async withBodyDirectly<T>(work: (body: Body) => Promise<T>): Promise<T | null> {
    this.mustNotBeLooking();
    const { identity } = this.must();
    const { finder } = this.options;
    if (identity.link !== 'usb' || finder.findDirectly === undefined) return null;
    await this.release();
    try {
      const { body } = await finder.findDirectly(this.camera ?? identity.serial);
      try {
        if (isSameBody(body.identity, identity)) return await work(body);
        return null;
      } finally {
        await body.letGo();
      }
    } finally {
      await this.beginLook();
    }
  }

  /**
   * The body is given back.
   * @param error what went wrong while it was lent out; null if nothing did
   */
  async backAgain(body: Body, error: EvenrungError | null): Promise<void> {
    if (error !== null && LOST.has(error.code)) this.lose(error);
    else {
      await body.recycle();
      await this.tell();
    }
  }

  /**
   * A person confirms something that cannot be read over the wire.
   * @throws EvenrungError no-body
   */
  async tick(code: ReadinessCode, isSo: boolean): Promise<void> {
    this.must();
    this.options.report.tick(code, isSo);
    await this.tell();
  }

  /** Tells the state of the body, if there is one. */
  async tell(): Promise<void> {
    const { there } = this;
    if (there.is === 'met') await this.options.report.ready(there.body, there.note);
  }

  /** @returns the same error */
  loseIfLost(error: EvenrungError): EvenrungError {
    if (LOST.has(error.code)) this.lose(error);
    return error;
  }

  private lose(error: EvenrungError): void {
    const lost = this.body?.identity ?? null;
    this.options.report.absent(error, this.next());
    void this.body?.letGo();
    this.there = { is: 'absent', why: error, lost };
    this.lookAgain();
  }

  // --- what was owed

  /**
   * A sentence on settings that an earlier run had owed and that were put back, as long as no record has it.
   */
  get paidBack(): string | null {
    return this.paid;
  }

  paidIsKept(): void {
    this.paid = null;
  }

  // --- the end

  /** From now on nobody looks for a body that is gone. */
  endLooking(): void {
    this.isEnding = true;
    clearTimeout(this.untilNextLook);
  }

  /** Waits for a look that is under way, and lets go of the body. Never throws. */
  async close(): Promise<void> {
    this.endLooking();
    await this.looking;
    await this.release();
  }

  private async release(): Promise<void> {
    const { body } = this;
    await body?.letGo();
    if (body !== undefined) this.there = { is: 'absent', why: null, lost: null };
  }
}

/**
 * Puts back the settings that an earlier run could not. Those that fail again stay owed, and the next run
 * tries again.
 * @returns the result, in one sentence; null if nothing was owed
 */
async function payBack(body: Body): Promise<string | null> {
  if (body.debts.size === 0) return null;
  try {
    const names = await body.putBack();
    return `Settings that an earlier set had changed were put back: ${names.join(', ')}.`;
  } catch (cause) {
    return asEvenrungError(cause).message;
  }
}

export const isSameBody = (one: BodyIdentity, other: BodyIdentity): boolean =>
  one.model === other.model && one.serial === other.serial && one.link === other.link;

const joined = (...notes: (string | null)[]): string | null =>
  notes.filter((note) => note !== null).join(' ') || null;

const noBody = (sentence: string) => new EvenrungError('no-body', sentence);
