// How long a body takes over what it does, in the bench `wire`: two tables, and what no program can beat under each. Pure.
import type { PracticeTiming } from '../../src/camera/practice/model.js';

export type Megapixels = 1 | 24;

export interface TimingTable {
  readonly name: string;
  /** Seconds that the body takes for a change, a release and so on. */
  readonly body: PracticeTiming;
  /** Seconds that a PTP transaction takes beside what it brings about. */
  readonly transactionSeconds: number;
  /** Of each file. */
  readonly megapixels: Megapixels;
  /** Bytes of each file, and how fast they are sent; null leaves the picture as it is, sent at once. */
  readonly file: { readonly bytes: number; readonly bytesPerSecond: number } | null;
  /** How often each set is made. */
  readonly rounds: number;
  /** Whether two bodies may be measured at a time: where nearly all of it is waiting, they do not disturb each other. */
  readonly sideBySide: boolean;
}

export const ZERO: TimingTable = {
  name: 'zero',
  body: { change: 0, changePerSetting: 0, releaseLag: 0, cycle: 0, exposureScale: 0 },
  transactionSeconds: 0,
  megapixels: 1,
  file: null,
  rounds: 3,
  sideBySide: false,
};

/** From the closing of the shutter to the file, 1/6 s: six frames a second where the exposure is short. Common practice. */
export const LIKE_A_REAL_BODY: TimingTable = {
  name: 'like a real body',
  body: { change: 0.3, changePerSetting: 0, releaseLag: 0.06, cycle: 1 / 6, exposureScale: 1 },
  transactionSeconds: 0.002,
  megapixels: 24,
  file: { bytes: 25_000_000, bytesPerSecond: 30_000_000 },
  rounds: 1,
  sideBySide: true,
};

/** What a set cannot take less than. */
export interface Limit {
  readonly exposures: number;
  readonly cycle: number;
  readonly transfer: number;
  readonly total: number;
}

/** @param exposures of its frames, in seconds */
export function limitOf({ body, file }: TimingTable, exposures: readonly number[]): Limit {
  const open = exposures.reduce((sum, seconds) => sum + seconds, 0) * body.exposureScale;
  const cycle = exposures.length * body.cycle;
  const transfer = file === null ? 0 : (exposures.length * file.bytes) / file.bytesPerSecond;
  return { exposures: open, cycle, transfer, total: open + cycle + transfer };
}

/** @returns the table in words, a line each */
export function inWords({ body, transactionSeconds, megapixels, file }: TimingTable): string[] {
  const ms = (seconds: number) => `${Math.round(seconds * 1000)} ms`;
  return [
    `a settings change        ${ms(body.change)}`,
    `release lag              ${ms(body.releaseLag)}`,
    `the body's own cycle     ${ms(body.cycle)}${body.cycle > 0 ? ` (${Math.round(1 / body.cycle)} frames a second)` : ''}`,
    `exposures                ${body.exposureScale === 1 ? 'as long as they are' : 'at once'}`,
    `a PTP transaction        ${ms(transactionSeconds)}`,
    file === null
      ? `files                    ${megapixels} megapixel, sent at once`
      : `files                    ${megapixels} megapixels, padded to ${file.bytes / 1e6} MB, sent at ${file.bytesPerSecond / 1e6} MB/s`,
  ];
}
