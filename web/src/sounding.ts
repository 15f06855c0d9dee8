// A sounding as the panel asks for it and shows it. The stream tells how it goes; its proposal fills the
// fields at one press.
import { computed, signal } from '@preact/signals';
import { formatEv } from '../../shared/ev.js';
import type { Proposal, SoundingView, WrittenSoundRequest } from '../../shared/sounding.js';
import { askPutSoundingAway, askSound, askStopSounding } from './api.js';
import { asProposed } from './sounding-form.js';
import { act, ask, daemon, request } from './store.js';

/** The shutter of the first test frame; null for the camera's present one. */
export const firstShutter = signal<string | null>(null);

/** The sounding that was put away here, until every device hears of it. */
const doneWith = signal<string | null>(null);

/** The sounding to be shown; null if there is none. */
export const sounding = computed<SoundingView | null>(() => {
  const last = daemon.value?.sounding ?? null;
  return last?.id === doneWith.value ? null : last;
});

export const isSounding = computed(() => daemon.value?.sounding?.state === 'firing');

/**
 * The caution of a sounding that has seen what may be the sun: it is shown at the bar until the sounding is
 * put away.
 */
export const sunSeen = computed<readonly string[]>(() => {
  const { state, sentence = null, proposal = null } = sounding.value ?? {};
  const caution = state === 'sun' ? sentence : (proposal?.caution ?? null);
  return caution === null ? [] : [caution];
});

/** The sounding that was told to stop, until it has. */
export const stoppingSounding = signal<string | null>(null);

export const putAway = (): void => {
  doneWith.value = daemon.peek()?.sounding?.id ?? null;
  void askPutSoundingAway();
};

/** @param despiteSun whether somebody has read the caution on the sun */
export async function takeSounding(despiteSun = false): Promise<void> {
  await act('sound', () => askSound(writtenRequest(despiteSun)));
}

function writtenRequest(despiteSun: boolean): WrittenSoundRequest {
  const { step, mode } = request.peek();
  const from = mode === 'manual' ? firstShutter.peek() : null;
  return {
    ...{ step: formatEv(step, false), mode },
    ...(from === null ? {} : { from }),
    ...(despiteSun ? { despiteSun } : {}),
  };
}

export async function stopSounding(): Promise<void> {
  const id = sounding.peek()?.id ?? null;
  const answer = await act('sound', askStopSounding);
  if (answer?.ok === true) stoppingSounding.value = id;
}

/** It stays on the screen if it has a caution: that is read until something is fired. */
export function useSet({ set, caution }: Proposal): void {
  ask(() => {
    request.value = asProposed(request.peek(), set);
    if (caution === null) putAway();
  });
}
