// The span of each set of a schedule, if it follows the scene. Gathers what span.ts needs from the request,
// the body and the sets so far. Frames that the body cannot make at the base of the next set, or that do not
// fit its slot, are not asked for. It fires nothing and reads no file.
import { type BodyLimits, type Sixths, sixths } from '../exposure/index.js';
import type { Conditions, End, PlanRequest } from '../plan/index.js';
import { type FitsAsked, fits } from './schedule/fits.js';
import {
  type AtEnds,
  afterChange,
  changeBetween,
  type FinishedSet,
  followSpan,
  NOTHING_REMEMBERED,
  remembered,
  type SpanLimits,
  type SpanMemory,
  type SpanTold,
  toldBy,
  type Untold,
} from './span.js';
import { cannotSentence, changeSentence, mostSentence, STAYS } from './span-words.js';

/** Plain JSON, kept in the journal of the run. */
export interface SpanMemo {
  /** Offsets of the last set that was begun, in sixths of an EV. */
  readonly offsets: readonly number[];
  /** What its pictures told; null as long as they have told nothing, and if they cannot. */
  readonly told: SpanTold | null;
  /** Why its pictures can tell nothing; null if they can. */
  readonly untold: Untold | null;
  readonly memory: SpanMemory;
  /** Reasons for a span that cannot go on which were told already. */
  readonly said: readonly SaidOf[];
}
type SaidOf = Untold | 'most' | 'cannot';

export interface SpanFollowed {
  /** Of the first set, ascending. */
  readonly offsets: readonly Sixths[];
  readonly step: Sixths;
  readonly limits: SpanLimits;
  readonly everySeconds: number;
  /** The most frames that may be added at each end while a set is made. */
  readonly extend: number;
}

/** The span of the next set. */
export interface NextSpan {
  readonly offsets: readonly Sixths[];
  readonly change: AtEnds<number>;
  /** Why the span changed; null if it did not. */
  readonly reason: string | null;
  /** What a person should know and has not been told yet, a sentence each. */
  readonly news: readonly string[];
  readonly said: readonly SaidOf[];
}

/** The request, limits and conditions that the next set will be made with. */
export interface ToBeMade {
  /** Its offsets do not matter: they are replaced. */
  readonly request: PlanRequest;
  readonly limits: BodyLimits;
  readonly conditions: Conditions;
}

export class SpanFollower {
  private readonly asked: SpanFollowed;
  private offsets: readonly Sixths[];
  private told: SpanTold | null;
  private untold: Untold | null;
  private memory: SpanMemory;
  private said: readonly SaidOf[];

  /** @param memo of an earlier program, if the run is resumed */
  constructor(asked: SpanFollowed, memo?: SpanMemo) {
    this.asked = asked;
    this.offsets = memo?.offsets.map(sixths) ?? asked.offsets;
    this.told = memo?.told ?? null;
    this.untold = memo?.untold ?? null;
    this.memory = memo?.memory ?? NOTHING_REMEMBERED;
    this.said = memo?.said ?? [];
  }

  get memo(): SpanMemo {
    const { offsets, told, untold, memory, said } = this;
    return { offsets, told, untold, memory, said };
  }

  /**
   * The offset of the frame by which the light is followed: the one nearest to the base in the first set.
   * Every set has it.
   */
  get keeps(): Sixths {
    return nearestToBase(this.asked.offsets);
  }

  /** Works out the next span. Changes nothing: a set that is not begun after all must leave no trace. */
  next(toBeMade: ToBeMade): NextSpan {
    const { told, untold, memory } = this;
    const { limits } = this.asked;
    const { offsets, change, cannot, beyondMost } = this.decided(toBeMade);
    const isAtMost = beyondMost.darker + beyondMost.brighter > 0;
    const all: (readonly [SaidOf, string])[] = [
      ...(untold === null ? [] : [[untold, STAYS[untold]] as const]),
      ...(isAtMost ? [['most', mostSentence(limits.mostFrames, beyondMost)] as const] : []),
      ...(cannot === null ? [] : [['cannot', cannotSentence(cannot)] as const]),
    ];
    return {
      ...{ offsets, change, reason: changeSentence({ offsets, change, told, memory }) },
      news: all.filter(([of]) => !this.said.includes(of)).map(([, sentence]) => sentence),
      // As long as the last set can tell nothing, no reason is over.
      said: [...new Set([...(told === null ? this.said : []), ...all.map(([of]) => of)])],
    };
  }

  /** Room that one end cannot use is left to the other one. */
  private decided(toBeMade: ToBeMade) {
    const { told, memory, keeps, offsets: before } = this;
    const { step, limits } = this.asked;
    const decide = (room?: AtEnds<number>) => {
      const wanted = followSpan({ offsets: before, step, told, memory, limits, keeps, room });
      const fitted = this.asFarAsItFits(wanted.offsets, toBeMade);
      return {
        ...wanted,
        ...fitted,
        wanted: wanted.change,
        change: changeBetween(before, fitted.offsets, step),
      };
    };
    const first = decide();
    const { change, wanted, cannot } = first;
    const room = (end: End) =>
      change[end] < wanted[end] ? Math.max(0, change[end]) : Number.POSITIVE_INFINITY;
    if (cannot === null) return first;
    const second = decide({ darker: room('darker'), brighter: room('brighter') });
    return { ...second, cannot };
  }

  /** A set has been begun with this span. */
  begun({ offsets, change, said }: NextSpan): void {
    this.offsets = offsets;
    this.memory = afterChange(this.memory, change);
    this.said = said;
    this.told = null;
    this.untold = null;
  }

  /** The set that was begun last has ended. */
  setMade(set: Omit<FinishedSet, 'asked'>): void {
    const told = toldBy({ ...set, asked: this.offsets });
    this.told = typeof told === 'string' ? null : told;
    this.untold = typeof told === 'string' ? told : null;
    this.memory = remembered(this.memory, this.told);
  }

  /**
   * @returns as many of these offsets as the body can make and the slot has room for, and why not all;
   *   those of the first set always fit (follow.ts keeps the base so that they do)
   */
  private asFarAsItFits(
    offsets: readonly Sixths[],
    { request, limits, conditions }: ToBeMade,
  ): { readonly offsets: readonly Sixths[]; readonly cannot: string | null } {
    const { everySeconds, extend, offsets: first } = this.asked;
    if (offsets.every((offset) => first.includes(offset))) return { offsets, cannot: null };
    const asked = (some: readonly Sixths[]): FitsAsked => ({
      ...{ request: { ...request, offsets: some }, limits, conditions, everySeconds, extend },
    });
    const verdict = fits(asked(offsets));
    if (verdict.fits) return { offsets, cannot: null };
    const { keeps } = this;
    // As few frames as possible are left out; among equally few, the brightest, which take the longest.
    for (let out = 1; out < offsets.length; out += 1)
      for (let darker = 0; darker <= out; darker += 1) {
        const some = offsets.slice(darker, offsets.length - (out - darker));
        if (some.includes(keeps) && fits(asked(some)).fits)
          return { offsets: some, cannot: verdict.sentence };
      }
    return { offsets, cannot: verdict.sentence };
  }
}

const nearestToBase = (offsets: readonly Sixths[]): Sixths =>
  offsets.reduce((best, offset) => (Math.abs(offset) < Math.abs(best) ? offset : best));
