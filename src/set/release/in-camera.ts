// Files that releases of this set made and that are still in the camera, after a pulled cable or an ended
// program. They are fetched, so that their frames need not be fired again. A file that the camera told of is
// found by its name, and so is the second file of a frame; a file that it had no chance to tell of is found
// by the time at which it was written.
import { rm } from 'node:fs/promises';
import path from 'node:path';
import { asEvenrungError } from '../../../shared/errors.js';
import type { FrameView } from '../../../shared/state.js';
import type { ListedFile, MadeFile } from '../../camera/index.js';
import { readArrival } from '../assign/arrival.js';
import type { CameSoFar } from '../assign/from-before.js';
import { type MissingPartner, missingPartners } from '../book/lacking.js';
import type { InHand } from '../in-hand.js';
import { wallHere } from '../judge/marks.js';
import { isOlder, takeInOrAside } from '../pick-up.js';
import type { SetFrame } from '../set-frame.js';
import type { Steady } from '../steady.js';

/**
 * How far the card's times may be off: cards count in steps of two seconds, and the comparison of the two
 * clocks is not exact.
 */
const SLACK_MS = 4000;
/** The most files that nobody was told of that are fetched for each release that misses one. */
const MOST_FOR_ONE = 3;

export class InCamera {
  private readonly hand: InHand;
  private readonly steady: Steady;
  /** The missing files that were looked for last, so that the same are not looked for twice. */
  private lookedFor = '';

  constructor(hand: InHand, steady: Steady) {
    this.hand = hand;
    this.steady = steady;
  }

  get mayLieThere(): boolean {
    return this.hand.body.isApart && this.missing() !== '' && this.missing() !== this.lookedFor;
  }

  /**
   * Fetches the missing files that are in the camera.
   * @param came the times of the files so far
   * @throws EvenrungError storing-failed, body-lost after all patience
   */
  async fetch(came: CameSoFar): Promise<void> {
    const { hand } = this;
    const { takenUp } = hand.redo;
    this.lookedFor = this.missing();
    for (const made of this.told()) await this.bring(made, made.releasedAt, made.arrived, () => false);
    const isFromThen = ({ releasedAt }: { readonly releasedAt: string }) =>
      takenUp !== null && releasedAt < takenUp.since;
    // Files of releases from before the set's end were also written before its end, so no file of a later set
    // is taken for one of them.
    const [then] = this.releases(isFromThen);
    if (takenUp !== null && then !== undefined) {
      const many = this.releases(isFromThen).length;
      for (const file of await this.untold({ from: then, to: takenUp.endedAt, many, isSureOfTime: true }))
        await this.bring(file, then, null, () => false);
    }
    const isFromNow = (one: { readonly releasedAt: string }) => !isFromThen(one);
    const [since] = this.releases(isFromNow);
    if (since !== undefined) {
      const many = this.releases(isFromNow).length;
      for (const file of await this.untold({ from: since, to: null, many, isSureOfTime: false }))
        await this.bring(file, since, null, (arrival) => isOlder(arrival, came, hand));
    }
    if (takenUp !== null) await this.fetchPartners();
    this.lookedFor = this.missing();
  }

  /**
   * Looks once for the second files that never came: the same name with another extension, in the same folder.
   * @throws EvenrungError as fetch
   */
  async fetchPartners(): Promise<void> {
    const missing = this.partners().filter(({ beside }) => beside !== null);
    if (missing.length === 0) return;
    const listed = await this.steady.use(() => this.hand.body.listCard());
    for (const { file, partner } of missing.flatMap((one) => this.partnerOn(listed, one))) {
      const frame = this.hand.book.frameOf(partner.frame);
      const releasedAt = frame.times.firedAt ?? this.hand.startedAt.toISOString();
      await this.bring(file, releasedAt, null, () => false);
    }
  }

  /** @returns the file to fetch, if there is exactly one with that name */
  private partnerOn(
    listed: readonly ListedFile[],
    partner: MissingPartner,
  ): { readonly file: ListedFile; readonly partner: MissingPartner }[] {
    const beside = partner.beside ?? '';
    const folders = this.hand.book.foldersOf(beside);
    const fitting = listed.filter(
      ({ folder, name }) =>
        (folders.length === 0 || folders.includes(folder)) &&
        stemOf(name) === stemOf(beside) &&
        name.toLowerCase() !== beside.toLowerCase(),
    );
    const [file, ...others] = fitting;
    return file === undefined || others.length > 0 ? [] : [{ file, partner }];
  }

  /** @returns the times of releases whose file is missing, ascending */
  private releases(which: (one: { readonly releasedAt: string }) => boolean): string[] {
    const { book } = this.hand;
    const bursts = this.isDue() ? book.bursts.map((releasedAt) => ({ releasedAt })) : [];
    return [...book.strays, ...bursts]
      .filter(which)
      .map(({ releasedAt }) => releasedAt)
      .sort();
  }

  private partners(): MissingPartner[] {
    return missingPartners(this.hand.frames.map(({ view }): FrameView => view));
  }

  /** @returns a text that names everything missing; empty if nothing is */
  private missing(): string {
    const { book } = this.hand;
    const strays = book.strays.map(({ frame, releasedAt }) => `${frame} ${releasedAt}`);
    // While a set is being fired there is no time to look for second files.
    const partners =
      this.hand.redo.takenUp === null ? [] : this.partners().map(({ frame }) => `beside ${frame}`);
    const bursts = this.isDue() ? book.bursts : [];
    return [...strays, ...bursts, ...this.told().map(({ arrived }) => arrived), ...partners].join();
  }

  /** Whether a frame that was fired in this run is still not made. */
  private isDue(): boolean {
    const { hand } = this;
    return hand.frames.some((frame) => frame.view.attempts > frame.firedBefore && hand.isDue(frame));
  }

  private told() {
    const { book, coming } = this.hand;
    return coming.size > 0 ? [] : book.madeAndNotFetched;
  }

  /** @param partly the name of the file that may hold a part of it already; null if there is none */
  private async bring(
    file: MadeFile,
    releasedAt: string,
    partly: string | null,
    isOld: (arrival: Awaited<ReturnType<typeof readArrival>>) => boolean,
  ): Promise<void> {
    const { body, book, folder } = this.hand;
    const { incoming } = folder;
    try {
      const brought = await this.steady.use(() =>
        body.fetchMade(file, incoming, ({ folder: where, name, bytes }, to) =>
          book.made({ folder: where, name, bytes, arrived: path.basename(to), releasedAt }),
        ),
      );
      if (await this.isHere(brought.path)) {
        await rm(brought.path, { force: true });
        book.fetched(path.basename(brought.path));
        return;
      }
      const arrival = await readArrival(brought, folder);
      // A file that nobody was told of can only be a frame that was fired: a picture of the set before may
      // have the same exposure.
      const { strays } = book;
      const mayBe = ({ view, firedBefore }: SetFrame) =>
        partly !== null || view.attempts > firedBefore || strays.some(({ frame }) => frame === view.number);
      await takeInOrAside([arrival], this.hand, isOld, mayBe);
    } catch (cause) {
      // The file was deleted, or the card was changed: its frame will be fired again.
      if (asEvenrungError(cause).code !== 'file-not-there') throw cause;
    }
    if (partly === null) return;
    await rm(path.join(incoming, partly), { force: true });
    book.fetched(partly);
  }

  /**
   * Whether the set has the same file already, because it came over another connection that did not tell its
   * name.
   */
  private async isHere(file: string): Promise<boolean> {
    const { folder, frames } = this.hand;
    const now = await folder.checksumOf(path.relative(folder.path, file));
    return frames.some(
      ({ checksum, view: { partner } }) =>
        now !== null &&
        (checksum?.sha256 === now.sha256 || (partner?.state === 'there' && partner.sha256 === now.sha256)),
    );
  }

  /** @returns files on the card that nobody was told of, written in the given time, the oldest first */
  private async untold({ from, to, many, isSureOfTime }: Written): Promise<ListedFile[]> {
    const { hand } = this;
    const { clockDifference } = hand.common;
    if (isSureOfTime && clockDifference === null) return [];
    const listed = await this.steady.use(() => hand.body.listCard());
    const byCard = (at: string, slackMs: number) =>
      clockDifference === null ? null : wallHere(at) + clockDifference * 1000 + slackMs;
    const earliest = byCard(from, -SLACK_MS);
    const latest = to === null ? null : byCard(to, SLACK_MS);
    return listed
      .filter((file) => !hand.book.wasToldOf(file))
      .filter(({ writtenAt }) => {
        if (writtenAt === null) return !isSureOfTime;
        const at = Date.parse(`${writtenAt}Z`);
        return (earliest === null || at >= earliest) && (latest === null || at <= latest);
      })
      .slice(-MOST_FOR_ONE * many);
  }
}

/** When the files to look for were written, by this computer's clock, ISO 8601. */
interface Written {
  readonly from: string;
  /** Null for now. */
  readonly to: string | null;
  /** How many releases miss a file. */
  readonly many: number;
  /**
   * Whether a file with an unknown time is left out: since a set has ended, other pictures may have been
   * taken.
   */
  readonly isSureOfTime: boolean;
}

const stemOf = (name: string): string => name.replace(/\.[^.]*$/, '').toLowerCase();
