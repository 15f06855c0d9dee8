// Which level of a brighter frame corresponds to which level of a darker one, found from the pictures
// themselves: whatever the camera's curve, and however the light has changed, two frames can then be compared
// tone by tone (the comparagram of Mann, "Comparametric Equations", IEEE TIP 2000, from memory). Pure.

/** Pixels of a level; fewer tell nothing about it. */
const FEWEST = 20;
/** Levels that are told in all; with fewer there is nothing to compare. */
const FEWEST_LEVELS = 12;
/** A curve that joins two exposures is smooth: standard deviation of the averaging, in levels. */
const SMOOTH = 8;
/** No level counts for more than so many pixels: otherwise a large plain area would determine the curve. */
const MOST_WEIGHT = 2000;
/** First all pixels count, then only those near the curve: what moved lies elsewhere. In levels. */
const WINDOWS = [256, 16, 8] as const;

/** Counts of level pairs: those of the darker frame in the upper byte. */
type Comparagram = Uint32Array;

/**
 * @param darker, brighter levels of the same pixels @param mask 0 for pixels that do not count
 * @returns for each level of the darker frame that of the brighter one; null if too few levels are told
 */
export function tonesBetween(
  darker: Uint8Array,
  brighter: Uint8Array,
  mask: Uint8Array,
): Float32Array | null {
  const pairs = comparagram(darker, brighter, mask);
  let tones: Float32Array | null = null;
  for (const window of WINDOWS) {
    const known = mediansOf(pairs, tones, window);
    if (known.length < FEWEST_LEVELS) return tones;
    tones = smoothCurve(known);
  }
  return tones;
}

function comparagram(darker: Uint8Array, brighter: Uint8Array, mask: Uint8Array): Comparagram {
  const pairs = new Uint32Array(256 * 256);
  for (let at = 0; at < darker.length; at += 1) {
    if (mask[at] === 0) continue;
    const pair = ((darker[at] as number) << 8) | (brighter[at] as number);
    pairs[pair] = (pairs[pair] as number) + 1;
  }
  return pairs;
}

interface Known {
  readonly level: number;
  readonly median: number;
  readonly weight: number;
}

function mediansOf(pairs: Comparagram, near: Float32Array | null, window: number): Known[] {
  const known: Known[] = [];
  for (let level = 0; level < 256; level += 1) {
    const from = near === null ? 0 : Math.max(0, Math.ceil((near[level] as number) - window));
    const to = near === null ? 255 : Math.min(255, Math.floor((near[level] as number) + window));
    const counts = pairs.subarray((level << 8) | from, ((level << 8) | to) + 1);
    const total = counts.reduce((sum, count) => sum + count, 0);
    if (total >= FEWEST)
      known.push({ level, median: from + medianOf(counts, total), weight: Math.min(total, MOST_WEIGHT) });
  }
  return known;
}

/** Within the level that holds the median, by how far it is through: levels alone would be a stair. */
function medianOf(counts: Uint32Array, total: number): number {
  let sum = 0;
  for (const [value, here] of counts.entries()) {
    if (sum + here >= total / 2) return value - 0.5 + (total / 2 - sum) / here;
    sum += here;
  }
  return counts.length - 1;
}

/** At each level a straight line through its neighbours, weighted by how near and how many they are (local regression, Cleveland 1979). */
function smoothCurve(known: readonly Known[]): Float32Array {
  return Float32Array.from({ length: 256 }, (_, at) => {
    let [sum, x, y, xx, xy] = [0, 0, 0, 0, 0];
    const nearest = Math.min(...known.map(({ level }) => Math.abs(level - at)));
    for (const { level, median, weight } of known) {
      const away = level - at;
      // Beyond the levels that are told, the nearest ones go on as they were.
      const share = weight * Math.exp(-0.5 * ((Math.abs(away) - nearest) / SMOOTH) ** 2);
      sum += share;
      x += share * away;
      y += share * median;
      xx += share * away * away;
      xy += share * away * median;
    }
    const spread = sum * xx - x * x;
    const value = spread > 1e-6 * sum * sum ? (xx * y - x * xy) / spread : y / sum;
    return Math.min(255, Math.max(0, value));
  });
}
