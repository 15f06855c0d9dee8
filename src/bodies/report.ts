// What is said of the body that is there: whether it is ready for what was asked for last, and what is left on disk, card and
// battery. It tells; it neither looks for bodies nor changes their settings, and knows no set.
import { z } from 'zod';
import type { EvenrungError } from '../../shared/errors.js';
import type { ReadinessCode } from '../../shared/readiness.js';
import { attachedBodySchema, type Happening } from '../../shared/state.js';
import type { Body, BodyIdentity, ReadinessAsked } from '../camera/index.js';
import { freeBytesIn } from '../system/index.js';
import { Stock, type StockMemo } from './stock.js';

/** What is told of a body. */
export type ToldOfBody = Extract<Happening, { type: 'body' | 'watch' }>;

export interface ReportOptions {
  /** The folder that takes what comes back: room is needed on its disk. */
  readonly into: string;
  readonly tell: (told: ToldOfBody) => void;
}

/** What a body is asked to be ready for. */
export type AskedFor = Pick<ReadinessAsked, 'mode' | 'frames' | 'fileBytes'>;

export class BodyReport {
  private readonly options: ReportOptions;
  /** What was asked for last: its readiness is judged for that. */
  private asked: AskedFor = { mode: 'manual', frames: null, fileBytes: null };
  private freeBytes: number | null = null;
  /** What a person has ticked on the body that is there. */
  private readonly ticked = new Set<ReadinessCode>();
  private tickedFor = '';
  /** How large files came out since the program began, and how the battery fell; by body. */
  private readonly stocks = new Map<string, Stock>();

  constructor(options: ReportOptions) {
    this.options = options;
  }

  /** @returns whether anything else was asked for before */
  askFor(asked: AskedFor): boolean {
    const { mode, frames, fileBytes } = this.asked;
    this.asked = asked;
    return asked.mode !== mode || asked.frames !== frames || asked.fileBytes !== fileBytes;
  }

  tick(code: ReadinessCode, isSo: boolean): void {
    if (isSo) this.ticked.add(code);
    else this.ticked.delete(code);
  }

  /** What was ticked on another body does not hold for this one. */
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

  /** What an earlier program knew of a body that is gone on with. */
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

  /** @param note what was said about it when it was found */
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

  /** @param next what is done about it; null where nothing is */
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
