// Tells how the body stands: whether it is ready for the last request, and how long disk, card and battery
// will last. It neither looks for bodies nor changes their settings, and knows no set.
import { z } from 'zod';
import type { EvenrungError } from '../../shared/errors.js';
import type { ReadinessCode } from '../../shared/readiness.js';
import { attachedBodySchema, type Happening } from '../../shared/state.js';
import type { Body, BodyIdentity, ReadinessAsked } from '../camera/index.js';
import { freeBytesIn } from '../system/index.js';
import { Stock, type StockMemo } from './stock.js';

/** The events about a body. */
export type ToldOfBody = Extract<Happening, { type: 'body' | 'watch' }>;

export interface ReportOptions {
  /** The folder that takes files that come back: there has to be room on its disk. */
  readonly into: string;
  readonly tell: (told: ToldOfBody) => void;
}

/** The parts of a request that readiness depends on. */
export type AskedFor = Pick<ReadinessAsked, 'mode' | 'frames' | 'fileBytes'>;

export class BodyReport {
  private readonly options: ReportOptions;
  /** The last request; the body's readiness is judged for it. */
  private asked: AskedFor = { mode: 'manual', frames: null, fileBytes: null };
  private freeBytes: number | null = null;
  /** What a person has ticked for the present body. */
  private readonly ticked = new Set<ReadinessCode>();
  private tickedFor = '';
  /** How large files came out since the program began, and how the battery fell; by body. */
  private readonly stocks = new Map<string, Stock>();

  constructor(options: ReportOptions) {
    this.options = options;
  }

  /** @returns whether the request before was a different one */
  askFor(asked: AskedFor): boolean {
    const { mode, frames, fileBytes } = this.asked;
    this.asked = asked;
    return asked.mode !== mode || asked.frames !== frames || asked.fileBytes !== fileBytes;
  }

  tick(code: ReadinessCode, isSo: boolean): void {
    if (isSo) this.ticked.add(code);
    else this.ticked.delete(code);
  }

  /** Ticks for another body do not hold for this one. */
  met({ identity }: Body): void {
    const key = keyOf(identity);
    if (key !== this.tickedFor) this.ticked.clear();
    this.tickedFor = key;
  }

  stockOf(identity: BodyIdentity): Stock {
    const key = keyOf(identity);
    const known = this.stocks.get(key);
    if (known !== undefined) return known;
    const stock = new Stock();
    this.stocks.set(key, stock);
    return stock;
  }

  /** Restores what an earlier program knew of a body whose run is resumed. */
  restock(identity: BodyIdentity, memo: StockMemo): void {
    this.stocks.set(keyOf(identity), new Stock(memo));
  }

  async readinessAsked(): Promise<ReadinessAsked> {
    this.freeBytes = await freeBytesIn(this.options.into);
    return { ...this.asked, freeBytes: this.freeBytes, ticked: this.ticked };
  }

  looking(): void {
    this.options.tell({ type: 'body', body: { state: 'looking' } });
  }

  /** @param note the note that was made about the body when it was found */
  async ready(body: Body, note: string | null): Promise<void> {
    const { tell } = this.options;
    const view = body.view(await this.readinessAsked());
    tell({ type: 'body', body: { state: 'ready', body: view, note } });
    const { asked, freeBytes } = this;
    const watch = this.stockOf(body.identity).look(body, {
      framesPerSet: asked.frames ?? 1,
      setsToCome: null,
      freeBytes,
      statedBytes: asked.fileBytes,
    });
    tell({ type: 'watch', watch });
  }

  /** @param next what is being done about it; null if nothing is */
  absent(error: EvenrungError, next: string | null): void {
    const choices = z.array(attachedBodySchema).safeParse(error.details.choices);
    this.options.tell({
      type: 'body',
      body: {
        ...{ state: 'absent', sentence: error.message, error: error.code, next },
        choices: choices.success ? choices.data : [],
      },
    });
  }
}

const keyOf = ({ model, serial }: BodyIdentity): string => JSON.stringify([model, serial]);
