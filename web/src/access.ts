// Who this browser is to the daemon, and how it is paired: the secret of a scanned code is behind the # of
// the address, and is removed from there at once, so that it stays in no history. Must know nothing of the
// screen.
import { computed, signal } from '@preact/signals';
import type { Me } from '../../shared/access.js';
import { askMe, askPair, NO_ANSWER, type Refusal } from './api.js';

const PAIR = /^#pair=([\w-]{1,64})$/;
const NOT_PAIRED = 'not-paired';
const NOT_GOOD = 'pairing-refused';

export type Standing =
  | { readonly state: 'asking' }
  | { readonly state: 'stranger' }
  /** `me` is null if the daemon does not answer: then it is asked when it is back. */
  | { readonly state: 'known'; readonly me: Me | null };

export const standing = signal<Standing>({ state: 'asking' });
/** Of a code that was scanned and is not used yet. */
export const secret = signal<string | null>(null);
export const pairingRefused = signal<Refusal | null>(null);
export const isPairing = signal(false);

const me = computed(() => (standing.value.state === 'known' ? standing.value.me : null));
export const mayFire = computed(() => me.value?.role === 'fire');
/** Whether this is a browser on the daemon's own computer. */
export const isHere = computed(() => me.value?.door === 'here');
/** Whether this device may only watch. */
export const watchesOnly = computed(() => me.value?.role === 'watch');

function takeSecret(): void {
  const [, found] = PAIR.exec(location.hash) ?? [];
  if (found === undefined) return;
  history.replaceState(null, '', location.pathname);
  secret.value = found;
  pairingRefused.value = null;
}

takeSecret();
addEventListener('hashchange', takeSecret);

export async function lookWhoIAm(): Promise<void> {
  const answer = await askMe();
  if (answer.ok) {
    standing.value = { state: 'known', me: answer.value };
    // A person at the laptop needs no code.
    if (answer.value.door === 'here') secret.value = null;
  } else if (answer.refusal.code === NOT_PAIRED) standing.value = { state: 'stranger' };
  else if (standing.value.state === 'asking') standing.value = { state: 'known', me: null };
}

/** @param name that others are told */
export async function pair(name: string): Promise<void> {
  const used = secret.value;
  if (used === null || isPairing.value) return;
  isPairing.value = true;
  pairingRefused.value = null;
  const answer = await askPair({ secret: used, name });
  isPairing.value = false;
  if (answer.ok) {
    secret.value = null;
    standing.value = { state: 'known', me: answer.value };
    return;
  }
  pairingRefused.value = answer.refusal;
  if (answer.refusal.code === NOT_GOOD) secret.value = null;
  // It may have been taken all the same.
  if (answer.refusal.code === NO_ANSWER) await lookWhoIAm();
}
