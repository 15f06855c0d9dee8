// The release of the practice body: pressed, held and let go; the frames that follow each other while it is held; and who is told of the
// files that they became. How a frame is exposed, and whether another one follows, the body says.
import type { Sixths } from '../../exposure/index.js';
import { pause } from './pause.js';
import type { Place, PracticeOptions } from './shapes.js';
import type { Content, PracticeFile, Store } from './store.js';

/** What the shutter did; kept so that tests can compare the frames with the truth. */
export interface PracticeShot {
  /** Of a bulb exposure, the nearest. */
  readonly tv: Sixths;
  /** Where in its bracket the frame was, in steps from the centre; 0 with the bracket off. */
  readonly bracketPosition: number;
  /** True if the bracket asked for a time that the body does not have: it is clamped, silently. */
  readonly clamped: boolean;
  /** Seconds that a bulb exposure was open. */
  readonly openSeconds?: number;
}

/** A frame under the settings as they were when it was its turn. */
export interface PlannedFrame {
  /** Seconds of the exposure; null if it ends when the release is let go. */
  readonly seconds: number | null;
  /** Whether a dark frame as long as the exposure follows it. */
  hasDarkFrame(seconds: number): boolean;
  /** Whether the body refuses to make it. */
  readonly isRefused: boolean;
  /** @param openSeconds if the exposure ended when the release was let go */
  shotOf(openSeconds?: number): PracticeShot;
  develop(takenAt: Date, openSeconds?: number): Promise<readonly Content[]>;
}

/** The body, as far as its release asks. */
export interface Fires {
  readonly options: PracticeOptions;
  readonly clock: Date;
  readonly target: Place;
  /** A release begins. @returns false if it only raises the mirror */
  begin(): boolean;
  planFrame(): PlannedFrame;
  /** Whether another frame follows while the release is held. */
  readonly follows: boolean;
  /** Whether a press goes through the whole bracket of the drive. */
  readonly firesAll: boolean;
  keep(shot: PracticeShot): void;
}

export interface PressOptions {
  /** Where the files go; if it is left out, where the body is set to keep them. */
  readonly place?: Place;
  /** The body lets go by itself after so many frames, if they follow each other at all. */
  readonly frames?: number;
  /** The body lets go by itself after this many seconds, which pass as those of an exposure do; left out, `letGo` does. */
  readonly holdSeconds?: number;
}

/**
 * `held`: it is pressed already, and nothing comes of this press. A press that is not taken leaves everything
 * as it was.
 */
export type PressAnswer = 'taken' | 'held' | 'busy' | 'card-full';

/**
 * What the body tells of a press: each of its files, then that it is over. If the press only raises the
 * mirror, just the latter.
 */
export type PracticeEvent = { readonly is: 'file'; readonly file: PracticeFile } | { readonly is: 'over' };

/** Steps between a frame's files and everybody who is told of them; may look, wait, and tell of other files. */
export type Change = (
  files: readonly PracticeFile[],
  shot: PracticeShot,
) => readonly PracticeFile[] | Promise<readonly PracticeFile[]>;

interface Press {
  readonly place: Place;
  readonly most: number;
  readonly holdSeconds: number | undefined;
  isHeld: boolean;
  /** Whether it was held to the end of its time. */
  isThrough: boolean;
  readonly letGo: () => void;
  readonly whenLetGo: Promise<void>;
}

interface Fired {
  readonly files: readonly PracticeFile[];
  readonly written: Promise<void>;
  readonly shot: PracticeShot;
}

export class Firing {
  private readonly body: Fires;
  private readonly store: Store;
  private readonly listeners = new Set<(event: PracticeEvent) => void>();
  private readonly changes: Change[] = [];
  private pressed: Press | null = null;
  private running = 0;
  /** By performance.now(). */
  private writesUntil = 0;
  private closed: Promise<void> | null = null;
  private telling: Promise<void> = Promise.resolve();

  constructor(body: Fires, store: Store) {
    this.body = body;
    this.store = store;
  }

  /** Whether a frame is being made, from the release until its files are in the buffer. */
  get underWay(): boolean {
    return this.running > 0;
  }

  /** Whether no release is taken. */
  get busy(): boolean {
    return this.underWay || !this.store.hasRoom || performance.now() < this.writesUntil;
  }

  get isHeld(): boolean {
    return this.pressed?.isHeld ?? false;
  }

  /** From the release to the closing of the shutter, settles when it closes; otherwise null. */
  get whenClosed(): Promise<void> | null {
    return this.closed;
  }

  heed(listener: (event: PracticeEvent) => void): () => void {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  beforeTelling(change: Change): () => void {
    this.changes.push(change);
    return () => {
      const at = this.changes.indexOf(change);
      if (at >= 0) this.changes.splice(at, 1);
    };
  }

  press({ place = this.body.target, frames, holdSeconds }: PressOptions): PressAnswer {
    if (this.busy) return 'busy';
    if (this.isHeld) return 'held';
    if (place === 'card' && this.store.framesLeft === 0) return 'card-full';
    const press = newPress(place, frames ?? Number.POSITIVE_INFINITY, holdSeconds);
    this.pressed = press;
    if (holdSeconds !== undefined) void this.letGoAfter(press, holdSeconds);
    void this.run(press, (file) => this.say({ is: 'file', file })).then(() => {
      if (frames !== undefined) press.letGo();
      this.say({ is: 'over' });
    });
    return 'taken';
  }

  letGo(): void {
    this.pressed?.letGo();
  }

  private async letGoAfter(press: Press, seconds: number): Promise<void> {
    await pause(seconds * this.body.options.timing.exposureScale);
    press.isThrough = press.isHeld;
    press.letGo();
  }

  async release(place = this.body.target): Promise<readonly PracticeFile[]> {
    const files: PracticeFile[] = [];
    const press = newPress(place, this.body.firesAll ? Number.POSITIVE_INFINITY : 1);
    if (!this.body.firesAll) press.letGo();
    await this.run(press, (file) => files.push(file));
    return files;
  }

  /** @param came is called with each file once it may be told of */
  private async run(press: Press, came: (file: PracticeFile) => void): Promise<void> {
    const { timing, busyWhileWriting } = this.body.options;
    const told: Promise<void>[] = [];
    this.running += 1;
    try {
      if (!this.body.begin()) {
        await pause(timing.releaseLag);
        return;
      }
      for (let frame = 1; frame === 1 || (await this.mayFollow(press, frame)); frame += 1) {
        const fired = await this.expose(press, frame === 1);
        if (fired !== null) told.push(this.tellLater(fired, came));
      }
    } finally {
      this.running -= 1;
      this.writesUntil = performance.now() + busyWhileWriting * 1000;
    }
    await Promise.all(told);
  }

  /** Waits for room in the buffer. @param frame the number of the frame in its press */
  private async mayFollow(press: Press, frame: number): Promise<boolean> {
    const goesOn = this.body.firesAll && this.body.options.bracketGoesOn;
    const isWanted = () =>
      (press.isHeld || goesOn) &&
      frame <= press.most &&
      this.body.follows &&
      !(press.place === 'card' && this.isFull);
    if (!isWanted()) return false;
    if (!this.store.hasRoom) await Promise.race([this.store.room(), ...(goesOn ? [] : [press.whenLetGo])]);
    return isWanted();
  }

  private get isFull(): boolean {
    return this.store.framesLeft === 0;
  }

  private async expose(press: Press, isFirst: boolean): Promise<Fired | null> {
    const { timing } = this.body.options;
    // With everything as it is at the release, or when the frame before is finished: later changes count from
    // the next frame on.
    const frame = this.body.planFrame();
    const close = this.open();
    let takenAt: Date;
    let openSeconds: number | undefined;
    try {
      if (isFirst) await pause(timing.releaseLag);
      if (frame.isRefused) return null;
      takenAt = this.body.clock;
      openSeconds = await this.keepOpen(press, frame.seconds);
    } finally {
      close();
    }
    const seconds = openSeconds ?? frame.seconds ?? 0;
    await pause(frame.hasDarkFrame(seconds) ? seconds * timing.exposureScale : 0);
    const cycle = pause(timing.cycle);
    const contents = await frame.develop(takenAt, openSeconds);
    await cycle;
    const shot = frame.shotOf(openSeconds);
    this.body.keep(shot);
    return { shot, ...this.store.take(contents, takenAt, press.place) };
  }

  /** @returns seconds, if the exposure ended when the release was let go */
  private async keepOpen(press: Press, seconds: number | null): Promise<number | undefined> {
    const { exposureScale } = this.body.options.timing;
    if (seconds !== null) {
      await pause(seconds * exposureScale);
      return undefined;
    }
    const since = performance.now();
    await press.whenLetGo;
    const passed = (performance.now() - since) / 1000;
    // The lateness of this computer's timer is not the body's, and must not be multiplied by a scale.
    if (exposureScale !== 1 && press.isThrough) return press.holdSeconds ?? passed;
    return exposureScale > 0 ? passed / exposureScale : passed;
  }

  /** @returns what closes it */
  private open(): () => void {
    const { promise, resolve } = deferred();
    this.closed = promise;
    return () => {
      if (this.closed === promise) this.closed = null;
      resolve();
    };
  }

  /** Files are told of in the order of the frames. */
  private tellLater(fired: Fired, came: (file: PracticeFile) => void): Promise<void> {
    const told = this.telling.then(() => this.tell(fired, came));
    // A failure reaches whoever waits for the release; the frames after it are told of all the same.
    this.telling = told.catch(() => undefined);
    return told;
  }

  private async tell({ files, written, shot }: Fired, came: (file: PracticeFile) => void): Promise<void> {
    await written;
    let changed = files;
    for (const change of [...this.changes]) changed = await change(changed, shot);
    this.store.replace(files, changed);
    for (const [index, file] of changed.entries()) {
      if (index > 0) await pause(this.body.options.secondFileLater);
      came(file);
    }
  }

  private say(event: PracticeEvent): void {
    for (const listener of [...this.listeners]) listener(event);
  }
}

function newPress(place: Place, most: number, holdSeconds?: number): Press {
  const { promise, resolve } = deferred();
  const press: Press = {
    place,
    most,
    holdSeconds,
    isHeld: true,
    isThrough: false,
    letGo: () => {
      press.isHeld = false;
      resolve();
    },
    whenLetGo: promise,
  };
  return press;
}

function deferred() {
  let resolve: () => void = () => undefined;
  const promise = new Promise<void>((done) => {
    resolve = done;
  });
  return { promise, resolve };
}
