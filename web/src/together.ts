// The set that is asked for is the same on all devices: what is changed here is told to the daemon, and what was changed on another
// device is taken over, so that the phone fires what was set up at the laptop. A page on which nobody changed anything tells nothing:
// what it told would undo a change that is still on its way from another one.
import { computed, effect, signal, untracked } from '@preact/signals';
import type { Asked } from '../../shared/asked.js';
import { NO_ANSWER, tellAsked } from './api.js';
import { keyOf, keyOfForm, USUAL_REQUEST } from './request.js';
import { askedHere, connection, daemon, takeOver } from './store.js';

/** Whoever types has not asked yet. */
const TELL_AFTER_MS = 250;
/** What got no answer, or came at a bad time, is told again. */
const TELL_AGAIN_MS = 1000;
const TELL_AGAIN: ReadonlySet<string> = new Set([NO_ANSWER, 'too-many-requests']);

/** What the daemon has, as it told last; null where nobody has asked for anything, undefined before it is known. */
const there = computed(() => daemon.value?.asked);
const isConnected = computed(() => connection.value.state === 'connected');
/** What stands in the fields; null where it cannot be told. */
const keyHere = computed(() => (askedHere.value === null ? null : keyOf(askedHere.value)));

/** What stands on a page before anybody has asked for anything. */
const NOBODY_ASKED = keyOfForm(USUAL_REQUEST);

/** What the daemon had when this page and it last agreed; null before that. */
let known: string | null = null;
/** Whether what stands in the fields comes from another device, and nothing was changed here since. */
export const isChangedElsewhere = signal(false);
/** Told, and not yet come back on the stream. */
const told = new Set<string>();
/** What is being told. One after the other: they must not overtake each other. */
const telling = signal<string | null>(null);
/** What the daemon will not have, however often it is told. */
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
  // A daemon that began anew: what stands here counts, where somebody asked for it.
  if (asked === null) known = NOBODY_ASKED;
  // What was told here comes back, also while something newer is being told: the same may be asked for on another device later.
  else if (!told.delete(keyOf(asked))) untracked(() => follow(asked));
});

function follow(asked: Asked): void {
  const key = keyOf(asked);
  if (isOurs() || key === known) return;
  // What is there when the page is opened changes nothing that anybody saw.
  isChangedElsewhere.value = known !== null;
  known = key;
  told.clear();
  takeOver(asked);
}

effect(() => {
  if (!isConnected.value) {
    // What comes back now comes as the daemon's state.
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
  // Whoever leaves the page at once has asked all the same.
  addEventListener('pagehide', say, { once: true });
  return () => {
    clearTimeout(timer);
    removeEventListener('pagehide', say);
  };
});

/** Nothing of what was changed here is left to be told: whatever came meanwhile from another device counts. */
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
    // Where the daemon had it already nothing comes back on the stream.
    if (isThere()) told.delete(key);
  } else {
    told.delete(key);
    if (!isToldAgain) refused = key;
  }
  if (telling.peek() === key) telling.value = null;
}
