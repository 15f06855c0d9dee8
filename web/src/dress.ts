// Puts a look on a page, before its style sheet is there, too. Must need nothing of the panel.
import type { Letters, Look } from './looks.js';

/**
 * `--ground` of style/tokens.css: the colour that is painted before that file is read, and that the browser
 * paints around the page.
 */
export const GROUNDS: Readonly<Record<Look, string>> = { day: '#eef2ef', dim: '#0d1316', night: '#000000' };

export function dress(page: Document, look: Look, letters: Letters): void {
  const scheme = look === 'day' ? 'light' : 'dark';
  const { dataset, style } = page.documentElement;
  dataset.light = look;
  dataset.letters = letters;
  style.colorScheme = scheme;
  style.background = GROUNDS[look];
  say(page, 'color-scheme', scheme);
  say(page, 'theme-color', GROUNDS[look]);
}

function say(page: Document, name: string, content: string) {
  page.querySelector(`meta[name="${name}"]`)?.setAttribute('content', content);
}
