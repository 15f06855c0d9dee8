// The values of a profile, laid over those of the wire. If the two contradict each other, the wire is right,
// and the contradiction is reported. Pure.
import type { BodyProfile } from '../../shared/profile.js';
import { type BodyLimits, type BracketShape, bulbSettings } from '../exposure/index.js';
import type { Dialect } from './dialects/index.js';
import type { ApartLimits, Settings } from './link.js';

export interface Profiled {
  readonly limits: BodyLimits;
  /** One sentence for each thing in the profile that does not go with the body. */
  readonly contradictions: readonly string[];
}

/**
 * @param limits as the dialect reads them off the wire
 * @param tellsCounts whether the wire tells how many frames a bracket has; if not, the profile's value
 *   counts
 */
export function withProfile(limits: BodyLimits, profile: BodyProfile, tellsCounts: boolean): Profiled {
  const { timing, patterns } = profile;
  const timed: BodyLimits = timing === undefined ? limits : { ...limits, ...timing };
  if (patterns === undefined || patterns.length === 0) return { limits: timed, contradictions: [] };
  if (limits.brackets.length === 0) {
    return {
      limits: timed,
      contradictions: ['The profile has an auto-bracket that this camera does not offer.'],
    };
  }
  if (!tellsCounts) {
    // Nothing over the wire chooses between counts.
    const [pattern = [], ...more] = patterns;
    const steps = [...new Set(limits.brackets.map(({ step }) => step))];
    const contradictions =
      more.length === 0
        ? []
        : ['The profile has several brackets, but this camera has one: the first counts.'];
    return { limits: { ...timed, brackets: steps.map((step) => ({ step, pattern })) }, contradictions };
  }
  const ordered = new Map(patterns.map((pattern) => [framesOf(pattern), pattern]));
  const offered = new Set(limits.brackets.map(({ pattern }) => framesOf(pattern)));
  const contradictions = patterns
    .filter((pattern) => !offered.has(framesOf(pattern)))
    .map(
      (pattern) =>
        `The profile has a bracket of ${pattern.length} frames (${pattern.join(', ')}) that this camera does not offer.`,
    );
  const brackets = limits.brackets.map(
    (shape): BracketShape => ({ ...shape, pattern: ordered.get(framesOf(shape.pattern)) ?? shape.pattern }),
  );
  return { limits: { ...timed, brackets }, contradictions };
}

/** For values that nobody has learnt yet: common practice, no source. */
const USUAL_APART = { secondsBeforeExposure: 0.1, secondsAfterExposure: 0.2, mostInOneGo: null };
/** Bytes of the files of one frame, until somebody has measured. */
const USUAL_BYTES = 25_000_000;

/**
 * What a body can do over a link that takes release and fetch apart: as it was learnt, otherwise as the body
 * offers it.
 */
export function withApart({
  limits,
  known,
  dialect,
  settings,
  link,
}: {
  readonly limits: BodyLimits;
  readonly known: BodyProfile | null;
  readonly dialect: Dialect;
  readonly settings: Settings;
  readonly link: ApartLimits | null;
}): { readonly limits: BodyLimits; readonly link: ApartLimits } | null {
  if (link === null) return null;
  const learnt = known?.direct;
  const { oneRelease } = dialect;
  const whole = limits.brackets
    .filter((shape) => learnt?.oneRelease !== false && oneRelease?.fires(settings, shape) === true)
    .map((shape) => ({ ...shape, isOneRelease: true }));
  const timing = learnt?.timing ?? { ...USUAL_APART, secondsPerTransfer: USUAL_BYTES / link.bytesPerSecond };
  const pieceBytes = learnt?.pieceBytes ?? link.pieceBytes;
  const secondsPerPiece = link.headBytes === 0 ? null : pieceSeconds(timing, pieceBytes, link);
  const apart = { ...timing, secondsPerPiece, mostInOneGo: learnt?.mostInOneGo ?? null };
  const bulb = dialect.bulb?.(settings);
  const longer = bulb ? bulbSettings(limits.shutters, bulb.label, limits.longestSeconds) : [];
  const shutters = [...longer, ...limits.shutters];
  return {
    limits: { ...limits, shutters, brackets: [...limits.brackets, ...whole], apart },
    link: { ...link, pieceBytes },
  };
}

/** As it was learnt; otherwise as the link assumes, but never longer than all the files of a frame. */
const pieceSeconds = (
  timing: { readonly secondsPerTransfer: number; readonly secondsPerPiece?: number | undefined },
  pieceBytes: number,
  { bytesPerSecond }: ApartLimits,
): number => timing.secondsPerPiece ?? Math.min(timing.secondsPerTransfer, pieceBytes / bytesPerSecond);

/** Which frames a pattern has, whatever their order. */
const framesOf = (pattern: readonly number[]): string => [...pattern].sort((a, b) => a - b).join();
