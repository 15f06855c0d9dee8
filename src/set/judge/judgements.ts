// Everything that is judged of a frame, as one table: when a rule can be asked, and what comes of it. A new
// judgement is one new entry here and its test. Pure: it takes what was read and returns sentences; it
// touches no file, body or journal.
import type { FrameView, FrameViewMark } from '../../../shared/state.js';
import {
  type BodyLimits,
  labelledShutters,
  type ShutterSetting,
  type Sixths,
  toEv,
} from '../../exposure/index.js';
import {
  differsFrom,
  isSameSize,
  judge,
  judgeMetered,
  type MeteredVerdict,
  type OddLight,
  type PixelSize,
  type RecordedExposure,
  type SizedFrame,
  type TakenAt,
} from '../../frames/index.js';
import type { FrameTimes } from '../../journal/index.js';
import {
  clippingMarks,
  doubtMark,
  leftOutWords,
  loneMark,
  movedMark,
  oddSizeMarks,
  orderMarks,
  otherPixelsWords,
  partnerMark,
  ratioMarks,
  type TakenBefore,
  timeMarks,
} from './marks.js';

// --- what is known

/** What all frames of a set were asked to be, and what the body can record. */
export interface AskedOfSet {
  readonly mode: 'manual' | 'aperture';
  /** EV between neighbouring frames. */
  readonly step: Sixths;
  /** Null if the body does not tell its aperture. */
  readonly fNumber: number | null;
  readonly iso: number | null;
  /** Tv in EV of the longest and the shortest time that the body has; null if that is not known. */
  readonly longestTv: number | null;
  readonly shortestTv: number | null;
}

/** What one frame was asked to be. */
export interface AskedOfFrame {
  readonly offset: Sixths;
  readonly shutter: ShutterSetting;
  /** In aperture priority: the compensation that was set for its pass. */
  readonly centre: Sixths;
}

/** A file as its records describe it. */
export interface ReadFile {
  readonly recorded: RecordedExposure | null;
  /** Why the file cannot be a frame at all, in one sentence; null if it can. */
  readonly broken: string | null;
}

/** The result of a look at the picture. */
export interface Looked {
  /** Why the file is cut short or cannot be decoded, in one sentence; null if it is neither. */
  readonly broken: string | null;
  /** Why the file could not be proved complete, in one sentence; null if it was. */
  readonly doubt: string | null;
  readonly clipped: FrameView['clipped'];
  readonly size: PixelSize | null;
}

/** The second file of a frame, as far as it was read and looked at. */
export interface SeenPartner extends ReadFile {
  /** Its extension, as its content shows it. */
  readonly kind: string | undefined;
  readonly looked: Looked | null;
  /** Size in pixels of the first file of that kind; null before there is one. */
  readonly sizeOfKind: PixelSize | null;
}

/** A file that may be a frame. */
export interface Candidate extends ReadFile {
  readonly asked: AskedOfFrame & AskedOfSet;
  /** In aperture priority: Tv in EV of the base, as the first frame showed it; null before there is one. */
  readonly baseTv: number | null;
}

/** All that is known of a file that is taken for a frame. */
export interface Seen extends Candidate {
  readonly place: number;
  /** How many frames the set has. */
  readonly frames: number;
  /** EV by which the base has moved since the first frame; null if it has not. */
  readonly baseMoved: number | null;
  /** By this computer's clock. */
  readonly times: Pick<FrameTimes, 'firedAt' | 'storedAt'>;
  /** Seconds by which the camera's clock is ahead; null if the camera tells no time. */
  readonly clockDifference: number | null;
  /** The file that came before it. */
  readonly before: TakenBefore | null;
  /**
   * Milliseconds by which the picture may have been taken before its release; null if nothing suggests that.
   */
  readonly perhapsEarlyMs: number | null;
  /** Null until the picture has been looked at. */
  readonly looked: Looked | null;
  /** Size in pixels of the first frame of the set; null before there is one. */
  readonly sizeOfSet: PixelSize | null;
  /** Its extension, as its content shows it. */
  readonly kind: string | undefined;
  /**
   * The other file that the body made of the frame; null if it has not come, undefined if the body makes only
   * one.
   */
  readonly partner: SeenPartner | null | undefined;
}

/** What is known once all frames of a set are there. */
export interface SeenSet {
  readonly comparison: OddLight;
  /** The darkest frame first. */
  readonly sizes: readonly SizedFrame[];
}

// --- the table

/**
 * `recorded`: as soon as the file's records are read, before the next release. `picture`: once the picture
 * has been looked at. `set`: at the end of the set, when all its neighbours are there.
 */
export type When = 'recorded' | 'picture' | 'set';

export type Judgement =
  | {
      readonly name: string;
      readonly when: 'recorded';
      readonly comes: 'reject';
      /** @returns why the file is not that frame, in one sentence; null if it may be */
      readonly judge: (file: Candidate) => string | null;
    }
  | {
      readonly name: string;
      readonly when: 'picture';
      readonly comes: 'reject';
      /** Whether a rejection also means that what the file records is not to be believed. */
      readonly forgets?: boolean;
      /** @returns why the file is not that frame, in one sentence; null if it may be */
      readonly judge: (seen: Seen) => string | null;
    }
  | {
      readonly name: string;
      readonly when: 'picture';
      /** The frame stands, but its second file is left out of it. */
      readonly comes: 'leave-out';
      /**
       * @returns why it is left out, in one sentence; null if it belongs to the frame, or if there is none
       */
      readonly judge: (seen: Seen) => string | null;
    }
  | {
      readonly name: string;
      readonly when: 'recorded' | 'picture';
      readonly comes: 'mark';
      readonly judge: (seen: Seen) => readonly FrameViewMark[];
    }
  | {
      readonly name: string;
      readonly when: 'set';
      readonly comes: 'mark';
      /** @returns marks by the numbers of their frames */
      readonly judge: (seen: SeenSet) => ReadonlyMap<number, readonly FrameViewMark[]>;
    };

export const JUDGEMENTS: readonly Judgement[] = [
  { name: 'exposure', when: 'recorded', comes: 'reject', judge: wrongExposure },
  {
    name: 'whole',
    when: 'picture',
    comes: 'reject',
    forgets: true,
    judge: ({ looked }) => looked?.broken ?? null,
  },
  { name: 'pixels', when: 'picture', comes: 'reject', judge: otherPixels },
  { name: 'partner', when: 'picture', comes: 'leave-out', judge: noPartner },
  { name: 'proved', when: 'picture', comes: 'mark', judge: unproved },
  { name: 'clipping', when: 'picture', comes: 'mark', judge: clipped },
  { name: 'base', when: 'recorded', comes: 'mark', judge: moved },
  { name: 'order', when: 'recorded', comes: 'mark', judge: outOfOrder },
  { name: 'time', when: 'recorded', comes: 'mark', judge: atOddTime },
  { name: 'doubtful time', when: 'recorded', comes: 'mark', judge: perhapsEarly },
  { name: 'lone file', when: 'picture', comes: 'mark', judge: lone },
  { name: 'odd partner', when: 'picture', comes: 'mark', judge: oddPartner },
  { name: 'file size', when: 'set', comes: 'mark', judge: ({ sizes }) => oddSizeMarks(sizes) },
  { name: 'light', when: 'set', comes: 'mark', judge: ({ comparison }) => listed(ratioMarks(comparison)) },
];

// --- asking the table

/**
 * @returns why, by the first rule on records that objects, the file is not that frame; null if no rule
 *   objects
 */
export function mismatch(
  { recorded, broken }: ReadFile,
  asked: AskedOfFrame & AskedOfSet,
  baseTv: number | null,
): string | null {
  for (const rule of JUDGEMENTS) {
    if (rule.when !== 'recorded' || rule.comes !== 'reject') continue;
    const reason = rule.judge({ recorded, broken, asked, baseTv });
    if (reason !== null) return reason;
  }
  return null;
}

export interface Rejection {
  readonly reason: string;
  readonly forgets: boolean;
}

/** @returns the rejection by the first rule on pictures that objects; null if none does */
export function rejected(seen: Seen): Rejection | null {
  for (const rule of JUDGEMENTS) {
    if (rule.when !== 'picture' || rule.comes !== 'reject') continue;
    const reason = rule.judge(seen);
    if (reason !== null) return { reason, forgets: rule.forgets ?? false };
  }
  return null;
}

/**
 * @returns why the second file is left out, by the first rule that objects; null if none does, or if there
 *   is no second file
 */
export function leftOut(seen: Seen): string | null {
  for (const rule of JUDGEMENTS) {
    if (rule.comes !== 'leave-out') continue;
    const reason = rule.judge(seen);
    if (reason !== null) return reason;
  }
  return null;
}

/**
 * @returns all marks that a frame gets from its own file and from the file before it, in the order of the
 *   table
 */
export const marksOf = (seen: Seen): FrameViewMark[] =>
  JUDGEMENTS.flatMap((rule) => (rule.when !== 'set' && rule.comes === 'mark' ? rule.judge(seen) : []));

/** @returns the marks that can only be found from the whole set, by the numbers of their frames */
export function marksOfSet(seen: SeenSet): ReadonlyMap<number, readonly FrameViewMark[]> {
  const marks = new Map<number, FrameViewMark[]>();
  for (const rule of JUDGEMENTS) {
    if (rule.when !== 'set') continue;
    for (const [number, found] of rule.judge(seen))
      marks.set(number, [...(marks.get(number) ?? []), ...found]);
  }
  return marks;
}

// --- the recorded exposure

/** In aperture priority a frame is recognised by its bias, or by its time relative to the base so far. */
export const meteredVerdict = (
  recorded: RecordedExposure,
  { centre, ...asked }: AskedOfFrame & AskedOfSet,
  baseTv: number | null,
): MeteredVerdict => judgeMetered(recorded, { ...asked, compensation: centre, baseTv });

function wrongExposure({ recorded, broken, asked, baseTv }: Candidate): string | null {
  if (recorded === null) return broken;
  const verdict = asked.mode === 'manual' ? judge(recorded, asked) : meteredVerdict(recorded, asked, baseTv);
  return verdict.right ? null : verdict.reasons.join(' ');
}

/**
 * In aperture priority the first frame shows what the base is.
 * @returns that base as Tv in EV, and by how many EV it has moved since (null if it has not); null in
 *   manual mode, or if the file is not that frame
 */
export function meteredBase(
  recorded: RecordedExposure | null,
  asked: AskedOfFrame & AskedOfSet,
  baseTv: number | null,
): { readonly baseTv: number; readonly moved: number | null } | null {
  if (asked.mode === 'manual' || recorded === null) return null;
  const verdict = meteredVerdict(recorded, asked, baseTv);
  return verdict.right ? { baseTv: baseTv ?? verdict.baseTv, moved: verdict.moved } : null;
}

/** @param openEnds ends of the list of times that need not be the body's own: a time there proves nothing */
export function endsOf(limits: BodyLimits): Pick<AskedOfSet, 'longestTv' | 'shortestTv'> {
  const { openEnds = [] } = limits;
  const times = labelledShutters(limits).map(({ tv }) => toEv(tv));
  return {
    longestTv: openEnds.includes('longest') ? null : Math.min(...times),
    shortestTv: openEnds.includes('shortest') ? null : Math.max(...times),
  };
}

// --- the picture

function otherPixels({ looked, sizeOfSet }: Seen): string | null {
  const size = looked?.size ?? null;
  if (size === null || sizeOfSet === null || isSameSize(size, sizeOfSet)) return null;
  return `The picture has ${size.width} x ${size.height} pixels, and the other frames have ${sizeOfSet.width} x ${sizeOfSet.height}: frames of two sizes cannot be merged. Set the camera's image size back.`;
}

function unproved({ looked }: Seen): FrameViewMark[] {
  const doubt = looked?.doubt ?? null;
  return doubt === null ? [] : [{ code: 'unproved', sentence: doubt }];
}

function clipped({ place, frames, looked }: Seen): FrameViewMark[] {
  return clippingMarks({ place, frames, clipped: looked?.clipped ?? null });
}

// --- the second file of a frame

/**
 * The frame's own file is accepted by now. A second file of another exposure, or one that is not whole, is
 * not its partner.
 */
function noPartner({ recorded, kind, partner }: Seen): string | null {
  if (!partner) return null;
  if (partner.recorded === null) return partner.broken ?? null;
  const isAlike = partner.kind === kind ? 'Both files of the frame are of the same kind.' : null;
  const differs = recorded === null ? null : differsFrom(recorded, partner.recorded);
  return partner.looked?.broken ?? isAlike ?? differs;
}

function lone(seen: Seen): FrameViewMark[] {
  const { kind, partner } = seen;
  if (partner === undefined) return [];
  const why = noPartner(seen);
  return partner === null || why !== null
    ? [loneMark({ kind, instead: why === null ? null : leftOutWords(partner?.kind, why) })]
    : [];
}

function oddPartner(seen: Seen): FrameViewMark[] {
  const { partner } = seen;
  if (!partner?.looked || noPartner(seen) !== null) return [];
  const { doubt, size } = partner.looked;
  const { sizeOfKind } = partner;
  const isOther = size !== null && sizeOfKind !== null && !isSameSize(size, sizeOfKind);
  return [
    ...(doubt === null ? [] : [partnerMark(partner, doubt)]),
    ...(isOther ? [partnerMark(partner, otherPixelsWords(size, sizeOfKind))] : []),
  ];
}

// --- marks by what is recorded

function moved({ baseMoved }: Seen): FrameViewMark[] {
  return baseMoved === null ? [] : [movedMark(baseMoved)];
}

const takenAtOf = ({ recorded }: Seen): TakenAt | null => recorded?.takenAt ?? null;

function outOfOrder(seen: Seen): FrameViewMark[] {
  const takenAt = takenAtOf(seen);
  return takenAt === null || seen.before === null ? [] : orderMarks(takenAt, seen.before);
}

function atOddTime(seen: Seen): FrameViewMark[] {
  const takenAt = takenAtOf(seen);
  return takenAt === null ? [] : timeMarks(takenAt, seen);
}

function perhapsEarly({ perhapsEarlyMs }: Seen): FrameViewMark[] {
  return perhapsEarlyMs === null ? [] : [doubtMark(perhapsEarlyMs)];
}

const listed = (marks: ReadonlyMap<number, FrameViewMark>): ReadonlyMap<number, readonly FrameViewMark[]> =>
  new Map([...marks].map(([number, mark]) => [number, [mark]]));
