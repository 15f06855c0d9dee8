// Light that moves: from the levels of the middle frames of the last sets to the base of the next set, so
// that its middle frame keeps the level. Pure: pixels and numbers in, settings out; it knows no schedule, no
// body, no file. For manual mode only: in other modes the body meters the base itself.
//
// Each set shows how light the scene was: the level of its middle frame minus the light that its base let in.
// A line is laid through the last seven of these values by repeated medians (Siegel, "Robust Regression Using
// Repeated Medians", Biometrika 69, 1982), which two of the seven cannot bend, and read off at the moment
// when the next set begins. So a passing car moves nothing, and a steady ramp is followed without lag. A
// light that comes on and stays is believed at its third set. The first three sets of a run make no line yet:
// the base stays nearer to where it is, and a ramp that is under way already gets up to three sets ahead of
// it.
//
// The order in which the base gives way (common practice, no source): when the light fades, the shutter
// first, up to its cap, then ISO up to its cap; when the light comes back, ISO first, then the shutter. Never
// the aperture: that would change what is sharp.
import {
  evInWords,
  formatEv,
  fromEv,
  type IsoSetting,
  minusSixths,
  type ShutterSetting,
  type Sixths,
  toEv,
} from '../exposure/index.js';
import type { Level } from './level.js';

/** The exposure that offsets are counted from, without the aperture, which stays. */
export interface Base {
  readonly tv: Sixths;
  readonly sv: Sixths;
}

/** A set that was made. */
export interface MeasuredSet {
  /** When its middle frame was made, in ms since a moment that is the same for all sets. */
  readonly at: number;
  readonly base: Base;
  /** The level of its middle frame. */
  readonly level: Level;
}

export interface LightLimits {
  /** What the body offers, in any order. */
  readonly shutters: readonly ShutterSetting[];
  readonly isos: readonly IsoSetting[];
  /** The caps of the base's shutter and ISO; the slowest shutter has the smallest Tv. */
  readonly slowestTv: Sixths;
  readonly fastestTv: Sixths;
  readonly leastSv: Sixths;
  readonly mostSv: Sixths;
  /** The most that the base may move from one set to the next. */
  readonly mostPerSet: Sixths;
}

export interface LightAsked {
  /** The sets made so far, the oldest first: at least one, and the last ten are enough. */
  readonly history: readonly MeasuredSet[];
  /** The level to keep: that of the first set's middle frame. */
  readonly reference: Level;
  /** When the next set begins, on the clock of `at`. */
  readonly nextAt: number;
  readonly everySeconds: number;
  readonly limits: LightLimits;
}

export interface LightStep {
  readonly base: Base;
  readonly shutter: ShutterSetting;
  readonly iso: IsoSetting;
  /** How far the base moves; + lets in more light. In thirds, if the settings are in thirds. */
  readonly shift: Sixths;
  /** For the record; null if the base stays. */
  readonly sentence: string | null;
  /** If the base would have to move farther and may not: what can be given up. Otherwise null. */
  readonly capHit: { readonly side: 'lighter' | 'darker'; readonly sentence: string } | null;
}

const WINDOW = 7;
/** The fewest sets that make a line; with fewer, a single one could bend it. */
const LINE_FROM = 4;
/** Sets that lie farther apart than this many intervals tell nothing of each other. */
const GAP_INTERVALS = 3;
const MOST_LEAD_INTERVALS = 2;
/** Half a third is rounding; the rest keeps noise from moving the base back and forth. */
const STAYS_WITHIN_EV = 0.25;

/** @throws Error if there is no set yet, or if the base is not one of the settings */
export function followLight(asked: LightAsked): LightStep {
  const { history, limits } = asked;
  const last = history.at(-1);
  if (last === undefined) throw new Error('There is no set yet to follow the light from.');
  const blind = believedBound(asked);
  const wantedEv = blind === null ? deviationEv(asked, last.base) : mostEv(blind, limits);
  const from = settingsOf(last.base, limits);
  const to = Math.abs(wantedEv) <= STAYS_WITHIN_EV ? from : nearestOnTheWay(from, wantedEv, limits);
  const shift = minusSixths(lets(to), lets(from));
  return {
    base: { tv: to.shutter.tv, sv: to.iso.sv },
    shutter: to.shutter,
    iso: to.iso,
    shift,
    sentence: shift === 0 ? null : moveSentence(from, to, wantedEv, blind, limits),
    capHit: capHit(to, wantedEv - toEv(shift), blind, limits),
  };
}

const mostEv = (blind: 'dark' | 'light', { mostPerSet }: LightLimits): number =>
  blind === 'dark' ? toEv(mostPerSet) : -toEv(mostPerSet);

/** @returns EV by which the next middle frame would come out too dark with this base; 0 if nothing tells */
function deviationEv(asked: LightAsked, base: Base): number {
  const scene = expectedScene(asked);
  return scene === null ? 0 : asked.reference.ev - scene - letsIn(base);
}

/**
 * @returns how light the scene itself will be when the next set begins, in EV, level minus base; null if
 *   nothing tells
 */
function expectedScene(asked: LightAsked): number | null {
  const { nextAt, everySeconds, reference } = asked;
  const sets = lastSets(asked).slice(-WINDOW);
  const scenes = sets.map(({ level, base }) => level.ev - letsIn(base));
  const last = sets.at(-1);
  const latest = scenes.at(-1);
  if (last === undefined || latest === undefined) return null;
  const [before] = scenes.slice(-2);
  if (scenes.length === 2 && before !== undefined) {
    // Nobody knows which of the two is the odd one, so the one that moves the base less is taken.
    const kept = reference.ev - letsIn(last.base);
    return Math.abs(latest - kept) < Math.abs(before - kept) ? latest : before;
  }
  if (scenes.length < LINE_FROM) return median(scenes);
  const lead = Math.min(nextAt - last.at, MOST_LEAD_INTERVALS * everySeconds * 1000);
  const times = sets.map(({ at }) => at - last.at);
  const slope = repeatedMedianSlope(times, scenes);
  const atLast = median(scenes.map((scene, index) => scene - slope * (times[index] ?? 0)));
  return atLast + slope * lead;
}

/** Siegel 1982: for each point, the median of the slopes to all others; then the median of these medians. */
function repeatedMedianSlope(times: readonly number[], values: readonly number[]): number {
  const slopesFrom = (one: number) =>
    times.flatMap((time, other) => {
      const apart = time - (times[one] ?? 0);
      return apart === 0 ? [] : [((values[other] ?? 0) - (values[one] ?? 0)) / apart];
    });
  return median(times.map((_, one) => median(slopesFrom(one))));
}

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const middle = sorted.length / 2;
  return ((sorted[Math.ceil(middle) - 1] ?? 0) + (sorted[Math.floor(middle)] ?? 0)) / 2;
}

/**
 * The sets that tell of the light as it is now. Sets from before a gap, sets from before a bound, and bounds
 * themselves are left out.
 */
function lastSets({ history, reference, everySeconds }: LightAsked): MeasuredSet[] {
  const kept: MeasuredSet[] = [];
  let next: MeasuredSet | undefined;
  for (const set of [...history].reverse()) {
    if (next !== undefined && next.at - set.at > GAP_INTERVALS * everySeconds * 1000) break;
    const bound = boundOf(set.level, reference);
    if (bound !== null && next !== undefined && boundOf(next.level, reference) === bound) break;
    if (bound === null) kept.unshift(set);
    next = set;
  }
  return kept;
}

/**
 * A frame that is mostly black or blown out is a bound: it only tells that the light is beyond it. Parts that
 * were black or blown out already when the reference was taken do not count: half of the rest has to be lost.
 */
function boundOf({ dark, light }: Level, reference: Level): 'dark' | 'light' | null {
  if (dark > (1 + reference.dark) / 2) return 'dark';
  return light > (1 + reference.light) / 2 ? 'light' : null;
}

/**
 * A single bound among good frames may be a headlamp or a hand, so it is believed only when the next set
 * shows the same.
 */
function believedBound({ history, reference }: LightAsked): 'dark' | 'light' | null {
  const bounds = history.slice(-3).map(({ level }) => boundOf(level, reference));
  const last = bounds.at(-1) ?? null;
  return bounds.length < 3 || bounds.at(-2) === last ? last : null;
}

interface Settings {
  readonly shutter: ShutterSetting;
  readonly iso: IsoSetting;
}

/** @returns how much light a base lets in, from an arbitrary zero */
const lets = ({ shutter, iso }: Settings): Sixths => minusSixths(iso.sv, shutter.tv);

/** The same for a base, in EV. */
const letsIn = ({ tv, sv }: Base): number => toEv(minusSixths(sv, tv));

function settingsOf({ tv, sv }: Base, { shutters, isos }: LightLimits): Settings {
  const shutter = shutters.find((setting) => setting.tv === tv);
  const iso = isos.find((setting) => setting.sv === sv);
  if (shutter === undefined || iso === undefined)
    throw new Error('The camera does not offer the base exposure.');
  return { shutter, iso };
}

/**
 * Among the settings on the way from a base to the caps, in the order in which the base gives way, the
 * nearest one to the wanted light.
 */
function nearestOnTheWay(from: Settings, wantedEv: number, limits: LightLimits): Settings {
  const most = toEv(limits.mostPerSet);
  const wanted = Math.max(-most, Math.min(most, wantedEv));
  const off = (to: Settings) => Math.abs(toEv(minusSixths(lets(to), lets(from))) - wanted);
  return way(from, wantedEv > 0 ? 'lighter' : 'darker', limits)
    .filter((to) => Math.abs(lets(to) - lets(from)) <= limits.mostPerSet)
    .reduce((best, to) => (off(to) < off(best) - 1e-9 ? to : best), from);
}

/** A base that already lies beyond a cap stays there until it comes back on its way. */
function way(from: Settings, side: 'lighter' | 'darker', limits: LightLimits): Settings[] {
  const { slowestTv, fastestTv, leastSv, mostSv } = limits;
  const shutters = limits.shutters
    .filter(({ settable, bulb }) => settable && bulb !== true)
    .sort((a, b) => b.tv - a.tv);
  const isos = [...limits.isos].sort((a, b) => a.sv - b.sv);
  if (side === 'lighter') {
    const slower = shutters.filter(({ tv }) => tv < from.shutter.tv && tv >= slowestTv);
    const slowest = slower.at(-1) ?? from.shutter;
    const higher = isos.filter(({ sv }) => sv > from.iso.sv && sv <= mostSv);
    return [
      ...slower.map((shutter) => ({ shutter, iso: from.iso })),
      ...higher.map((iso) => ({ shutter: slowest, iso })),
    ];
  }
  const lower = isos.filter(({ sv }) => sv < from.iso.sv && sv >= leastSv).reverse();
  const lowest = lower.at(-1) ?? from.iso;
  const faster = shutters.filter(({ tv }) => tv > from.shutter.tv && tv <= fastestTv).reverse();
  return [
    ...lower.map((iso) => ({ shutter: from.shutter, iso })),
    ...faster.map((shutter) => ({ shutter, iso: lowest })),
  ];
}

function moveSentence(
  from: Settings,
  to: Settings,
  wantedEv: number,
  blind: 'dark' | 'light' | null,
  { mostPerSet }: LightLimits,
): string {
  const moved = [
    ...(from.shutter.tv === to.shutter.tv ? [] : [`shutter ${from.shutter.label} to ${to.shutter.label}`]),
    ...(from.iso.sv === to.iso.sv ? [] : [`ISO ${from.iso.iso} to ${to.iso.iso}`]),
  ];
  const sentence = `The base exposure moved by ${evInWords(minusSixths(lets(to), lets(from)))} EV: ${moved.join(', ')}.`;
  if (blind !== null) {
    const how = blind === 'dark' ? 'mostly black' : 'mostly blown out';
    return `${sentence} The middle frame was ${how}, so it does not show how far the light has gone.`;
  }
  const isHeldUp = Math.abs(wantedEv) - toEv(mostPerSet) > STAYS_WITHIN_EV;
  if (!isHeldUp) return sentence;
  return `${sentence} The light changes faster than ${formatEv(mostPerSet, false)} EV a set, the most that the base exposure may move.`;
}

function capHit(
  at: Settings,
  missingEv: number,
  blind: 'dark' | 'light' | null,
  limits: LightLimits,
): LightStep['capHit'] {
  const side = missingEv > 0 ? 'lighter' : 'darker';
  const isHit =
    (blind !== null || Math.abs(missingEv) > STAYS_WITHIN_EV) && way(at, side, limits).length === 0;
  if (!isHit) return null;
  const size = blind === null ? `${formatEv(fromEv(Math.abs(missingEv)), false)} EV` : 'far';
  const stands = `${at.shutter.label} s at ISO ${at.iso.iso}`;
  return side === 'lighter'
    ? {
        side,
        sentence: `The base exposure is at its brightest limit, ${stands}, and the middle frame comes out ${size} too dark. Allow a higher ISO or a slower shutter; leaving out bright frames makes room for that.`,
      }
    : {
        side,
        sentence: `The base exposure is at its darkest limit, ${stands}, and the middle frame comes out ${size} too bright. Allow a faster shutter or a lower ISO, or put a filter on.`,
      };
}
