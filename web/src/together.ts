// The request is the same on all devices: a change made here is sent to the daemon, and a change made on
// another device is taken over, so that the phone fires what was set up at the laptop. A page on which nobody
// has changed anything sends nothing: it would undo a change that is still on its way from another one.
import { computed, effect, signal, untracked } from '@preact/signals';
import type { Asked } from '../../shared/asked.js';
import { NO_ANSWER, tellAsked } from './api.js';
import { keyOf, keyOfForm, USUAL_REQUEST } from './request.js';
import { askedHere, connection, daemon, takeOver } from './store.js';

/** Somebody who is still typing has not asked yet. */
const TELL_AFTER_MS = 250;
/** A request that got no answer, or came at a bad time, is sent again. */
const TELL_AGAIN_MS = 1000;
const TELL_AGAIN: ReadonlySet<string> = new Set([NO_ANSWER, 'too-many-requests']);

/**
 * The daemon's request, as it last told it; null if nobody has asked for anything, undefined before it is
 * known.
 */
const there = computed(() => daemon.value?.asked);
const isConnected = computed(() => connection.value.state === 'connected');
/** The request in the fields; null if it cannot be sent. */
const keyHere = computed(() => (askedHere.value === null ? null : keyOf(askedHere.value)));

/** The request on a page before anybody has asked for anything. */
const NOBODY_ASKED = keyOfForm(USUAL_REQUEST);

/** The request on which this page and the daemon last agreed; null before that. */
let known: string | null = null;
/** Whether the request in the fields comes from another device, and nothing was changed here since. */
export const isChangedElsewhere = signal(false);
/** Told, and not yet come back on the stream. */
const told = new Set<string>();
/** The request that is being sent. One after the other: they must not overtake each other. */
const telling = signal<string | null>(null);
/** A request that the daemon will not accept, however often it is sent. */
let refused: string | null = null;
/** Whether the last one has to be told again. */
let isToldAgain = false;

/** Whether something was changed here that the daemon may not know of. */
function isOurs(): boolean {
  const key = keyHere.peek();
  return telling.peek() !== null || (known !== null && key !== null && key !== known);
}

effect(() => {
  const asked = there.value;
  if (asked === undefined) return;
  // If the daemon was started anew, the request in the fields counts, if somebody made one.
  if (asked === null) known = NOBODY_ASKED;
  // A request that was sent from here comes back, even while a newer one is being sent: the same may be asked
  // for on another device later.
  else if (!told.delete(keyOf(asked))) untracked(() => follow(asked));
});

function follow(asked: Asked): void {
  const key = keyOf(asked);
  if (isOurs() || key === known) return;
  // A request that was there when the page was opened changes nothing that anybody saw.
  isChangedElsewhere.value = known !== null;
  known = key;
  told.clear();
  takeOver(asked);
}

effect(() => {
  if (!isConnected.value) {
    // Requests that come back now come as part of the daemon's state.
    told.clear();
    refused = null;
    return;
  }
  const key = keyHere.value;
  if (key === null || key === telling.value) return;
  if (key === known && telling.value === null) {
    untracked(catchUp);
    return;
  }
  if (key === refused) return;
  isChangedElsewhere.value = false;
  const say = () => {
    const asked = askedHere.peek();
    if (asked !== null) void tell(asked, key);
  };
  const wait = isToldAgain ? TELL_AGAIN_MS : TELL_AFTER_MS;
  const timer = telling.value === null ? setTimeout(say, wait) : undefined;
  // The request of somebody who leaves the page at once counts all the same.
  addEventListener('pagehide', say, { once: true });
  return () => {
    clearTimeout(timer);
    removeEventListener('pagehide', say);
  };
});

/** No change made here is left to be sent, so a request that came meanwhile from another device counts. */
function catchUp(): void {
  const asked = there.peek() ?? null;
  if (asked !== null && told.size === 0) follow(asked);
}

async function tell(asked: Asked, key: string): Promise<void> {
  const isThere = () => {
    const has = there.peek() ?? null;
    return has !== null && keyOf(has) === key;
  };
  told.add(key);
  telling.value = key;
  const answer = await tellAsked(asked);
  isToldAgain = !answer.ok && TELL_AGAIN.has(answer.refusal.code);
  if (answer.ok) {
    known = key;
    // If the daemon had it already, nothing comes back on the stream.
    if (isThere()) told.delete(key);
  } else {
    told.delete(key);
    if (!isToldAgain) refused = key;
  }
  if (telling.peek() === key) telling.value = null;
}
