// Checks a value before it is written, and decides whether it was taken. A write by label is safe only if it
// is checked against the present choices.
import { EvenrungError } from '../../../shared/errors.js';
import type { Setting } from '../link.js';
import type { TreeSetting } from './settings-tree.js';

/** How many choices a sentence lists. */
const CHOICES_SHOWN = 5;

/** The setting without the fields that are for the link alone. */
export function shown({ readsBack: _, ...setting }: TreeSetting): Setting {
  return setting;
}

/** @returns the error of a setting that the body does not have */
export const noSuchSetting = (name: string): EvenrungError =>
  new EvenrungError('unknown-setting', `The camera has no setting '${name}' as it is set now.`, { name });

/** @throws EvenrungError choice-not-offered */
export function checkOffered({ name, kind, choices }: Setting, value: string): void {
  const offered = kind === 'toggle' ? ['on', 'off'] : choices;
  if (kind === 'range' && !Number.isFinite(Number.parseFloat(value))) {
    throw new EvenrungError('choice-not-offered', `'${name}' takes a number, not '${value}'.`, { name });
  }
  // Digits are read up to the first other sign: of a written-out date that would be the year.
  if (kind === 'date' && !/^\d{1,12}$/.test(value)) {
    throw new EvenrungError('choice-not-offered', `'${name}' takes seconds since 1970, not '${value}'.`, {
      name,
    });
  }
  if (offered === undefined || offered.includes(value)) return;
  const some = offered.slice(0, CHOICES_SHOWN).map((choice) => `'${choice}'`);
  const list = some.length < offered.length ? `${some.join(', ')} ...` : some.join(', ');
  throw new EvenrungError(
    'choice-not-offered',
    `The camera does not offer '${value}' for '${name}' as it is set now. ${offered.length === 0 ? 'It offers nothing.' : `It offers ${list}`}`,
    { name, wanted: value },
  );
}

/**
 * @returns whether the value that was found is the one that was written, as far as the setting can be read
 *   back at all
 */
export function isTaken({ kind, readsBack }: TreeSetting, found: string, wanted: string): boolean {
  if (!readsBack || found === wanted) return true;
  return kind === 'range' && Math.abs(Number(found) - Number(wanted)) < 1e-4;
}

/** @returns the error of a write that reading back did not find */
export const foundOtherwise = (name: string, wanted: string, found: string): EvenrungError =>
  new EvenrungError(
    'setting-not-taken',
    `The camera was told to set '${name}' to '${wanted}', but reports '${found}'. Check its mode dial, and leave its menus.`,
    { name, wanted, found },
  );
