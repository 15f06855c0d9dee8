// Calls for somebody at this device if a run halts, or stops by itself: by a band and, if somebody here has
// allowed them, by sound and vibration, until it is seen. Nothing sounds that nobody has allowed, and if the
// browser blocks the sound, the page says so.
import { computed, effect, signal } from '@preact/signals';
import { remembered } from './remember.js';
import { daemon, type View, view } from './store.js';

/** Whether somebody at this device wants to hear it. */
export const isAllowed = remembered('alarm', false, (kept) => (typeof kept === 'boolean' ? kept : undefined));

export interface Call {
  /** The id of the run. */
  readonly run: string;
  readonly state: 'halted' | 'stopped';
  readonly sentence: string | null;
  readonly at: string | null;
}

/** The call that nobody has seen yet; null if there is none. */
export const call = signal<Call | null>(null);

/**
 * The run that was last seen under way in this tab: if it halted while the page was gone, that calls, too.
 */
const underWay = remembered<string | null>(
  'under-way',
  null,
  (kept) => (typeof kept === 'string' ? kept : undefined),
  'session',
);

effect(() => {
  const shown = view.value;
  const state = daemon.value;
  if (state === null || shown.name === 'ask') return;
  if (shown.name === 'running') {
    underWay.value = shown.id;
    // Somebody who resumes it, or fires anew, is there.
    call.value = null;
    return;
  }
  if (underWay.peek() !== shown.id) return;
  underWay.value = null;
  call.value = callFor(shown);
});

/** @returns null if a run ended as it should, or was stopped by a person */
function callFor({ id, run, schedule }: Extract<View, { name: 'ended' }>): Call | null {
  const ended = schedule ?? run;
  if (ended === null || (ended.state !== 'halted' && ended.state !== 'stopped')) return null;
  if (ended.state === 'stopped' && schedule?.early !== true) return null;
  return { run: id, state: ended.state, sentence: ended.sentence, at: ended.endedAt };
}

/** It is tried: it sounds until it is enough. */
export const isTrying = signal(false);

export function seen(): void {
  call.value = null;
  isTrying.value = false;
}

const calls = computed(() => isAllowed.value && (call.value !== null || isTrying.value));

// --- The sound: three tones, each higher than the one before, then a rest. Its own pattern.

const TONES_HZ = [523.25, 659.25, 880];
const TONE_SECONDS = 0.22;
const ROUND_SECONDS = 1.6;
/** Tones that begin and end at once click. */
const EDGE_SECONDS = 0.02;
const LOUDNESS = 0.7;

export type Sound =
  /** Nobody has asked for it. */
  | 'off'
  | 'ready'
  /** The browser waits for a touch or a key on this page. */
  | 'blocked'
  /** It cannot. */
  | 'none';

export const sound = signal<Sound>('off');

let context: AudioContext | null = null;
let source: AudioBufferSourceNode | null = null;

function prepare() {
  if (context !== null) return;
  try {
    context = new AudioContext();
  } catch {
    sound.value = 'none';
    return;
  }
  context.onstatechange = tellSound;
  tellSound();
}

function tellSound() {
  if (context !== null) sound.value = context.state === 'running' ? 'ready' : 'blocked';
}

/** Has an effect only within a touch or a key, as far as browsers go; it is tried all the same. */
function wake() {
  if (context !== null && context.state !== 'running') void context.resume().catch(() => undefined);
}

function oneRound(of: AudioContext): AudioBuffer {
  const rate = of.sampleRate;
  const round = of.createBuffer(1, Math.ceil(ROUND_SECONDS * rate), rate);
  const samples = round.getChannelData(0);
  TONES_HZ.forEach((hertz, index) => {
    const from = Math.ceil(index * TONE_SECONDS * rate);
    const length = Math.floor(TONE_SECONDS * rate);
    for (let at = 0; at < length; at += 1) {
      const seconds = at / rate;
      const edge = Math.min(1, seconds / EDGE_SECONDS, (TONE_SECONDS - seconds) / EDGE_SECONDS);
      // With its third harmonic: a small loudspeaker in the wind has few low tones.
      const turn = 2 * Math.PI * hertz * seconds;
      samples[from + at] = LOUDNESS * edge * (0.75 * Math.sin(turn) + 0.25 * Math.sin(3 * turn));
    }
  });
  return round;
}

/** A buffer that repeats itself goes on where timers of pages in the background are held up. */
function sing() {
  if (context === null || source !== null) return;
  wake();
  source = context.createBufferSource();
  source.buffer = oneRound(context);
  source.loop = true;
  source.connect(context.destination);
  source.start();
}

function hush() {
  source?.stop();
  source?.disconnect();
  source = null;
}

// --- The tremble.

const TREMBLE_MS = [400, 150, 400, 150, 400];
const TREMBLE_AGAIN_MS = 3000;

export const canTremble = typeof navigator.vibrate === 'function';

/** Browsers let nothing tremble before a page was touched, and complain of who tries. */
function tremble() {
  if (canTremble && navigator.userActivation?.hasBeenActive !== false) navigator.vibrate(TREMBLE_MS);
}

effect(() => {
  if (!isAllowed.value) {
    sound.value = 'off';
    isTrying.value = false;
    return;
  }
  prepare();
  wake();
});

// Sound that was allowed at an earlier visit needs a touch in this one.
for (const sign of ['pointerdown', 'pointerup', 'keydown'] as const)
  addEventListener(sign, wake, { passive: true });

effect(() => {
  if (!calls.value) return;
  sing();
  tremble();
  const timer = setInterval(tremble, TREMBLE_AGAIN_MS);
  return () => {
    clearInterval(timer);
    hush();
    if (canTremble && navigator.userActivation?.hasBeenActive !== false) navigator.vibrate(0);
  };
});

/** To be called from a click. */
export function allow(isWanted: boolean): void {
  isAllowed.value = isWanted;
  if (isWanted) wake();
}

const TITLE = document.title;

/** @param words the page's title while nobody has seen the call; null for its own title */
export function entitle(words: string | null): void {
  document.title = words ?? TITLE;
}
