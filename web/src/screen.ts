// The width of the screen. Must know nothing of what is on it.
import { signal } from '@preact/signals';

/** As in style/page.css: below it there is one column. */
const NARROW = '(width < 56rem)';

const media = matchMedia(NARROW);
export const isNarrow = signal(media.matches);
media.addEventListener('change', ({ matches }) => {
  isNarrow.value = matches;
});
