// What this browser keeps from one visit to the next. A browser that keeps nothing (private windows, a full disk) is no trouble.
import { effect, type Signal, signal } from '@preact/signals';

const PREFIX = 'evenrung.';

/** @returns a signal that begins with what was kept; `read` gives undefined for what it cannot use */
export function remembered<T>(
  name: string,
  otherwise: T,
  read: (kept: unknown) => T | undefined,
  where: 'local' | 'session' = 'local',
): Signal<T> {
  const kept = signal(read(recall(where, name)) ?? otherwise);
  effect(() => keep(where, name, kept.value));
  return kept;
}

const storeAt = (where: 'local' | 'session') => (where === 'local' ? localStorage : sessionStorage);

function recall(where: 'local' | 'session', name: string): unknown {
  try {
    return JSON.parse(storeAt(where).getItem(PREFIX + name) ?? 'null');
  } catch {
    return null;
  }
}

function keep(where: 'local' | 'session', name: string, value: unknown) {
  try {
    storeAt(where).setItem(PREFIX + name, JSON.stringify(value));
  } catch {
    // Then it is asked for again at the next visit.
  }
}

/** @returns the fields of a kept record that are texts, over those of another one */
export function textsOver<T extends Readonly<Record<string, string>>>(
  otherwise: T,
): (kept: unknown) => T | undefined {
  return (kept) => {
    if (typeof kept !== 'object' || kept === null) return undefined;
    const found = kept as Readonly<Record<string, unknown>>;
    const texts = Object.keys(otherwise).filter((key) => typeof found[key] === 'string');
    return { ...otherwise, ...Object.fromEntries(texts.map((key) => [key, found[key]])) };
  };
}
