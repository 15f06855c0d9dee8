// A file that was taken for a frame is looked at: whether it is whole, and how many pixels it has. Then the frame is verified and the file has
// its name, or it is rejected and the file is set aside. Files come from a release, or were found after a restart.
import path from 'node:path';
import { asEvenrungError } from '../../shared/errors.js';
import type { FrameView } from '../../shared/state.js';
import { mustBeWhole, type Picture, readPicture, readPixelSize } from '../frames/index.js';
import type { FrameFile } from '../journal/index.js';
import { type Arrival, putAside } from './arrival.js';
import type { InHand } from './in-hand.js';
import { type Looked, marksOf, rejected, type Seen } from './judgements.js';
import type { TakenBefore } from './marks.js';
import type { SetFrame } from './set-frame.js';
import { firedAgain } from './taken-up.js';

/** What is known of a file beside what is in it. */
export interface Accepted {
  readonly baseMoved: number | null;
  /** The file that came before it. */
  readonly before: TakenBefore | null;
  readonly perhapsEarlyMs: number | null;
}

/** A look at a picture, with the picture. */
export interface LookedAt extends Looked {
  readonly picture: Picture | null;
}

/** Takes long; never rejects. */
export async function lookAt(arrival: Pick<Arrival, 'path' | 'kind' | 'saidBytes'>): Promise<LookedAt> {
  const { path: file, kind = 'unknown', saidBytes } = arrival;
  try {
    const doubt = await mustBeWhole(file, { saidBytes });
    const picture = await readPicture(file, kind);
    const size = await readPixelSize(file, kind);
    return { broken: null, doubt, clipped: picture?.clipped ?? null, size, picture };
  } catch (cause) {
    return { broken: asEvenrungError(cause).message, doubt: null, clipped: null, size: null, picture: null };
  }
}

/** The frame is stored; now it is verified or rejected. @throws EvenrungError storing-failed */
export async function verify(
  arrival: Arrival,
  frame: SetFrame,
  accepted: Accepted,
  looked: LookedAt,
  hand: InHand,
): Promise<void> {
  const { book, folder, labels, redo, common } = hand;
  const { number } = frame.view;
  common.measure(looked.broken === null ? looked.size : null);
  const seen = seenOf(arrival, frame, accepted, looked, hand);
  const against = rejected(seen);
  if (against !== null) {
    const { reason, forgets } = against;
    book.change(frame, 'rejected', { reason, ...(forgets ? { recorded: null } : {}) });
    await putAside(arrival, { reason, frame: number }, hand);
    return;
  }
  const checksum = await folder.checksumOf(path.relative(folder.path, arrival.path));
  const kind = arrival.kind ?? 'unknown';
  // What its name goes by is kept before the first frame has one.
  if (!labels.isNamedKept) hand.remember();
  labels.namedKept();
  const file = await folder.keep(arrival.path, labels.stemOf(frame, hand.run, hand.startedAt), kind);
  show(frame, looked.picture);
  frame.checksum = checksum;
  const { clipped } = looked;
  const more = { file, clipped, baseMoved: accepted.baseMoved, marks: marksOf(seen) };
  const earlier = redo.earlierOf(frame.view)?.view.file ?? null;
  if (earlier === null) book.change(frame, 'verified', more, checksum ?? {});
  else
    await replace(earlier, frame, more, checksum ?? {}, hand).catch(async (cause: unknown) => {
      // The frame stays what it was. Whoever goes on with a set whose end could not be kept finds the new file there.
      const arrived = { path: path.join(folder.path, file), kind };
      await putAside(arrived, { reason: asEvenrungError(cause).message, frame: number }, hand);
      throw cause;
    });
  redo.made();
}

/** The small copy and the light of a frame, for the end of the set. */
export function show(frame: SetFrame, picture: Picture | null): void {
  frame.thumbnail = picture?.thumbnail ?? null;
  frame.light = picture?.light ?? null;
  frame.looked = true;
}

function seenOf(
  { recorded, broken }: Arrival,
  frame: SetFrame,
  accepted: Accepted,
  looked: Looked,
  hand: InHand,
): Seen {
  const { meteredTv: baseTv, size: sizeOfSet, clockDifference } = hand.common;
  return {
    ...{ number: frame.view.number, frames: hand.frames.length, recorded, broken },
    ...{ asked: hand.askedOf(frame), baseTv, times: frame.times, clockDifference },
    ...{ ...accepted, looked, sizeOfSet },
  };
}

/** The earlier file stays where it is until the record tells of the new one: the record is right at any moment. */
async function replace(
  earlier: string,
  frame: SetFrame,
  more: Partial<FrameView>,
  checksum: FrameFile,
  hand: InHand,
): Promise<void> {
  const { folder, book, redo } = hand;
  const { number } = frame.view;
  const aside = { file: await folder.nameAside(earlier, number), reason: firedAgain(new Date()) };
  const takenUp = redo.with(number, aside.file);
  book.replaced(frame, more, checksum, aside, hand.memo(takenUp));
  redo.replaced(takenUp);
}
