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
}

export const ZERO: TimingTable = {
  name: 'zero',
  body: { change: 0, changePerSetting: 0, releaseLag: 0, cycle: 0, exposureScale: 0 },
  transactionSeconds: 0,
  megapixels: 1,
  file: null,
  rounds: 3,
};

/** From the closing of the shutter to the file, 1/6 s: six frames a second where the exposure is short. Common practice. */
export const LIKE_A_REAL_BODY: TimingTable = {
  name: 'like a real body',
  body: { change: 0.3, changePerSetting: 0, releaseLag: 0.06, cycle: 1 / 6, exposureScale: 1 },
  transactionSeconds: 0.002,
  megapixels: 24,
  file: { bytes: 25_000_000, bytesPerSecond: 30_000_000 },
  rounds: 1,
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

/** What has to be done for a set, whichever way it is made. */
export interface Needed {
  /** Seconds of each exposure, in firing order. */
  readonly exposures: readonly number[];
  /** Settings to change before the first frame, between two frames, and to put back. */
  readonly before: number;
  readonly between: number;
  readonly after: number;
}

/**
 * Seconds that a set takes at least, as the body and the cable have it, with files coming while the next frames are exposed. What can
 * overlap nothing: the changes before the first frame; that frame, since no file is there before it; and the settings put back, since the
 * set is not known to be whole before. From the first file on two things go on side by side, and the slower one counts:
 * the cable, which sends every file, and on which a change keeps the next transaction waiting; and the shutter, which is followed
 * by the last file. A change is taken to need a shutter that is closed and a frame that is through, as bodies have it.
 */
export function leastOf({ body, file }: TimingTable, { exposures, before, between, after }: Needed): number {
  const [first = 0, ...rest] = exposures.map(
    (seconds) => body.releaseLag + seconds * body.exposureScale + body.cycle,
  );
  const transfer = file === null ? 0 : file.bytes / file.bytesPerSecond;
  const cable = exposures.length * transfer;
  const shutter = rest.reduce((sum, seconds) => sum + seconds, 0) + transfer;
  return (before + between + after) * body.change + first + Math.max(cable, shutter);
}

/**
 * Seconds from the first opening of the shutter to its last closing that whole passes from one release should not exceed: what the body
 * takes for it, and a share.
 */
export function mostSpread(
  { body }: TimingTable,
  { exposures, between }: Pick<Needed, 'exposures' | 'between'>,
  releases: number,
): number {
  const open = exposures.reduce((sum, seconds) => sum + seconds, 0) * body.exposureScale;
  const all = open + exposures.length * body.cycle + releases * body.releaseLag + between * body.change;
  return all * SPREAD_SHARE;
}

const SPREAD_SHARE = 1.3;

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
