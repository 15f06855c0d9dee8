// Values that this browser has kept, as they were written. Must need nothing else, since it is also used
// before the page is painted.

export const KEPT = 'evenrung.';

export type Where = 'local' | 'session';

export const storeAt = (where: Where): Storage => (where === 'local' ? localStorage : sessionStorage);

/** @returns null if nothing was kept, or nothing can be read */
export function recall(where: Where, name: string): unknown {
  try {
    return JSON.parse(storeAt(where).getItem(KEPT + name) ?? 'null');
  } catch {
    return null;
  }
}

/** @returns the fields of a kept record that are texts, over those of another one */
export function textsOver<T extends { readonly [Name in keyof T]: string }>(
  otherwise: T,
): (kept: unknown) => T | undefined {
  return (kept) => {
    if (typeof kept !== 'object' || kept === null) return undefined;
    const found = kept as Readonly<Record<string, unknown>>;
    const texts = Object.keys(otherwise).filter((key) => typeof found[key] === 'string');
    return { ...otherwise, ...Object.fromEntries(texts.map((key) => [key, found[key]])) };
  };
}

/** @returns a function that reads one of these words, and returns undefined for anything else */
export function oneOf<T extends string>(words: readonly T[]): (kept: unknown) => T | undefined {
  return (kept) => words.find((word) => word === kept);
}
