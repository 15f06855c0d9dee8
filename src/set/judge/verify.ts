// A file that was taken for a frame is looked at: whether it is whole, and how many pixels it has. Then
// either the frame is verified and the file gets its name, or the frame is rejected and the file is set
// aside. Files come from a release, or were found after a restart. If a frame has two files, its own file
// decides; a partner that fails is set aside, and the frame is marked.
import path from 'node:path';
import { asEvenrungError } from '../../../shared/errors.js';
import type { FrameView, Partner } from '../../../shared/state.js';
import {
  type Checksum,
  checksumOf,
  mustBeWhole,
  NothingDecoded,
  namesOf,
  type Picture,
  readPicture,
  readPixelSize,
  shownFirst,
} from '../../frames/index.js';
import type { FrameFile } from '../../journal/index.js';
import { firedAgain } from '../again/taken-up.js';
import { type Arrival, type ArrivedFile, putAside } from '../assign/arrival.js';
import type { InHand } from '../in-hand.js';
import { seen as recordedOf, type SetFrame } from '../set-frame.js';
import type { Common } from './common.js';
import { type Looked, leftOut, marksOf, rejected, type Seen, type SeenPartner } from './judgements.js';
import type { TakenBefore } from './marks.js';

/** What is known of a file apart from its content. */
export interface Accepted {
  readonly baseMoved: number | null;
  /** The file that came before it. */
  readonly before: TakenBefore | null;
  readonly perhapsEarlyMs: number | null;
}

/**
 * The result of a look, with the picture; of two files, the picture is that of the file which decodes sooner.
 */
export interface LookedAt extends Looked {
  readonly picture: Picture | null;
  /** Whether its picture could not be looked at, through no fault of its own. */
  readonly isUnseen: boolean;
  /** Of the frame's own file; null if the file cannot be read. */
  readonly checksum: Checksum | null;
  /** The result for the other file; null if there is none. */
  readonly partner: Looked | null;
}

type File = Pick<ArrivedFile, 'path' | 'kind' | 'saidBytes'>;

/** Looks at the files of a frame. Takes long; never rejects. */
export async function lookAt({
  partner,
  ...own
}: File & { readonly partner: File | null }): Promise<LookedAt> {
  const files = partner === null ? [own] : [own, partner];
  const summing = checksumOf(own.path).catch(() => null);
  const looks = new Map<File, Looked>();
  for (const file of files) looks.set(file, await lookAtFile(file));
  let picture: Picture | null = null;
  let isUnseen = false;
  for (const file of shownFirst(files)) {
    if (looks.get(file)?.broken !== null) continue;
    try {
      picture = await readPicture(file.path, file.kind ?? 'unknown');
    } catch (cause) {
      if (cause instanceof NothingDecoded) isUnseen = true;
      else looks.set(file, notWhole(cause));
    }
    if (picture !== null) break;
  }
  const clipped = picture?.clipped ?? null;
  const lookOf = (file: File): Looked => looks.get(file) ?? notWhole(new Error('It was not checked.'));
  const ofOwn = lookOf(own);
  return {
    ...ofOwn,
    ...(ofOwn.broken === null ? { clipped, picture } : { picture: null }),
    isUnseen: isUnseen && picture === null,
    checksum: await summing,
    partner: partner === null ? null : lookOf(partner),
  };
}

async function lookAtFile({ path: file, kind = 'unknown', saidBytes }: File): Promise<Looked> {
  try {
    const doubt = await mustBeWhole(file, { saidBytes });
    return { broken: null, doubt, clipped: null, size: await readPixelSize(file, kind) };
  } catch (cause) {
    return notWhole(cause);
  }
}

const notWhole = (cause: unknown): Looked => ({
  ...{ broken: asEvenrungError(cause).message, doubt: null, clipped: null, size: null },
});

/**
 * Verifies or rejects a frame that is stored.
 * @throws EvenrungError storing-failed
 */
export async function verify(
  arrival: Arrival,
  frame: SetFrame,
  accepted: Accepted,
  looked: LookedAt,
  hand: InHand,
): Promise<void> {
  const { book, folder, labels, redo, common } = hand;
  const { number } = frame.view;
  if (arrival.partner !== null) common.seePairs();
  common.measure(looked.size, arrival.kind);
  common.measure(looked.partner?.size ?? null, arrival.partner?.kind);
  const seen = seenOf(arrival, frame, accepted, looked, hand);
  const against = rejected(seen);
  if (against !== null) {
    const { reason, forgets } = against;
    book.change(frame, 'rejected', { reason, ...(forgets ? { recorded: null } : {}) });
    await putAside(arrival, { reason, frame: number }, hand);
    return;
  }
  const partner = await partnerToKeep(arrival, frame, seen, hand);
  const { checksum } = looked;
  const kind = arrival.kind ?? 'unknown';
  // The template and set name that file names are made from are kept before the first frame is named.
  if (!labels.isNamedKept) hand.remember();
  labels.namedKept();
  const stem = labels.stemOf(frame, hand.run, hand.startedAt);
  const kept = await keep({ path: arrival.path, kind }, partner, stem, hand);
  show(frame, looked.picture);
  if (looked.isUnseen) book.note(UNSEEN);
  const { clipped } = looked;
  const more: Partial<FrameView> = {
    ...{ file: kept.file, clipped, baseMoved: accepted.baseMoved, marks: marksOf(seen) },
    ...(common.pairs ? { partner: kept.partner ?? { state: 'missing', beside: arrival.cameraName } } : {}),
  };
  const earlier = redo.earlierOf(frame.view)?.view ?? null;
  const sum = checksum ?? NO_CHECKSUM;
  if (earlier === null || earlier.file === null) book.change(frame, 'verified', more, sum);
  else
    await replace(earlier, frame, more, sum, hand).catch(async (cause: unknown) => {
      // The frame stays as it was. If the end of the set could not be journalled, whoever resumes the set
      // finds the new file there.
      const reason = asEvenrungError(cause).message;
      for (const name of namesOf(more as Pick<FrameView, 'file' | 'partner'>)) {
        const arrived = { path: path.join(folder.path, name), kind: path.extname(name).slice(1) };
        await putAside(arrived, { reason, frame: number }, hand);
      }
      throw cause;
    });
  redo.made();
  hand.light?.look(frame);
}

const UNSEEN =
  'The pictures of this set could not be opened, because the process that decodes them keeps failing. Their frames are verified by what the files record; whether they are clipped is not known.';

/** The checksum of a file that could not be read. */
export const NO_CHECKSUM: FrameFile = { sha256: null, bytes: null };

/** A second file that stays with its frame. */
interface Kept {
  readonly path: string;
  readonly kind: string;
  readonly recorded: ArrivedFile['recorded'];
}

/** @returns the second file, if it belongs to the frame; otherwise it is set aside. Null if there is none */
async function partnerToKeep(
  { partner }: Arrival,
  { view: { number } }: SetFrame,
  seen: Seen,
  hand: InHand,
): Promise<Kept | null> {
  if (partner === null) return null;
  const reason = leftOut(seen);
  if (reason === null) return { ...partner, kind: partner.kind ?? 'unknown' };
  await putAside(partner, { reason, frame: number }, hand);
  return null;
}

/** Gives the files of a frame their names: both have the same one, with different extensions. */
async function keep(
  own: { readonly path: string; readonly kind: string },
  partner: Kept | null,
  stem: string,
  { folder }: InHand,
): Promise<{ readonly file: string; readonly partner: Partner | null }> {
  if (partner === null) return { file: await folder.keep(own.path, stem, own.kind), partner };
  const checksum = await folder.checksumOf(path.relative(folder.path, partner.path));
  const [file, other] = await folder.keepBoth([own, partner], stem);
  return { file, partner: partnerThere(other, checksum, recordedOf(partner.recorded).recorded) };
}

export const partnerThere = (
  file: string,
  checksum: Checksum | null,
  recorded: FrameView['recorded'],
): Partner => ({
  ...{ state: 'there', file, sha256: checksum?.sha256 ?? null, bytes: checksum?.bytes ?? null },
  recorded,
});

/** Keeps the small copy and the light of a frame for the end of the set. */
export function show(frame: SetFrame, picture: Picture | null): void {
  frame.thumbnail = picture?.thumbnail ?? null;
  frame.light = picture?.light ?? null;
  frame.looked = true;
}

function seenOf(
  { recorded, broken, kind, partner }: Arrival,
  frame: SetFrame,
  accepted: Accepted,
  looked: LookedAt,
  hand: InHand,
): Seen {
  const { common } = hand;
  const { meteredTv: baseTv, clockDifference } = common;
  return {
    ...{ place: hand.placeOf(frame), frames: hand.frames.length, recorded, broken, kind },
    ...{ asked: hand.askedOf(frame), baseTv, times: frame.times, clockDifference },
    ...{ ...accepted, looked, sizeOfSet: common.sizeOf(kind) },
    partner: common.pairs ? seenPartner(partner, looked.partner, common) : undefined,
  };
}

const seenPartner = (
  partner: ArrivedFile | null,
  looked: Looked | null,
  common: Common,
): SeenPartner | null =>
  partner === null ? null : { ...partner, looked, sizeOfKind: common.sizeOf(partner.kind) };

/**
 * The earlier files stay in place until the record lists the new ones, so that the record is right at every
 * moment.
 */
async function replace(
  earlier: FrameView,
  frame: SetFrame,
  more: Partial<FrameView>,
  checksum: FrameFile,
  hand: InHand,
): Promise<void> {
  const { folder, book, redo } = hand;
  const { number } = frame.view;
  const names = await folder.nameAside(namesOf(earlier), number);
  const reason = firedAgain(new Date());
  const takenUp = redo.with(number, names);
  book.replaced(
    frame,
    more,
    checksum,
    names.map((file) => ({ file, reason })),
    hand.memo(takenUp),
  );
  redo.replaced(takenUp);
}
