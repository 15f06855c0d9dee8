// The base of each set of a schedule, if it follows the light. Gathers what light.ts needs of limits and
// history from the request, the body and the sets so far. It fires nothing and reads no file.
import { EvenrungError } from '../../shared/errors.js';
import type { LightRequest } from '../../shared/run-request.js';
import {
  type BodyLimits,
  type IsoSetting,
  isoSettings,
  labelledShutters,
  leastOf,
  mostOf,
  NO_EV,
  plusSixths,
  type ShutterSetting,
  type Sixths,
  sixths,
} from '../exposure/index.js';
import { type Conditions, type PlanRequest, resolveBase } from '../plan/index.js';
import type { Level } from './level.js';
import { followLight, type LightLimits, type MeasuredSet } from './light.js';
import { fits, slowestBaseThatFits, whatToGiveUp } from './schedule/fits.js';

/** How many sets are kept: the last ones are enough for the next base, see light.ts. */
const SETS_KEPT = 10;

/** Plain JSON, kept in the journal of the run. */
export interface FollowMemo {
  readonly history: readonly MeasuredSet[];
  readonly reference: Level | null;
  /** Tv of the base, in sixths of an EV. */
  readonly tv: Sixths;
  /** Null if ISO is not changed. */
  readonly iso: number | null;
}

export interface FollowAsked {
  readonly light: LightRequest;
  /** The set as it is asked for, with the base that the run begins at. */
  readonly request: PlanRequest;
  readonly conditions: Conditions;
  readonly limits: BodyLimits;
  /** The ISO settings that the body offers, in its own notation. */
  readonly isoLabels: readonly string[];
  /** The ISO that is set on the body; null if the body does not tell. */
  readonly standingIso: number | null;
  readonly everySeconds: number;
}

/** The base of the next set. */
export interface NextBase {
  readonly shutter: ShutterSetting;
  /** Null if ISO stays as it is. */
  readonly iso: number | null;
  /** EV in sixths from the base of the set before; + lets in more light. */
  readonly shift: Sixths;
  /** Why the base moved; null if it did not. */
  readonly reason: string | null;
  /** What a person should know before the set is made and has not been told yet, a sentence each. */
  readonly news: readonly string[];
}

/** Takes the place of an ISO that the body does not tell: only differences count, so any value will do. */
const SOME_ISO: IsoSetting = { label: '', iso: 100, sv: sixths(30) };

export class Follower {
  private readonly asked: FollowAsked;
  private readonly limits: LightLimits;
  private history: readonly MeasuredSet[];
  private reference: Level | null;
  private shutter: ShutterSetting;
  private iso: IsoSetting;
  /** The last sentence that was told of a base that may not move on. */
  private saidOfCap: string | null = null;

  /**
   * @param memo of an earlier program, if the run is resumed
   * @throws EvenrungError base-not-offered if a cap is not a setting of the body; malformed-request if the
   *   caps leave nothing
   */
  constructor(asked: FollowAsked, memo?: FollowMemo) {
    this.asked = asked;
    const { request, isoLabels, standingIso, limits } = asked;
    const offered = isoSettings(isoLabels);
    const isoNow = memo?.iso ?? standingIso;
    this.iso = offered.find(({ iso }) => iso === isoNow) ?? SOME_ISO;
    this.shutter = limits.shutters.find(({ tv }) => tv === memo?.tv) ?? request.base;
    this.history = memo?.history ?? [];
    this.reference = memo?.reference ?? null;
    this.limits = limitsOf(asked, this.iso === SOME_ISO ? [SOME_ISO] : offered, this.iso);
  }

  get memo(): FollowMemo {
    const { history, reference, shutter } = this;
    return { history, reference, tv: shutter.tv, iso: this.isoOrNull() };
  }

  /** @param nextAt when the next set begins, on the clock of the sets that were measured */
  next(nextAt: number): NextBase {
    if (this.reference === null || this.history.length === 0)
      return { shutter: this.shutter, iso: this.isoOrNull(), shift: NO_EV, reason: null, news: [] };
    const step = followLight({
      history: this.history,
      reference: this.reference,
      nextAt,
      everySeconds: this.asked.everySeconds,
      limits: this.limits,
    });
    this.shutter = step.shutter;
    this.iso = step.iso;
    const cap = step.capHit;
    const news = cap === null || cap.sentence === this.saidOfCap ? [] : [cap.sentence, ...this.toGiveUp(cap)];
    this.saidOfCap = cap?.sentence ?? null;
    return {
      shutter: step.shutter,
      iso: this.isoOrNull(),
      shift: step.shift,
      reason: step.sentence,
      news,
    };
  }

  /**
   * @param at as `nextAt`
   * @param level of the frame nearest to the base; null if it could not be measured
   */
  setMade(at: number, level: Level | null): void {
    if (level === null) return;
    this.reference ??= level;
    const base = { tv: this.shutter.tv, sv: this.iso.sv };
    this.history = [...this.history, { at, base, level }].slice(-SETS_KEPT);
  }

  private isoOrNull(): number | null {
    return this.iso === SOME_ISO ? null : this.iso.iso;
  }

  /**
   * If the slot or the link keeps the base from getting slower, and not a cap that somebody gave: what could
   * be given up to make room.
   */
  private toGiveUp({ side }: { side: 'lighter' | 'darker' }): string[] {
    if (side === 'darker') return [];
    const { request, limits, conditions, everySeconds, light } = this.asked;
    const slower = labelledShutters(limits)
      .filter(({ tv, settable }) => settable && tv < this.limits.slowestTv)
      .reduce<ShutterSetting | null>((best, one) => (best === null || one.tv > best.tv ? one : best), null);
    if (slower === null) return [];
    if (light.slowest !== null && resolveBase(light.slowest, limits).tv > slower.tv) return [];
    const asked = { request: { ...request, base: slower }, limits, conditions, everySeconds };
    const verdict = fits(asked);
    if (verdict.fits) return [];
    const offered = this.limits.isos.filter(({ sv }) => sv <= this.limits.mostSv);
    const iso = this.iso === SOME_ISO ? null : { now: this.iso, offered };
    return [verdict.sentence, ...whatToGiveUp(asked, iso).map(({ sentence }) => sentence)];
  }
}

function limitsOf(asked: FollowAsked, isos: readonly IsoSetting[], now: IsoSetting): LightLimits {
  const { light, request, limits, conditions, everySeconds } = asked;
  const { base } = request;
  const slowestThatFits = slowestBaseThatFits({ request, limits, conditions, everySeconds });
  const slowest = light.slowest === null ? null : resolveBase(light.slowest, limits).tv;
  // The darkest frame of the set needs a shutter that is faster than the base by as much as its offset.
  const shortest = limits.shutters.reduce((most, { tv }) => mostOf(most, tv), base.tv);
  const fastestOfBody = plusSixths(shortest, leastOf(NO_EV, ...request.offsets));
  const fastest = light.fastest === null ? fastestOfBody : resolveBase(light.fastest, limits).tv;
  if (slowest !== null && slowest > fastest)
    throw new EvenrungError(
      'malformed-request',
      `The slowest shutter, ${light.slowest} s, is faster than the fastest, ${light.fastest} s: swap them.`,
      { field: 'slowest' },
    );
  const { least, most } = isoRange(light, isos, now);
  return {
    shutters: limits.shutters,
    isos,
    slowestTv: mostOf(slowestThatFits?.tv ?? base.tv, ...(slowest === null ? [] : [slowest])),
    fastestTv: leastOf(fastest, fastestOfBody),
    leastSv: least,
    mostSv: most,
    mostPerSet: light.mostPerSet,
  };
}

/** If the request says nothing of ISO, ISO stays where it is. */
function isoRange({ isoLeast, isoMost }: LightRequest, isos: readonly IsoSetting[], now: IsoSetting) {
  if (isoLeast === null && isoMost === null) return { least: now.sv, most: now.sv };
  const within = isos.filter(({ iso }) => iso >= (isoLeast ?? now.iso) && iso <= (isoMost ?? now.iso));
  const [least, most] = [within.at(0), within.at(-1)];
  if (now !== SOME_ISO && least !== undefined && most !== undefined)
    return { least: least.sv, most: most.sv };
  throw new EvenrungError(
    'base-not-offered',
    `The camera has no ISO from ${isoLeast ?? now.iso} to ${isoMost ?? now.iso} that can be set over the cable: give other limits, or leave ISO out.`,
    { field: isoLeast === null ? 'isoMost' : 'isoLeast' },
  );
}
