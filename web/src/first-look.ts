// Before anything is painted, the page gets the look that was chosen here. This is a script of its own that
// the page waits for; light.ts continues from there. If the choice cannot be read, it is as if there were
// none.
import { dress } from './dress.js';
import { CHOICES, LETTERS, lookOf } from './looks.js';
import { oneOf, recall, textsOver } from './recall.js';
import { NO_PLACE } from './schedule-form.js';

const look = lookOf(oneOf(CHOICES)(recall('local', 'light')) ?? 'system', {
  at: new Date(),
  systemIsDark: matchMedia('(prefers-color-scheme: dark)').matches,
  place: textsOver(NO_PLACE)(recall('local', 'place')) ?? NO_PLACE,
});
dress(document, look, oneOf(LETTERS)(recall('local', 'letters')) ?? 'usual');
