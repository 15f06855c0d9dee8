// Files that releases of this set made and that are still in the camera: after a pulled cable or an ended program they are fetched, so that
// they need not be fired again. What the camera told of is found by its name; what it could not tell any more, by when it was written.
import { rm } from 'node:fs/promises';
import path from 'node:path';
import { asEvenrungError } from '../../shared/errors.js';
import type { ListedFile, MadeFile } from '../camera/index.js';
import { readArrival } from './arrival.js';
import type { CameSoFar } from './from-before.js';
import type { InHand } from './in-hand.js';
import { wallHere } from './marks.js';
import { isOlder, takeInOrAside } from './pick-up.js';
import type { Steady } from './steady.js';

/** How far the card's times may be off: cards count in steps of two seconds, and clocks that were compared differ a little. */
const SLACK_MS = 4000;
/** Of files that nobody told of, no more than so many for each release that misses one. */
const MOST_FOR_ONE = 3;

export class InCamera {
  private readonly hand: InHand;
  private readonly steady: Steady;
  /** What was looked for last: the same is not looked for twice. */
  private lookedFor = '';

  constructor(hand: InHand, steady: Steady) {
    this.hand = hand;
    this.steady = steady;
  }

  get mayLieThere(): boolean {
    return this.hand.body.isApart && this.missing() !== '' && this.missing() !== this.lookedFor;
  }

  /** Fetches what is there. @param came the times of the files so far @throws EvenrungError storing-failed, body-lost after all patience */
  async fetch(came: CameSoFar): Promise<void> {
    const { hand } = this;
    this.lookedFor = this.missing();
    for (const made of this.told()) await this.bring(made, made.releasedAt, made.arrived, () => false);
    const since = hand.book.strays.map(({ releasedAt }) => releasedAt).sort()[0];
    if (since === undefined) return;
    for (const file of await this.untold(since))
      await this.bring(file, since, null, (arrival) => isOlder(arrival, came, hand));
    this.lookedFor = this.missing();
  }

  /** Names what is missing; empty if nothing is. */
  private missing(): string {
    const { book } = this.hand;
    const strays = book.strays.map(({ frame, releasedAt }) => `${frame} ${releasedAt}`);
    return [...strays, ...this.told().map(({ arrived }) => arrived)].join();
  }

  private told() {
    const { book, coming } = this.hand;
    return coming.size > 0 ? [] : book.madeAndNotFetched;
  }

  /** @param partly the file that was to take it, of which a part may be here */
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
      const arrival = await readArrival(brought, folder);
      await takeInOrAside([arrival], this.hand, isOld);
    } catch (cause) {
      // It was deleted, or the card was changed: then the frame is fired again.
      if (asEvenrungError(cause).code !== 'file-not-there') throw cause;
    }
    if (partly === null) return;
    await rm(path.join(incoming, partly), { force: true });
    book.fetched(partly);
  }

  /** @returns files on the card that nobody told of, written since then, the oldest first */
  private async untold(since: string): Promise<ListedFile[]> {
    const { hand } = this;
    const { clockDifference } = hand.common;
    const listed = await this.steady.use(() => hand.body.listCard());
    const from = clockDifference === null ? null : wallHere(since) + clockDifference * 1000 - SLACK_MS;
    return listed
      .filter((file) => !hand.book.wasToldOf(file))
      .filter(({ writtenAt }) => from === null || writtenAt === null || Date.parse(`${writtenAt}Z`) >= from)
      .slice(-MOST_FOR_ONE * hand.book.strays.length);
  }
}
