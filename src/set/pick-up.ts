// A set that an earlier program began: the journal's knowledge of its frames and the files in its folder are
// brought together. Files that came back are taken in; a frame that was fired and never came is open again; a
// verified frame has to have the file that it had.

import { stat } from 'node:fs/promises';
import path from 'node:path';
import { namesOf, readRecorded } from '../frames/index.js';
import type { StoredFrame } from '../journal/index.js';
import { knownBeside } from './again/taken-up.js';
import { type Arrival, filesOf, putAside, readArrival, WAITED } from './assign/arrival.js';
import { repeatedBy } from './assign/assign.js';
import { type CameSoFar, cameIn, originOf } from './assign/from-before.js';
import { checkPartner, join, sortOut } from './assign/late-partner.js';
import type { InHand } from './in-hand.js';
import { meteredBase } from './judge/judgements.js';
import type { TakenBefore } from './judge/marks.js';
import { lookAt, verify } from './judge/verify.js';
import { ENDED_MEANWHILE, firedLater, isVerified, type SetFrame, seen, stray } from './set-frame.js';

/** How far off a file that lay there after a restart may be by the clocks. */
const DOUBTED_AFTER_RESTART_MS = 1500;

/**
 * @param stored the frames as the journal has them
 * @param came what the files of earlier sets told of their times
 * @returns what the frame that was fired last tells of its time
 */
export async function pickUp(
  hand: InHand,
  stored: readonly StoredFrame[],
  came: CameSoFar,
): Promise<TakenBefore | null> {
  const { book, plan } = hand;
  book.enter('preparing');
  for (const frame of hand.frames) {
    if (frame.view.state === 'armed') book.change(frame, 'planned');
    if (frame.view.state === 'verified') await checkKept(frame, hand);
  }
  const strangers: Arrival[] = [];
  for (const file of await hand.folder.strangers(namesKnown(hand))) {
    // Of a file that was on its way, only a part may be here: all of it is fetched from the camera.
    if (await isPart(file, hand)) continue;
    strangers.push(await readArrival({ path: file, seconds: 0 }, hand.folder));
  }
  await takeInOrAside(strangers, hand, (arrival) => isOlder(arrival, came, hand));
  for (const frame of hand.frames) {
    if (frame.view.state === 'fired') lostWithTheProgram(frame, stored, hand);
    if (frame.view.state === 'stored')
      book.change(frame, 'rejected', { reason: 'Its file was missing after a restart.' });
  }
  for (const [index, pass] of plan.passes.entries())
    if (hand.framesOfPass(pass).every(isVerified)) book.passChanged(index + 1, 'done');
  return lastTaken(hand);
}

const namesKnown = ({ book, frames, redo }: InHand): Set<string> =>
  new Set([
    ...frames.filter(isVerified).flatMap(({ view }) => namesOf(view)),
    ...knownBeside(redo.takenUp),
    ...book.asides.map(({ file }) => file),
  ]);

async function isPart(file: string, { book }: InHand): Promise<boolean> {
  const name = path.basename(file);
  const made = book.madeAndNotFetched.find(({ arrived }) => arrived === name);
  if (made === undefined) return false;
  const { size } = await stat(file);
  return made.bytes === null || size < made.bytes;
}

/**
 * Takes in files that come without their release: each may be the second file of a frame, the first open
 * frame that it fits, or none.
 * @param mayBe which frames a file may be at all; any open frame if it is left out
 */
export async function takeInOrAside(
  came: readonly Arrival[],
  hand: InHand,
  isFromBefore: (arrival: Arrival) => boolean,
  mayBe: (frame: SetFrame) => boolean = () => true,
): Promise<void> {
  const { arrivals, late } = await sortOut(came, hand);
  for (const { arrival, frame } of late) await join(arrival, frame, await lookAt(arrival), hand);
  for (const arrival of arrivals) {
    if (isFromBefore(arrival)) await putAside(arrival, { reason: WAITED, frame: null }, hand);
    else await takeIn(arrival, hand, mayBe);
  }
  for (const arrival of came)
    for (const file of filesOf(arrival)) hand.book.fetched(path.basename(file.path));
}

async function takeIn(arrival: Arrival, hand: InHand, mayBe: (frame: SetFrame) => boolean): Promise<void> {
  const { book } = hand;
  const owner = hand.frames.find(
    (frame) => !isVerified(frame) && mayBe(frame) && hand.mismatch(arrival, frame) === null,
  );
  if (owner === undefined) {
    const wrong = cameWrong(arrival, hand);
    const aside =
      wrong === null
        ? repeatedBy(arrival, hand.frames.map(numbered), ({ of }) => hand.mismatch(arrival, of))
        : { reason: wrong.view.reason ?? '', frame: wrong.view.number };
    // It is here, although it is of no use: its release has brought a file.
    if (wrong === null && aside.frame !== null) book.strayCame(aside.frame);
    await putAside(arrival, aside, hand);
    return;
  }
  if (owner.view.state !== 'fired' && owner.view.state !== 'stored') book.strayCame(owner.view.number);
  if (owner.view.state !== 'stored') {
    const times = { ...owner.times, storedAt: null, verifiedAt: null };
    book.change(owner, 'stored', { reason: null, ...seen(arrival.recorded) }, { times });
  }
  owner.came = arrival;
  const base = meteredBase(arrival.recorded, hand.askedOf(owner), hand.common.meteredTv);
  hand.common.meter(base?.baseTv ?? null);
  const accepted = { baseMoved: base?.moved ?? null, before: null, perhapsEarlyMs: null };
  await verify(arrival, owner, accepted, await lookAt(arrival), hand);
}

const numbered = (frame: SetFrame) => ({ number: frame.view.number, of: frame });

/**
 * A picture from before may have come just as the program ended. For which release a file came nobody knows any more: the first whose
 * file is missing may have brought it. If in doubt it is set aside: that costs a release, and no more.
 */
export function isOlder({ recorded, digest }: Arrival, came: CameSoFar, hand: InHand): boolean {
  const file = cameIn(recorded, digest);
  if (file === null) return false;
  const { setStartedAt } = hand;
  const releases = [
    ...hand.frames.map((frame) => (isVerified(frame) ? null : frame.times.firedAt)),
    ...hand.book.strays.map(({ releasedAt }) => releasedAt),
  ];
  const owedSince = releases.filter((at) => at !== null && at >= setStartedAt).sort()[0] ?? setStartedAt;
  const firedAt = new Date(Date.parse(owedSince) + DOUBTED_AFTER_RESTART_MS).toISOString();
  const { clockDifference } = hand.body;
  const known = { ...came, last: null, owedSince: null, clockDifference };
  const release = { firedAt, storedAt: new Date().toISOString(), setStartedAt: firedAt, ...known };
  return originOf(file, release).is === 'from-before';
}

/**
 * @returns the last frame that was fired before a restart, if this whole file came of that release but is
 *   not the frame that was asked for
 */
function cameWrong(arrival: Arrival, hand: InHand): SetFrame | null {
  // Of several that were fired nobody knows whose file it is.
  const [fired, ...others] = hand.frames.filter(({ view }) => view.state === 'fired');
  if (fired === undefined || others.length > 0 || arrival.recorded === null) return null;
  if (hand.frames.some((frame) => isVerified(frame) && hand.mismatch(arrival, frame) === null)) return null;
  const reason = hand.mismatch(arrival, fired) ?? '';
  hand.book.change(fired, 'rejected', { reason, ...seen(arrival.recorded) });
  return fired;
}

function lostWithTheProgram(frame: SetFrame, stored: readonly StoredFrame[], { book }: InHand): void {
  const firedAt = stored.find(({ view }) => view.number === frame.view.number)?.firedAt ?? null;
  book.stray(stray(frame.view, firedAt === null ? new Date() : new Date(firedAt), ENDED_MEANWHILE));
  book.change(frame, 'rejected', { reason: ENDED_MEANWHILE });
}

async function checkKept(frame: SetFrame, hand: InHand): Promise<void> {
  const { book, folder } = hand;
  const { file } = frame.view;
  const now = file === null ? null : await folder.checksumOf(file);
  if (now !== null && (frame.checksum === null || now.sha256 === frame.checksum.sha256)) {
    await checkPartner(frame, 'after a restart', hand);
    return;
  }
  const reason =
    now === null ? 'Its file was missing after a restart.' : 'Its file had changed after a restart.';
  book.change(frame, 'rejected', { reason, file: null, recorded: null });
}

async function lastTaken(hand: InHand): Promise<TakenBefore | null> {
  const last = hand.frames
    .filter((frame) => isVerified(frame) && frame.times.firedAt !== null)
    .reduce<SetFrame | null>((latest, one) => (firedLater(one, latest) ? one : latest), null);
  if (last === null) return null;
  const recorded = await readRecorded(hand.pathOf(last)).catch(() => null);
  const takenAt = recorded?.takenAt ?? null;
  return takenAt === null ? null : { number: last.view.number, takenAt };
}
