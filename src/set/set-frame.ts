// One frame of a set while its run lasts, as it was planned and as it is now; and the words for it.
import { EvenrungError } from '../../shared/errors.js';
import type { SetRecord } from '../../shared/set-record.js';
import type { FrameState, FrameView } from '../../shared/state.js';
import { evInWords, fromEv, type ShutterSetting, type Sixths, toEv } from '../exposure/index.js';
import type { Checksum, LightGrid, RecordedExposure } from '../frames/index.js';
import type { FrameTimes } from '../journal/index.js';
import type { Pass, Plan, PlannedFrame } from '../plan/index.js';

/** The facts by which a file finds its partner. */
export interface Telling {
  /** Its extension by content; undefined if it is nothing that a camera writes. */
  readonly kind: string | undefined;
  /** Its name in the camera; null if nobody knows it. */
  readonly cameraName: string | null;
  readonly recorded: RecordedExposure | null;
}

export interface SetFrame {
  view: FrameView;
  pass: Pass;
  /** The frame of the plan that it is. */
  planned: PlannedFrame;
  readonly shutter: ShutterSetting;
  thumbnail: Buffer | null;
  /** How often it had been fired before the set was taken up again. */
  firedBefore: number;
  /** Of its file, once it is verified. */
  checksum: Checksum | null;
  times: FrameTimes;
  /**
   * Its light, for comparison with the neighbouring frames; null until its picture has been looked at, or if
   * it has none.
   */
  light: LightGrid | null;
  /** Whether its picture was looked at since the program began. */
  looked: boolean;
  /** What its file tells, for a partner that comes later; null if the file came before a restart. */
  came: Telling | null;
}

export const NO_TIMES: FrameTimes = { firedAt: null, storedAt: null, verifiedAt: null };

/** The view of a frame that is still to be made. */
export const UNMADE = {
  ...{ recorded: null, clipped: null, file: null, partner: undefined },
  ...{ reason: null, baseMoved: null, marks: [] as FrameView['marks'] },
} satisfies Partial<FrameView>;

/** The frames that a set has already: they keep their numbers. */
export interface Numbered {
  readonly frames: readonly Pick<FrameView, 'number' | 'offset'>[];
  /** Releases of frames that have left the set may have had numbers, too. */
  readonly strays: readonly { readonly frame: number }[];
}

/**
 * @param known the frames that there are already; none if it is left out
 * @returns the frames that somebody asked for, the darkest first. A new set is numbered from dark to light.
 *   Frames that are added later count on, from the set outwards, first at the darker end: names of existing
 *   files never change
 */
export function framesOf(plan: Plan, known: Numbered = { frames: [], strays: [] }): SetFrame[] {
  const numbers = numbersFor(plan.offsets, known);
  return plan.passes
    .flatMap((pass, index) =>
      pass.frames
        .filter((planned) => planned.wanted)
        .map((planned) => ({ pass, number: index + 1, planned })),
    )
    .sort((a, b) => a.planned.offset - b.planned.offset)
    .map(({ pass, number, planned }) => ({
      pass,
      planned,
      shutter: planned.shutter,
      thumbnail: null,
      firedBefore: 0,
      checksum: null,
      times: NO_TIMES,
      light: null,
      looked: false,
      came: null,
      view: {
        number: numbers.get(planned.offset) ?? 0,
        pass: number,
        offset: toEv(planned.offset),
        exposureTime: planned.shutter.seconds,
        shutter: planned.shutter.label,
        state: 'planned',
        attempts: 0,
        ...UNMADE,
      },
    }));
}

function numbersFor(offsets: readonly Sixths[], { frames, strays }: Numbered): Map<Sixths, number> {
  const numbers = new Map(frames.map(({ offset, number }) => [fromEv(offset), number]));
  const darkest = Math.min(...numbers.keys());
  const added = offsets.filter((offset) => !numbers.has(offset)).sort((a, b) => a - b);
  const darker = frames.length === 0 ? [] : added.filter((offset) => offset < darkest).reverse();
  const last = Math.max(0, ...numbers.values(), ...strays.map(({ frame }) => frame));
  for (const [index, offset] of [...darker, ...added.filter((one) => !darker.includes(one))].entries())
    numbers.set(offset, last + index + 1);
  return numbers;
}

export const isVerified = ({ view }: Pick<SetFrame, 'view'>): boolean => view.state === 'verified';

/** Whether a frame is still to be made; a frame whose picture is being looked at is not. */
export const isOpenState = (state: FrameState): boolean => state !== 'verified' && state !== 'stored';

export const isOpen = ({ view }: SetFrame): boolean => isOpenState(view.state);

export const timesOf = ({ firedAt, storedAt, verifiedAt }: FrameTimes): FrameTimes => ({
  firedAt,
  storedAt,
  verifiedAt,
});

/** @returns the times of a frame that has just come from one state into another */
export function timesAfter(times: FrameTimes, before: FrameState, state: FrameState): FrameTimes {
  const now = new Date().toISOString();
  if (state === 'fired') return { ...NO_TIMES, firedAt: now };
  if (state === 'stored') return { ...times, storedAt: now, verifiedAt: null };
  return state === 'verified' && before !== 'verified' ? { ...times, verifiedAt: now } : times;
}

/** @returns the small copies of the frames that have one, by their numbers */
export const thumbnailsOf = (
  frames: readonly Pick<SetFrame, 'view' | 'thumbnail'>[],
): ReadonlyMap<number, Buffer> =>
  new Map(frames.flatMap(({ view, thumbnail }) => (thumbnail === null ? [] : [[view.number, thumbnail]])));

export const firedLater = (one: SetFrame, other: SetFrame | null): boolean =>
  other === null || (one.times.firedAt ?? '') > (other.times.firedAt ?? '');

/** The part of a file's records that proves it to be its frame, and no more. */
export function seen(recorded: RecordedExposure | null): Pick<FrameView, 'recorded'> {
  if (recorded === null) return { recorded: null };
  const { exposureTime, fNumber, iso, bias } = recorded;
  return { recorded: { exposureTime, fNumber, iso, bias } };
}

export const nameOf = ({ number, offset, shutter }: FrameView): string =>
  `Frame ${number} (${evInWords(fromEv(offset))} EV, ${shutter} s)`;

/** The same failure, with the frame during which it occurred. */
export function ofFrame(
  frame: FrameView | undefined,
  { code, message, details }: EvenrungError,
): EvenrungError {
  if (frame === undefined) return new EvenrungError(code, message, details);
  return new EvenrungError(code, `${nameOf(frame)}: ${message}`, { ...details, frame: frame.number });
}

/** The reason that is given if nobody knows what a release has brought. */
export const ENDED_MEANWHILE = 'Evenrung ended while the frame was being taken.';

/** A release whose file has not come. */
export const stray = (
  { number, offset, shutter }: FrameView,
  releasedAt: Date,
  reason: string,
): SetRecord['strays'][number] => ({
  frame: number,
  offset,
  shutter,
  releasedAt: releasedAt.toISOString(),
  reason,
});
