// The devices that are paired, as the laptop's panel shows them, and the code for another one.
import { signal } from '@preact/signals';
import type { DevicesAnswer, PairingAnswer } from '../../shared/access.js';
import { askDevices, askDrop, askPairing, type Refusal } from './api.js';

/** Null until they were asked for. */
export const devices = signal<DevicesAnswer | null>(null);
export const pairing = signal<PairingAnswer | null>(null);
export const devicesRefused = signal<Refusal | null>(null);
/** Those that were paired when the code was asked for. */
let before: ReadonlySet<string> = new Set();

export async function lookForDevices(): Promise<void> {
  const answer = await askDevices();
  if (!answer.ok) return;
  devices.value = answer.value;
  // It was used.
  if (answer.value.devices.some(({ id }) => !before.has(id))) pairing.value = null;
}

export async function newPairing(role: 'fire' | 'watch'): Promise<void> {
  await lookForDevices();
  before = new Set(devices.value?.devices.map(({ id }) => id));
  const answer = await askPairing(role);
  devicesRefused.value = answer.ok ? null : answer.refusal;
  if (answer.ok) pairing.value = answer.value;
}

export async function drop(id: string): Promise<void> {
  const answer = await askDrop(id);
  devicesRefused.value = answer.ok ? null : answer.refusal;
  await lookForDevices();
}
