// The second file of a frame, if it comes by itself after its frame. It is recognised before the file is
// assigned, and joins its frame. If it is the raw file, it becomes the frame's own, and the file that came
// first becomes the partner. Also: frames of which one of the two files never came.
import path from 'node:path';
import type { FrameView, FrameViewMark } from '../../../shared/state.js';
import { ownFirst, readRecorded } from '../../frames/index.js';
import type { InHand } from '../in-hand.js';
import { leftOut, marksOf, rejected, type Seen, type SeenPartner } from '../judge/judgements.js';
import type { Looks } from '../judge/looks.js';
import { goneWords, leftOutWords, loneMark } from '../judge/marks.js';
import { type LookedAt, lookAt, NO_CHECKSUM, partnerThere, show } from '../judge/verify.js';
import { firedLater, isOpen, isVerified, type SetFrame, seen, type Telling } from '../set-frame.js';
import { type Arrival, filesOf, isPartnerOf, pairUp, putAside, type Relation } from './arrival.js';

// --- what is missing

/**
 * Marks frames of which one of two files never came. Called once the set is made: by then, even a body that
 * does not tell how many files it makes has shown it.
 */
export function markLone({ book, common, frames }: InHand): void {
  if (!common.pairs) return;
  for (const frame of frames) {
    const { file, partner, marks } = frame.view;
    if (!isVerified(frame) || file === null || partner !== undefined) continue;
    const beside = frame.came?.cameraName ?? null;
    const mark = loneMark({ kind: kindOf(file), instead: null });
    book.change(frame, 'verified', { partner: { state: 'missing', beside }, marks: [...marks, mark] });
  }
}

/**
 * Checks that a frame still has its second file. A frame that has lost it is still a frame.
 * @param when as in `after a restart`; null if it need not be said
 */
export async function checkPartner(
  frame: SetFrame,
  when: string | null,
  { book, folder }: InHand,
): Promise<void> {
  const { file, partner, marks } = frame.view;
  if (file === null || partner?.state !== 'there') return;
  const now = await folder.checksumOf(partner.file);
  if (now !== null && (partner.sha256 === null || now.sha256 === partner.sha256)) return;
  const what = now === null ? 'was gone' : 'had changed';
  const how = when === null ? what : `${what} ${when}`;
  const mark = loneMark({ kind: kindOf(file), instead: goneWords(kindOf(partner.file), how) });
  const found = replaced(marks, OF_PARTNER, [mark]);
  book.change(frame, 'verified', { partner: { state: 'missing', beside: null }, marks: found });
}

// --- what comes late

/** A second file, and the frame whose first file came before it. */
export interface Late {
  readonly arrival: Arrival;
  readonly frame: SetFrame;
}

/**
 * Puts files of one exposure together, and separates those that belong to a frame which came before.
 * @param came in the order in which the files came
 */
export async function sortOut(
  came: readonly Arrival[],
  hand: InHand,
): Promise<{ readonly arrivals: readonly Arrival[]; readonly late: readonly Late[] }> {
  let arrivals: readonly Arrival[] = came;
  const late: Late[] = [];
  for (const how of ['sure', 'named'] as const) {
    const others: Arrival[] = [];
    for (const arrival of pairUp(arrivals, how)) {
      const frame = await frameOfLate(arrival, how, hand);
      if (frame === null) others.push(arrival);
      else late.push({ arrival, frame });
    }
    arrivals = others;
  }
  return { arrivals, late };
}

/**
 * As sortOut; also begins to look at the late files.
 * @returns the other arrivals
 */
export async function takeLate(
  came: readonly Arrival[],
  hand: InHand,
  looks: Pick<Looks, 'begin'>,
): Promise<readonly Arrival[]> {
  const { arrivals, late } = await sortOut(came, hand);
  // The first file of the frame is looked at before the late one.
  for (const { arrival, frame } of late)
    looks.begin(
      () => lookAtWhole(arrival),
      async (looked) => {
        if (looked === null) return;
        for (const file of filesOf(arrival)) hand.book.fetched(path.basename(file.path));
        await join(arrival, frame, looked, hand);
      },
    );
  return arrivals;
}

/** @returns null if the rest of the file does not come: it can be fetched later */
async function lookAtWhole(arrival: Arrival): Promise<LookedAt | null> {
  const isHere = await (arrival.rest ?? Promise.resolve()).then(
    () => true,
    () => false,
  );
  return isHere ? lookAt(arrival) : null;
}

/** @returns the frame whose second file it is, whatever happened to the first; null if it belongs to none */
async function frameOfLate(arrival: Arrival, how: Relation, hand: InHand): Promise<SetFrame | null> {
  if (arrival.partner !== null || arrival.kind === undefined) return null;
  let found: SetFrame | null = null;
  for (const frame of hand.frames) {
    const { partner } = frame.view;
    const came = partner?.state === 'there' ? null : await cameOf(frame, arrival.kind, hand);
    if (came === null || !isPartnerOf(arrival, came, how)) continue;
    // A rejected frame is recognised by the file's name alone: the same exposure may have been made again
    // since.
    if (isOpen(frame) && !isPartnerOf(arrival, came, 'named')) continue;
    if (firedLater(frame, found)) found = frame;
  }
  return found;
}

/** @returns what a frame's own file tells; null if the frame has no file, or has one of that kind */
async function cameOf(frame: SetFrame, kind: string, hand: InHand): Promise<Telling | null> {
  const { file, partner } = frame.view;
  if (frame.came === null && isVerified(frame) && file !== null && kindOf(file) !== kind) {
    const recorded = await readRecorded(hand.pathOf(frame)).catch(() => null);
    const cameraName = partner?.state === 'missing' ? partner.beside : null;
    frame.came = { kind: kindOf(file), cameraName, recorded };
  }
  return frame.came;
}

/**
 * Adds a late second file to its frame.
 * @throws EvenrungError storing-failed
 */
export async function join(arrival: Arrival, frame: SetFrame, looked: LookedAt, hand: InHand): Promise<void> {
  const { number, file, partner } = frame.view;
  const { came } = frame;
  if (!isVerified(frame) || file === null || partner?.state === 'there' || came === null) {
    const reason = `The other file of frame ${number}, from an earlier shot of it that is no longer in the set.`;
    await putAside(arrival, { reason, frame: number }, hand);
    return;
  }
  hand.common.seePairs();
  const [own] = ownFirst<{ readonly kind: string | undefined }>(came, arrival);
  if (own === arrival) await becomeOwn(arrival, frame, { came, file }, looked, hand);
  else await becomePartner(arrival, frame, { came, file }, looked, hand);
}

interface First {
  readonly came: Telling;
  /** Its name in the set folder. */
  readonly file: string;
}

/** The late file is the one to be shown on screens. */
async function becomePartner(
  arrival: Arrival,
  frame: SetFrame,
  { came, file }: First,
  looked: LookedAt,
  hand: InHand,
): Promise<void> {
  const { book, folder } = hand;
  const { kind = 'unknown' } = arrival;
  hand.common.measure(looked.size, kind);
  const partner = { ...arrival, looked, sizeOfKind: hand.common.sizeOf(kind) };
  const found = seenLate(frame, came, fine(frame), partner, hand);
  const against = leftOut(found);
  if (against !== null) {
    await putAside(arrival, { reason: against, frame: frame.view.number }, hand);
    const marks = replaced(frame.view.marks, OF_PARTNER, marksOf(found));
    book.change(frame, 'verified', { partner: { state: 'missing', beside: came.cameraName }, marks });
    return;
  }
  const checksum = await folder.checksumOf(path.relative(folder.path, arrival.path));
  const name = await folder.keep(arrival.path, path.parse(file).name, kind);
  const { picture } = looked;
  if (picture !== null) show(frame, picture);
  const clipped = picture?.clipped ?? frame.view.clipped;
  const more = { partner: partnerThere(name, checksum, seen(arrival.recorded).recorded), clipped };
  const codes = new Set([...OF_PARTNER, ...OF_CLIPPING]);
  const marks = marksOf({ ...found, looked: { ...fine(frame), clipped } });
  book.change(frame, 'verified', { ...more, marks: replaced(frame.view.marks, codes, marks) });
}

/** The late file is the one to be merged. */
async function becomeOwn(
  arrival: Arrival,
  frame: SetFrame,
  { came, file }: First,
  looked: LookedAt,
  hand: InHand,
): Promise<void> {
  const { book, folder } = hand;
  const { number, marks, recorded } = frame.view;
  const { kind = 'unknown' } = arrival;
  hand.common.measure(looked.size, kind);
  const doubt = marks.find(({ code }) => code === 'unproved')?.sentence ?? null;
  const partner = { ...came, broken: null, looked: { ...fine(frame), doubt }, sizeOfKind: null };
  const found = seenLate(frame, arrival, looked, partner, hand);
  const against = hand.mismatch(arrival, frame) ?? rejected(found)?.reason ?? leftOut(found);
  if (against !== null) {
    await putAside(arrival, { reason: against, frame: number }, hand);
    const instead = leftOutWords(kind, against);
    const more = replaced(marks, OF_PARTNER, [loneMark({ kind: came.kind, instead })]);
    book.change(frame, 'verified', { partner: { state: 'missing', beside: came.cameraName }, marks: more });
    return;
  }
  const checksum = await folder.checksumOf(path.relative(folder.path, arrival.path));
  const name = await folder.keep(arrival.path, path.parse(file).name, kind);
  const more: Partial<FrameView> = {
    ...{ file: name, ...seen(arrival.recorded) },
    partner: partnerThere(file, frame.checksum, recorded),
    marks: replaced(marks, new Set([...OF_PARTNER, 'unproved']), marksOf(found)),
  };
  frame.came = arrival;
  book.change(frame, 'verified', more, checksum ?? NO_CHECKSUM);
}

// --- judging the late file

const OF_PARTNER: ReadonlySet<FrameViewMark['code']> = new Set(['partner-missing', 'partner-odd']);
const OF_CLIPPING: ReadonlySet<FrameViewMark['code']> = new Set(['clipped-dark', 'clipped-light']);

/** @returns the marks, with those of the given codes replaced by the ones found now */
const replaced = (
  marks: readonly FrameViewMark[],
  codes: ReadonlySet<string>,
  found: readonly FrameViewMark[],
): FrameViewMark[] => [
  ...marks.filter(({ code }) => !codes.has(code)),
  ...found.filter(({ code }) => codes.has(code)),
];

/** The result of a look that stands for a file which is verified already. */
const fine = ({ view: { clipped } }: SetFrame) => ({ broken: null, doubt: null, clipped, size: null });

function seenLate(
  frame: SetFrame,
  own: Telling,
  looked: Seen['looked'],
  partner: SeenPartner,
  hand: InHand,
): Seen {
  const { common, frames } = hand;
  const { baseMoved } = frame.view;
  return {
    ...{ place: hand.placeOf(frame), frames: frames.length, baseMoved, times: frame.times, kind: own.kind },
    ...{ recorded: own.recorded, broken: null, asked: hand.askedOf(frame), baseTv: common.meteredTv },
    ...{ clockDifference: common.clockDifference, before: null, perhapsEarlyMs: null },
    ...{ looked, sizeOfSet: common.sizeOf(own.kind), partner },
  };
}

/** The extension of a name in the set folder. */
const kindOf = (file: string): string => path.extname(file).slice(1).toLowerCase();
