// Looks at the daemon's calls of its link, from outside: how many changes a set makes, and how much time the daemon lets pass
// between a frame in hand and its next call. The methods of SupervisedLink are wrapped; nothing in src knows of it.
import type { Happening } from '../../shared/state.js';
import { SupervisedLink } from '../../src/camera/index.js';

/** What the daemon did after a frame; it puts the settings back after the last one, when every picture has been looked at. */
export type Next = 'frame' | 'change' | 'put-back';

/** Milliseconds that the daemon let pass between a frame in hand and its next call of the link, and what they went into. */
export interface Gap {
  readonly next: Next;
  readonly total: number;
  /** Until it says that the frame is stored: kind of file, recorded exposure, judging. */
  readonly reading: number;
  /** From then on, until the call. */
  readonly calling: number;
}

/** The calls of one method. */
export interface CallsOf {
  readonly count: number;
  /** From call to answer, waiting for the calls before included: the sum. */
  readonly milliseconds: number;
}

/** One call of changeSetting. */
export interface Change {
  readonly name: string;
  /** From call to answer. */
  readonly milliseconds: number;
}

export class LinkWatch {
  /** In order. */
  changes: Change[] = [];
  /** By method. */
  readonly calls = new Map<string, CallsOf>();
  gaps: Gap[] = [];
  /** Milliseconds from a frame in hand until it is verified, its picture looked at and its file named. */
  looks: number[] = [];
  /** Milliseconds of each fire beside the camera process's own reckoning: the channel, both ways. */
  channel: number[] = [];
  /** When the first frame was fired, and when the last one was in hand. */
  firstFire: number | undefined;
  lastInHand: number | undefined;
  /** Of the camera process that was called last. */
  pid: number | undefined;
  private inHand: { since: number; stored?: number } | undefined;
  /** Since when frames are in hand that are not verified, by number. */
  private readonly looking = new Map<number, number>();
  private puttingBack = false;

  called(next: Exclude<Next, 'put-back'>): void {
    const { since, stored } = this.inHand ?? {};
    this.inHand = undefined;
    // A frame that was not taken in says nothing of what one costs that is.
    if (since === undefined || stored === undefined) return;
    const now = performance.now();
    this.gaps.push({
      next: this.puttingBack ? 'put-back' : next,
      total: now - since,
      reading: stored - since,
      calling: now - stored,
    });
  }

  counted(method: string, began: number): void {
    const { count, milliseconds } = this.calls.get(method) ?? { count: 0, milliseconds: 0 };
    const took = performance.now() - began;
    this.calls.set(method, { count: count + 1, milliseconds: milliseconds + took });
  }

  fired(began: number, seconds: number): void {
    const since = performance.now();
    this.inHand = { since };
    this.firstFire ??= began;
    this.lastInHand = since;
    this.channel.push(since - began - seconds * 1000);
  }

  /** To be called with every happening that the daemon tells. */
  told(happening: Happening): void {
    const now = performance.now();
    if (happening.type === 'run-state') this.puttingBack = happening.state === 'putting-back';
    if (happening.type !== 'frame') return;
    const { state, number } = happening.frame;
    if (state === 'stored' && this.inHand !== undefined) {
      this.inHand.stored = now;
      this.looking.set(number, this.inHand.since);
    }
    const since = this.looking.get(number);
    if (state === 'verified' && since !== undefined) {
      this.looking.delete(number);
      this.looks.push(now - since);
    }
  }

  /** A call that belongs to no set. */
  otherCall(): void {
    this.inHand = undefined;
  }

  /** What was seen so far is forgotten; so is a frame in hand. */
  clear(): void {
    this.changes = [];
    this.calls.clear();
    this.gaps = [];
    this.looks = [];
    this.channel = [];
    this.firstFire = undefined;
    this.lastInHand = undefined;
    this.inHand = undefined;
  }
}

/** Wraps the methods for the rest of the process. */
export function watchLinks(): LinkWatch {
  const watch = new LinkWatch();
  countCalls(watch);
  const { fire, changeSetting, press, bring, readLimits, readSettings } = SupervisedLink.prototype;
  SupervisedLink.prototype.fire = async function (options) {
    watch.called('frame');
    const began = performance.now();
    const fired = await fire.call(this, options);
    watch.pid = this.pid;
    watch.fired(began, fired.seconds);
    return fired;
  };
  SupervisedLink.prototype.changeSetting = async function (name, value, options) {
    watch.called('change');
    const began = performance.now();
    const setting = await changeSetting.call(this, name, value, options);
    watch.changes.push({ name, milliseconds: performance.now() - began });
    return setting;
  };
  SupervisedLink.prototype.press = function (options) {
    watch.firstFire ??= performance.now();
    return press.call(this, options);
  };
  SupervisedLink.prototype.bring = async function (options) {
    const piece = await bring.call(this, options);
    if (piece.isEnd) watch.lastInHand = performance.now();
    return piece;
  };
  SupervisedLink.prototype.readSettings = function () {
    watch.otherCall();
    return readSettings.call(this);
  };
  // The last call before a body counts as met.
  SupervisedLink.prototype.readLimits = async function () {
    const limits = await readLimits.call(this);
    watch.pid = this.pid;
    return limits;
  };
  return watch;
}

const COUNTED = [
  'readSettings',
  'changeSetting',
  'fire',
  'press',
  'unpress',
  'listen',
  'bring',
  'list',
] as const;

function countCalls(watch: LinkWatch): void {
  const link: Record<(typeof COUNTED)[number], (...args: never[]) => Promise<unknown>> =
    SupervisedLink.prototype;
  for (const method of COUNTED) {
    const call = link[method];
    link[method] = async function (...args) {
      const began = performance.now();
      try {
        return await call.apply(this, args);
      } finally {
        watch.counted(method, began);
      }
    };
  }
}

/** @param share 0.5 for the median, 0.99 for the 99th percentile (the nearest rank) */
export function quantile(values: readonly number[], share: number): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.max(0, Math.ceil(share * sorted.length) - 1)] ?? Number.NaN;
}
