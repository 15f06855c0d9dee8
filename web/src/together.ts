// The set that is asked for is the same on all devices: what is changed here is told to the daemon, and what was changed on another
// device is taken over, so that the phone fires what was set up at the laptop.
import { computed, effect, signal, untracked } from '@preact/signals';
import type { Asked } from '../../shared/asked.js';
import { tellAsked } from './api.js';
import { keyOf } from './request.js';
import { askedHere, connection, daemon, takeOver } from './store.js';

/** Whoever types has not asked yet. */
const TELL_AFTER_MS = 250;

const there = computed(() => daemon.value?.asked ?? null);
const isConnected = computed(() => connection.value.state === 'connected');

/** What the daemon has, as far as is known here. */
let known: string | null = null;
/** Whether what stands in the fields comes from another device, and nothing was changed here since. */
export const isChangedElsewhere = signal(false);
/** Told, and not yet come back on the stream. */
const told = new Set<string>();
/** Whether something was changed here that the daemon may not know of. */
let isOurs = false;
/** How many answers of the daemon are awaited. */
let telling = 0;

effect(() => {
  const asked = there.value;
  if (asked !== null) follow(asked);
});

function follow(asked: Asked): void {
  const key = keyOf(asked);
  // Also while something newer is being told: the same may be asked for on another device later.
  if (told.delete(key) || isOurs || key === known) return;
  // What is there when the page is opened changes nothing that anybody saw.
  isChangedElsewhere.value = known !== null;
  known = key;
  told.clear();
  untracked(() => takeOver(asked));
}

/** What was changed here was changed back before anybody was told: whatever came meanwhile from another device counts. */
function isAsBefore(): void {
  if (!isOurs || telling > 0) return;
  isOurs = false;
  const asked = there.peek();
  if (asked !== null && told.size === 0) follow(asked);
}

effect(() => {
  const asked = askedHere.value;
  if (asked === null || !isConnected.value) return;
  const key = keyOf(asked);
  if (key === known) {
    isAsBefore();
    return;
  }
  isOurs = true;
  isChangedElsewhere.value = false;
  const say = () => void tell(asked, key);
  const timer = setTimeout(say, TELL_AFTER_MS);
  // Whoever leaves the page at once has asked all the same.
  addEventListener('pagehide', say, { once: true });
  return () => {
    clearTimeout(timer);
    removeEventListener('pagehide', say);
  };
});

async function tell(asked: Asked, key: string): Promise<void> {
  if (key === known) return;
  known = key;
  told.add(key);
  telling += 1;
  const answer = await tellAsked(asked);
  telling -= 1;
  // Told again when the daemon is back.
  if (!answer.ok) {
    told.delete(key);
    if (known === key) known = null;
    return;
  }
  // Where the daemon had it already nothing comes back on the stream.
  if (there.value !== null && keyOf(there.value) === key) told.delete(key);
  if (known === key) isOurs = false;
}
