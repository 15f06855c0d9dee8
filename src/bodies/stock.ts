// Figures for the sets to come, kept up to date from set to set: how large files came out, and how the
// battery fell. It reads no body and no disk itself; watch.ts says what the figures mean.
import type { Watch } from '../../shared/watch.js';
import type { Body } from '../camera/index.js';
import {
  type ChargeReading,
  type FileSizes,
  NO_FILES,
  type WatchQuestion,
  watch,
  withCharge,
  withFile,
} from './watch.js';

/** Plain JSON, kept in the journal of a run on a schedule. */
export interface StockMemo {
  readonly sizes: FileSizes;
  readonly chargeReadings: readonly ChargeReading[];
  readonly framesMade: number;
}

/** The part of the question that the caller has to supply. */
export type StockAsked = Pick<WatchQuestion, 'framesPerSet' | 'setsToCome' | 'freeBytes' | 'statedBytes'>;

export class Stock {
  private sizes: FileSizes;
  private chargeReadings: readonly ChargeReading[];
  private framesMade: number;

  constructor({ sizes, chargeReadings, framesMade }: StockMemo = NOTHING_USED) {
    this.sizes = sizes;
    this.chargeReadings = chargeReadings;
    this.framesMade = framesMade;
  }

  get memo(): StockMemo {
    const { sizes, chargeReadings, framesMade } = this;
    return { sizes, chargeReadings, framesMade };
  }

  /** Mean size in bytes of the files so far; undefined before the first. */
  get fileBytes(): number | undefined {
    const { files, total } = this.sizes;
    return files === 0 ? undefined : Math.round(total / files);
  }

  /** @param files bytes of each file that came back @param released how often the shutter was released */
  setMade(files: readonly number[], released: number): void {
    for (const bytes of files) this.sizes = withFile(this.sizes, bytes);
    this.framesMade += released;
  }

  /** @param body as its settings were read last */
  look(body: Pick<Body, 'identity' | 'charge' | 'framesLeftOnCard'>, asked: StockAsked): Watch {
    const { charge, framesLeftOnCard, identity } = body;
    this.chargeReadings = withCharge(this.chargeReadings, charge, this.framesMade);
    return watch({ ...asked, ...this.memo, link: identity.link, charge, framesLeftOnCard });
  }
}

const NOTHING_USED: StockMemo = { sizes: NO_FILES, chargeReadings: [], framesMade: 0 };
