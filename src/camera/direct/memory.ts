// Things that the library keeps in memory, as values of this program: no call here reaches the body.
import { EvenrungError } from '../../../shared/errors.js';
import type { List, Out } from './gp.js';
import type { Gp } from './load.js';

/**
 * @returns the result of a function that fails only if there is no memory
 * @throws EvenrungError internal
 */
export function made<Kind extends bigint>(make: (out: Out<Kind>) => number): Kind {
  const out: Out<Kind> = [null];
  const code = make(out);
  if (code < 0 || !out[0])
    throw new EvenrungError('internal', `The camera's library made nothing (${code}).`);
  return out[0];
}

/** @returns the name and the value of each entry; '' if it has none */
export function entriesOf(gp: Gp, list: List): [name: string, value: string][] {
  return Array.from({ length: Math.max(0, gp.gp_list_count(list)) }, (_, index) => {
    const name: Out<string> = [null];
    const value: Out<string> = [null];
    gp.gp_list_get_name(list, index, name);
    gp.gp_list_get_value(list, index, value);
    return [name[0] ?? '', value[0] ?? ''];
  });
}
