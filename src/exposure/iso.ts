// Film speeds as bodies write them.
import { speedValue } from './apex.js';
import { type Sixths, sixths, toEv } from './ev.js';

/** Beyond what any body has; what lies above is a code that a library printed as a number. */
const LARGEST_ISO = 10_000_000;

/** PTP's own code for automatic ISO: all bits of 16 (ISO 15740, ExposureIndex, from memory); and the same of 32. */
const AUTOMATIC_CODES: readonly number[] = [0xffff, 0xffff_ffff];

/**
 * @param text `100`, `Auto`, `Auto ISO`, `ISO Auto 3200`, `A800 (160-800)`
 * @returns the ISO number as it is written, 'automatic' if the body chooses, or undefined if the text names
 *   neither: `Lo 1` and `Hi 0.3`, whose number only the body knows, and `100 Multi Frame Noise Reduction`,
 *   which is several exposures in one
 */
export function parseIso(text: string): number | 'automatic' | undefined {
  const bare = text.trim();
  if (/^(?:iso )?auto\b/i.test(bare) || /^A\d{1,7} \(/.test(bare)) return 'automatic';
  // Some bodies number their automatics -1, -2, -3 (from memory).
  if (/^-[1-9]$/.test(bare)) return 'automatic';
  if (!/^\d{1,10}$/.test(bare)) return undefined;
  const iso = Number(bare);
  if (AUTOMATIC_CODES.includes(iso)) return 'automatic';
  return iso > 0 && iso <= LARGEST_ISO ? iso : undefined;
}

/** One ISO setting of a body. */
export interface IsoSetting {
  /** The label under which the body takes it. */
  readonly label: string;
  readonly iso: number;
  /** APEX speed value, Sv = log2(S / 3.125), in sixths, rounded to thirds and halves: ISO 100 is 30, ISO 125 is 32. */
  readonly sv: Sixths;
}

/** @param labels as the body offers them @returns the ISO settings that are numbers, ascending */
export function isoSettings(labels: readonly string[]): IsoSetting[] {
  const settings = labels.flatMap((label) => {
    const iso = parseIso(label);
    return typeof iso === 'number' ? [{ label, iso, sv: svOf(iso) }] : [];
  });
  return settings.sort((a, b) => a.sv - b.sv);
}

/** Nominal numbers stand for thirds or halves: 125 is 100 * 2^(1/3), 140 is 100 * 2^(1/2). */
function svOf(iso: number): Sixths {
  const ev = speedValue(iso);
  const third = sixths(Math.round(ev * 3) * 2);
  const half = sixths(Math.round(ev * 2) * 3);
  return Math.abs(ev - toEv(half)) < Math.abs(ev - toEv(third)) ? half : third;
}
