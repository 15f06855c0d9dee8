// Puts the panel on the page, or the screen that pairs, and lets the panel live as soon as the daemon knows this browser.
import { computed, effect, signal } from '@preact/signals';
import { render } from 'preact';
import './light.js';
import { lookWhoIAm, secret, standing } from './access.js';
import { Pairing } from './parts/Pairing.js';
import { Panel } from './parts/Panel.js';
import { awaitsPlan, connection, start, tryNow } from './store.js';
import './felt.js';
import './installed.js';
import './together.js';

const pairs = computed(() => standing.value.state === 'stranger' || secret.value !== null);
/**
 * Nothing may jump about: the panel appears together with its content, or with the reason why there is none.
 * Until then the page shows its frame.
 */
const hasBegun = computed(() => {
  if (standing.value.state === 'asking') return false;
  if (pairs.value) return true;
  if (connection.value.state === 'connecting') return false;
  return !awaitsPlan.value || isLate.value;
});
/** A plan that takes longer than this is not waited for. */
const PLANNED_WITHIN_MS = 2000;
const isLate = signal(false);
setTimeout(() => {
  isLate.value = true;
}, PLANNED_WITHIN_MS);

/** Once it stands it stays, whatever is planned next. */
const stands = signal(false);
effect(() => {
  if (pairs.value) stands.value = false;
  else if (hasBegun.value) stands.value = true;
});

function Page() {
  if (pairs.value) return <Pairing />;
  return stands.value ? <Panel /> : null;
}

const found = document.getElementById('panel');
if (found === null) throw new Error('The page has no place for the panel.');
const place = found;
const unwatch = hasBegun.subscribe((isSo) => {
  if (!isSo) return;
  queueMicrotask(() => unwatch());
  place.replaceChildren();
  render(<Page />, place);
});

/** Only if that changes: being asked again is no reason to open the stream anew. */
const isKnown = computed(() => standing.value.state === 'known');
effect(() => {
  if (!isKnown.value) return;
  start();
  tryNow();
});
// A device that was dropped is hung up on; and a daemon that did not answer is asked when it is back.
effect(() => {
  const now = standing.peek();
  const { state } = connection.value;
  if (state === 'lost' || (state === 'connected' && now.state === 'known' && now.me === null))
    void lookWhoIAm();
});
void lookWhoIAm();
