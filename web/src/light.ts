// The look of the page from its first paint on (the first is made by first-look.ts): by the choice on this
// device, by the system, by the sun. Must know nothing of what is on the page.
import { batch, computed, effect, signal } from '@preact/signals';
import { dress } from './dress.js';
import { CHOICES, type Choice, hasPlace, LETTERS, type Letters, lookOf, pressed } from './looks.js';
import { place } from './place.js';
import { follows, oneOf, remembered } from './remember.js';

const readChoice = oneOf(CHOICES);
const readLetters = oneOf(LETTERS);

export const choice = remembered<Choice>('light', 'system', readChoice);
const before = remembered<Choice>('light-before', 'system', readChoice);
export const letters = remembered<Letters>('letters', 'usual', readLetters);
follows(choice, 'light', readChoice);
follows(letters, 'letters', readLetters);

const dark = matchMedia('(prefers-color-scheme: dark)');
const systemIsDark = signal(dark.matches);
dark.addEventListener('change', ({ matches }) => {
  systemIsDark.value = matches;
});

/** The sun needs some two minutes for its own width. */
const LOOK_EVERY_MS = 30_000;

const at = signal(new Date());
const lookAtClock = () => {
  at.value = new Date();
};
setInterval(lookAtClock, LOOK_EVERY_MS);
// Timers of a page that nobody sees are held up.
document.addEventListener('visibilitychange', lookAtClock);
addEventListener('pageshow', lookAtClock);

const lookNow = (chosen: Choice) =>
  lookOf(chosen, { at: at.value, systemIsDark: systemIsDark.value, place: place.value });

export const look = computed(() => lookNow(choice.value));
export const lacksPlace = computed(() => choice.value === 'sun' && !hasPlace(place.value));

effect(() => dress(document, look.value, letters.value));

/** To night, or back. */
export function press(): void {
  const next = pressed({ choice: choice.value, before: before.value }, look.value, lookNow);
  batch(() => {
    choice.value = next.choice;
    before.value = next.before;
  });
}
