// Puts the panel on the page, or the screen that pairs, and lets the panel live as soon as the daemon knows this browser.
import { computed, effect } from '@preact/signals';
import { render } from 'preact';
import './light.js';
import { lookWhoIAm, secret, standing } from './access.js';
import { Pairing } from './parts/Pairing.js';
import { Panel } from './parts/Panel.js';
import { connection, start, tryNow } from './store.js';
import './together.js';

/** Nothing is to jump about: the panel comes with what it shows, or with why there is nothing. */
const hasBegun = computed(() => connection.value.state !== 'connecting');

function Page() {
  const { state } = standing.value;
  if (state === 'asking') return null;
  if (state === 'stranger' || secret.value !== null) return <Pairing />;
  return hasBegun.value ? <Panel /> : null;
}

const place = document.getElementById('panel');
if (place === null) throw new Error('The page has no place for the panel.');
render(<Page />, place);

/** Only when that changes: to be asked again is no reason to try the stream anew. */
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
