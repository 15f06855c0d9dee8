// The sentence on coverage for the photographer. Pure.
import type { Coverage, Missing } from './result.js';

type Known = Omit<Coverage, 'sentence'>;

/** @param notMissed share of the picture below which nothing is said */
export function sentenceOf(coverage: Known, notMissed: number): string {
  const { holds, isInStep, shares, highlights, shadows, between } = coverage;
  if (!isInStep)
    return 'What the set holds is not known: its pictures do not get brighter as their exposures do.';
  const tiny = smallWords(highlights, shadows, notMissed);
  if (holds) {
    if (tiny !== null) return `The set holds everything but ${tiny}.`;
    return `The set holds everything: every part of the picture is well exposed in at least one frame, and ${percent(shares.twoOrMore)} in two or more.`;
  }
  const lost = [
    ...(highlights.share > notMissed ? [brightWords(highlights)] : []),
    ...(shadows.share > notMissed ? [darkWords(shadows)] : []),
    ...(between > notMissed
      ? [`${percent(between)} of the picture falls between two frames, because the step is too wide`]
      : []),
  ];
  const head = headOf(highlights.share > notMissed, shadows.share > notMissed);
  const beside = tiny === null ? '' : `, not counting ${tiny}`;
  return `${head}: ${lost.join(', and ')}${beside}.`;
}

function headOf(isBright: boolean, isDark: boolean): string {
  if (isBright && isDark) return 'Highlights and shadows are missing';
  if (isBright) return 'Highlights are missing';
  return isDark ? 'Shadows are missing' : 'Middle tones are missing';
}

const brightWords = ({ share, stops }: Missing): string =>
  `${percent(share)} of the picture is too bright even in the darkest frame (${farther(stops, 'darker')})`;

const darkWords = ({ share, stops }: Missing): string =>
  `${percent(share)} of the picture is too dark even in the brightest frame (${farther(stops, 'brighter')})`;

function farther(stops: number | null, way: 'darker' | 'brighter'): string {
  if (stops === null) return `how many stops ${way} would hold it is not known`;
  const whole = Math.max(1, Math.round(stops));
  return `about ${whole} ${whole === 1 ? 'stop' : 'stops'} ${way} would hold it`;
}

/** @returns words for the parts that are too small to be areas; null if there are none */
function smallWords(highlights: Missing, shadows: Missing, notMissed: number): string | null {
  const parts = [
    // A lamp is said however tiny it is; a few cells that are too dark are not.
    ...(highlights.small.count > 0 ? [spots(highlights.small.count)] : []),
    ...(shadows.small.share > notMissed ? [counted(shadows.small.count, 'small dark spot')] : []),
  ];
  if (parts.length === 0) return null;
  return `${parts.join(' and ')} (${percent(highlights.small.share + shadows.small.share)} of the picture)`;
}

const spots = (count: number): string =>
  count === 1
    ? '1 small bright spot such as a lamp or a glint'
    : `${count} small bright spots such as lamps or glints`;

const counted = (count: number, thing: string): string => `${count} ${thing}${count === 1 ? '' : 's'}`;

export function percent(share: number): string {
  if (share > 0 && share < 0.0001) return 'less than 0.01%';
  if (share < 0.01) return `${Number((share * 100).toFixed(2))}%`;
  if (share > 0.99 && share < 1) return `${Math.floor(share * 1000) / 10}%`;
  return `${Math.round(share * 100)}%`;
}
