// Settings as rules read them: found under one of several names, compared without regard to case, and fit for a sentence
// whatever a body says. It knows no rule.
import type { Setting, Settings } from '../link.js';

/** Longest piece of a body's own text in a sentence. */
const MOST_SHOWN = 40;
/** No label of libgphoto2 is nearly this long: text beyond it is not looked at. */
const LONGEST_LABEL = 200;

/** One setting that a body has. */
export interface Told {
  readonly name: string;
  readonly kind: Setting['kind'];
  /** Trimmed and in lower case. */
  readonly label: string;
  /** For sentences: cut, and without what cannot be shown. */
  readonly shown: string;
  /** False if the library has no word for the value, or if there is no value. */
  readonly readable: boolean;
  /** Whether a choice fits; tested in lower case. */
  offers(fits: (label: string) => boolean): boolean;
}

const plain = (label: string): string => label.slice(0, LONGEST_LABEL).trim().toLowerCase();

/**
 * libgphoto2 2.5.30 writes these for a value that none of its labels stands for, or for a property without
 * one.
 */
const NO_WORD = /^(?:unknown|undefined|broken|invalid range|<null>|val [0-9a-f]+$)/;
const UNDECODED = '\u{fffd}';

function tell({ name, kind, value, choices = [] }: Setting): Told {
  const label = plain(value);
  return {
    name,
    kind,
    label,
    shown: shownAs(value),
    readable: label !== '' && !NO_WORD.test(label) && !label.includes(UNDECODED),
    offers: (fits) => choices.some((choice) => fits(plain(choice))),
  };
}

/** @returns the settings that the body has of these, in the order of the names */
export const toldOf = (settings: Settings, names: readonly string[]): Told[] =>
  names.flatMap((name) => {
    const setting = settings.get(name);
    return setting === undefined ? [] : [tell(setting)];
  });

/** @returns the first of these settings that the body has; undefined if it has none */
export const firstOf = (settings: Settings, names: readonly string[]): Told | undefined =>
  toldOf(settings, names)[0];

/** @returns whether a switch is on; undefined if the body has none, or if it says neither */
export function isOn(settings: Settings, name: string): boolean | undefined {
  const label = firstOf(settings, [name])?.label;
  if (label === 'on' || label === '1') return true;
  return label === 'off' || label === '0' ? false : undefined;
}

/**
 * @param unit what follows the number
 * @returns the number that a setting says; undefined if it says none
 */
export function numberOf(settings: Settings, name: string, unit = ''): number | undefined {
  const label = firstOf(settings, [name])?.label ?? '';
  const digits = label.endsWith(unit) ? label.slice(0, label.length - unit.length) : '';
  return /^\d+(?:\.\d+)?$/.test(digits) ? Number(digits) : undefined;
}

function shownAs(value: string): string {
  const printable = value
    .slice(0, LONGEST_LABEL)
    .replace(/[\p{C}\u{fffd}\s]+/gu, ' ')
    .trim();
  if (printable === '') return 'nothing readable';
  const characters = [...printable];
  return characters.length > MOST_SHOWN ? `${characters.slice(0, MOST_SHOWN).join('')}...` : printable;
}
