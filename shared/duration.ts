// Lengths of time in words, for the daemon and the panel alike. schedule.ts parses them. Needs nothing.

/** @returns `45 s`, `4 min`, `4 min 30 s`, `1 h`, `1 h 30 min`; seconds are left out from an hour on */
export function formatDuration(seconds: number): string {
  const whole = seconds < 3600 ? Math.round(seconds) : Math.round(seconds / 60) * 60;
  const parts = [
    [Math.floor(whole / 3600), 'h'],
    [Math.floor((whole % 3600) / 60), 'min'],
    [whole % 60, 's'],
  ] as const;
  const said = parts.filter(([count]) => count > 0).map(([count, unit]) => `${count} ${unit}`);
  return said.length === 0 ? '0 s' : said.join(' ');
}

const MINUTE = 60;
const HOUR = 60 * MINUTE;
const DAY = 24 * HOUR;

/**
 * As exact as the question how long ago something was: a unit is used from two of it on, so that no rounding
 * is worse than a fifth.
 * @returns `40 s`, `12 min`, `2 h`, `3 days`; at least `1 s`
 */
export function roughDuration(seconds: number): string {
  const whole = Math.max(1, Math.round(seconds));
  if (whole < 2 * MINUTE) return `${whole} s`;
  if (whole < 2 * HOUR) return `${Math.round(whole / MINUTE)} min`;
  if (whole < 2 * DAY) return `${Math.round(whole / HOUR)} h`;
  return `${Math.round(whole / DAY)} days`;
}
