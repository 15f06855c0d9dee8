// Times that were measured of a body, as they are kept. Pure.

/** @returns of an even count the longer of the two in the middle; 0 of none */
export function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)] ?? 0;
}

/** @returns seconds, 0 and above, to the millisecond */
export const tidy = (seconds: number): number => Math.round(Math.max(0, seconds) * 1000) / 1000;
