// Values that this browser keeps from one visit to the next. A browser that keeps nothing (private windows, a
// full disk) does no harm.
import { effect, type ReadonlySignal, type Signal, signal } from '@preact/signals';
import { KEPT, recall, storeAt, type Where } from './recall.js';

export { oneOf, recall, textsOver } from './recall.js';

/**
 * @returns a signal that begins with the kept value; `read` returns undefined for a value that it cannot
 *   use
 */
export function remembered<T>(
  name: string,
  otherwise: T,
  read: (kept: unknown) => T | undefined,
  where: Where = 'local',
): Signal<T> {
  const kept = signal(read(recall(where, name)) ?? otherwise);
  keepsUp(name, kept, where);
  return kept;
}

/** Has this browser keep a value whenever it changes. */
export function keepsUp<T>(name: string, value: ReadonlySignal<T>, where: Where = 'local'): void {
  effect(() => keep(where, name, value.value));
}

/** Has a signal follow what another page of this browser keeps under its name. */
export function follows<T>(kept: Signal<T>, name: string, read: (kept: unknown) => T | undefined): void {
  const lookAgain = () => {
    const found = read(recall('local', name));
    if (found !== undefined) kept.value = found;
  };
  addEventListener('storage', ({ key }) => {
    if (key === KEPT + name) lookAgain();
  });
  // A page that was left and is come back to was told of nothing meanwhile.
  addEventListener('pageshow', ({ persisted }) => {
    if (persisted) lookAgain();
  });
}

function keep(where: Where, name: string, value: unknown) {
  try {
    storeAt(where).setItem(KEPT + name, JSON.stringify(value));
  } catch {
    // Then it is asked for again at the next visit.
  }
}
