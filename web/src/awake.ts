// Keeps the screen of this device on while a run is under way, if the browser can: a phone that goes dark
// shows no progress and sounds no alarm. Must know nothing of what is on the screen.
import { computed, effect, signal } from '@preact/signals';
import { isHeld, view } from './store.js';

/**
 * A run that is held for longer than this waits for somebody who has gone, and then the battery counts more.
 */
const HELD_LONG_MS = 10 * 60_000;

export type Awake =
  | 'off'
  | 'asked'
  | 'on'
  /** This browser cannot do it. */
  | 'none'
  /** Browsers allow it only on pages that came over a secure connection. */
  | 'insecure'
  /** The device wants to go dark, to save its battery for instance. */
  | 'refused';

export const awake = signal<Awake>('off');

const isVisible = signal(document.visibilityState === 'visible');
document.addEventListener('visibilitychange', () => {
  isVisible.value = document.visibilityState === 'visible';
});

const isHeldLong = signal(false);
effect(() => {
  isHeldLong.value = false;
  if (!isHeld.value) return;
  const timer = setTimeout(() => {
    isHeldLong.value = true;
  }, HELD_LONG_MS);
  return () => clearTimeout(timer);
});

const isWanted = computed(() => view.value.name === 'running' && !isHeldLong.value);

// The browser lets go by itself when the page is not visible any more, and has to be asked again when it is.
effect(() => {
  if (!isWanted.value) {
    awake.value = 'off';
    return;
  }
  if (!isVisible.value) return;
  if (!('wakeLock' in navigator)) {
    awake.value = isSecureContext ? 'none' : 'insecure';
    return;
  }
  let isOver = false;
  let lock: WakeLockSentinel | null = null;
  awake.value = 'asked';
  navigator.wakeLock.request('screen').then(
    (taken) => {
      if (isOver) return void taken.release();
      lock = taken;
      awake.value = 'on';
      taken.addEventListener('release', () => {
        if (!isOver && document.visibilityState === 'visible') awake.value = 'refused';
      });
    },
    () => {
      if (!isOver) awake.value = 'refused';
    },
  );
  return () => {
    isOver = true;
    void lock?.release();
  };
});
