// The sets that were made, as far as somebody looks at them: the list page by page, one set with its frames,
// and the actions on it. They are asked for when somebody looks at them, again when a run ends, and from time
// to time while they are shown: somebody may move a set folder, or disconnect its disk.
import { computed, effect, signal } from '@preact/signals';
import { ENDED } from '../../shared/fold.js';
import type { Again, Extend, KeptSetDetail, KeptSetView, OnDisk, Relabel } from '../../shared/kept.js';
import type { FrameView } from '../../shared/state.js';
import {
  type Answer,
  askAgain,
  askComplete,
  askExtend,
  askFetch,
  askRelabel,
  askSet,
  askSets,
  type Refusal,
} from './api.js';
import { addressOf, goTo, route } from './route.js';
import { act, begunHere, connection, daemon, showsAnother, view } from './store.js';

const A_PAGE = 30;
/** As in shared/kept.ts. */
const MOST_A_PAGE = 100;
const LOOK_AGAIN_MS = 10_000;

export interface Listed {
  readonly sets: readonly KeptSetView[];
  /** The `before` of the next page; null on the last one. */
  readonly next: number | null;
}

/** Null until it was read. */
export const listed = signal<Listed | null>(null);
export const listRefusal = signal<Refusal | null>(null);
export const opened = signal<KeptSetDetail | null>(null);
export const setRefusal = signal<Refusal | null>(null);

/** Changes if sets are made or end, so that the ones on the screen are read anew. */
const fired = computed(() => {
  const run = daemon.value?.run;
  return run === undefined || run === null ? '' : `${run.set.id} ${run.state}`;
});

const isConnected = computed(() => connection.value.state === 'connected');
const shownSet = computed(() => {
  const page = route.value;
  if (page.name === 'set') return page.id;
  // The stream tells of the set under way; a schedule may go on to the next one meanwhile.
  return page.name === 'rung' && page.id !== daemon.value?.run?.set.id ? page.id : null;
});
const showsList = computed(() => route.value.name === 'sets');
/** A set that is not in the list, and is offered to be resumed, completed or viewed. */
const offered = computed(() => {
  const shown = view.value;
  return daemon.value?.unfinished?.set ?? (shown.name === 'ended' ? (shown.run?.set.id ?? null) : null);
});

/** Changes when what lies on the disk has to be looked at again. */
const looks = signal(0);
const isLookedAt = computed(() => showsList.value || shownSet.value !== null || offered.value !== null);

effect(() => {
  if (!isLookedAt.value || !isConnected.value) return;
  const lookAgain = () => {
    if (document.visibilityState === 'visible') looks.value += 1;
  };
  const timer = setInterval(lookAgain, LOOK_AGAIN_MS);
  document.addEventListener('visibilitychange', lookAgain);
  return () => {
    clearInterval(timer);
    document.removeEventListener('visibilitychange', lookAgain);
  };
});

/** The newest page; pages that were read before stay, as far as they are still next to it. */
async function readList(isWanted: () => boolean) {
  const known = listed.peek()?.sets.length ?? 0;
  const answer = await askSets(null, Math.min(MOST_A_PAGE, Math.max(A_PAGE, known)));
  if (!isWanted()) return;
  listRefusal.value = answer.ok ? null : answer.refusal;
  if (!answer.ok) return;
  const { sets, next } = answer.value;
  const oldest = sets.at(-1)?.number ?? 0;
  const before = listed.peek();
  const isNextToIt = before?.sets.some(({ number }) => number >= oldest) ?? false;
  listed.value =
    before === null || !isNextToIt || next === null
      ? { sets, next }
      : { sets: [...sets, ...before.sets.filter(({ number }) => number < oldest)], next: before.next };
}

export async function readEarlier(): Promise<void> {
  const before = listed.value;
  if (before === null || before.next === null) return;
  const answer = await askSets(before.next, A_PAGE);
  listRefusal.value = answer.ok ? null : answer.refusal;
  if (!answer.ok || listed.value !== before) return;
  listed.value = { sets: [...before.sets, ...answer.value.sets], next: answer.value.next };
}

async function readSet(id: string, isWanted: () => boolean = () => shownSet.peek() === id) {
  const answer = await askSet(id);
  if (!isWanted()) return;
  setRefusal.value = answer.ok ? null : answer.refusal;
  if (answer.ok) opened.value = answer.value;
}

/** @returns an effect that reads while something is looked at, and takes no answer that comes too late */
const whileShown = (read: (isWanted: () => boolean) => unknown) => {
  let isWanted = true;
  read(() => isWanted);
  return () => {
    isWanted = false;
  };
};

effect(() => {
  if (!showsList.value || !isConnected.value) return;
  fired.value;
  looks.value;
  return whileShown((isWanted) => void readList(isWanted));
});

effect(() => {
  const id = shownSet.value;
  if (opened.peek()?.id !== id) opened.value = null;
  setRefusal.value = null;
  if (id === null || !isConnected.value) return;
  fired.value;
  looks.value;
  return whileShown((isWanted) => void readSet(id, isWanted));
});

const lookedOn = signal<{ readonly id: string; readonly onDisk: OnDisk | null } | null>(null);

effect(() => {
  const id = offered.value;
  if (lookedOn.peek()?.id !== id) lookedOn.value = null;
  if (id === null || !isConnected.value) return;
  looks.value;
  return whileShown(async (isWanted) => {
    const answer = await askSet(id);
    if (isWanted() && answer.ok) lookedOn.value = { id, onDisk: answer.value.onDisk };
  });
});

/** @returns what of a set lies on the disk; null if it was not looked at yet, or nothing was stored */
export function onDiskOf(id: string): OnDisk | null {
  const known = opened.value?.id === id ? opened.value : lookedOn.value?.id === id ? lookedOn.value : null;
  return known?.onDisk ?? null;
}

/** Whether a set that has not ended is being made right now; if not, it was cut off. */
export const isInHand = (id: string): boolean => {
  const state = daemon.value;
  // Nothing is known yet.
  if (state === null) return true;
  return state.run?.set.id === id && !ENDED.has(state.run.state);
};

/** A frame that is to be fired again, once the page of its set is open. */
export const disliked = signal<{ readonly set: string; readonly frame: number } | null>(null);

export interface LookedAt {
  readonly id: string;
  readonly frames: readonly FrameView[];
  /** Whether frames are still being made. */
  readonly isUnderWay: boolean;
}

/** The frames of a set as they are right now; null if they are not known here. */
export function lookedAt(id: string): LookedAt | null {
  const run = daemon.value?.run ?? null;
  const set = run?.set.id === id ? run : opened.value?.id === id ? opened.value : null;
  return set === null ? null : { id, frames: set.frames, isUnderWay: !ENDED.has(set.state) };
}

/** @returns whether it was taken on */
export async function relabel(id: string, change: Relabel): Promise<boolean> {
  const answer = await act('relabel', () => askRelabel(id, change));
  if (answer?.ok !== true) return false;
  await readSet(id);
  return true;
}

/** Fires frames of a set again, or, with null, those that are missing; then the panel shows the run. */
export const fireAgain = (id: string, what: Again | null): Promise<boolean> =>
  takeUpAgain(() => (what === null ? askComplete(id) : askAgain(id, what)));

/** Adds frames at the ends of a set, and makes those that it lacks; after that the panel shows the run. */
export const extendSet = (id: string, by: Extend): Promise<boolean> => takeUpAgain(() => askExtend(id, by));

/** Looks in the camera for what never came, and fires nothing; then the panel shows the run. */
export const fetchMissing = (id: string): Promise<boolean> => takeUpAgain(() => askFetch(id));

async function takeUpAgain(ask: () => Promise<Answer<{ run: string }>>): Promise<boolean> {
  const before = daemon.peek()?.run ?? null;
  const answer = await act('again', async () => {
    const taken = await ask();
    // Until then the panel shows how the run before ended.
    if (taken.ok) await showsAnother(taken.value.run, before);
    return taken;
  });
  if (answer?.ok !== true) return false;
  begunHere(answer.value.run);
  goTo(addressOf.panel);
  scrollTo(0, 0);
  return true;
}

export type NotNow = 'needsBody' | 'busy' | 'unfinished';

/** Why nothing can be fired at the moment; null if it can. */
export const notNow = computed<NotNow | null>(() => {
  if (view.value.name === 'running') return 'busy';
  if (daemon.value?.unfinished != null) return 'unfinished';
  return daemon.value?.body.state === 'ready' ? null : 'needsBody';
});
