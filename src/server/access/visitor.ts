// Who somebody is to the daemon, and what they may do. Pure: it knows neither requests nor doors.
import type { Role } from '../../../shared/access.js';
import { EvenrungError } from '../../../shared/errors.js';

export interface Visitor {
  /** Null for somebody who was not paired. */
  readonly role: Role | null;
  /** The id of the paired device; null at this computer, and for strangers. */
  readonly device: string | null;
  /** The name that others are told as that of a run's owner. */
  readonly name: string;
  /** Whether they sit at this computer. */
  readonly isHere: boolean;
}

/** What a route demands of its user. `here`: only at this computer. */
export type Need = 'nothing' | 'watch' | 'fire' | 'here';

export const AT_THIS_COMPUTER: Visitor = {
  role: 'fire',
  device: null,
  name: 'this computer',
  isHere: true,
};
export const STRANGER: Visitor = { role: null, device: null, name: 'a stranger', isHere: false };

const API = '/api/';

/**
 * What a route demands that does not say so itself: below /api/ reading takes a watcher, and anything else
 * somebody who may fire, so that a route that was forgotten is closed, not open. Everything that is not below
 * /api/ is the panel and the notes.
 * @param pattern of the route as it was declared, never the address as it was sent; undefined if no route
 *   was found
 */
export function usualNeed(method: string, pattern: string | undefined): Need {
  if (pattern === undefined || !pattern.startsWith(API)) return 'nothing';
  return method === 'GET' || method === 'HEAD' ? 'watch' : 'fire';
}

/** @throws EvenrungError not-paired, watch-only, only-here */
export function mustBeAllowed({ role, isHere }: Visitor, need: Need): void {
  if (need === 'nothing') return;
  if (role === null)
    throw new EvenrungError(
      'not-paired',
      'This device is not paired. Scan the code that the laptop shows, or run `evenrung pair` for commands.',
    );
  if (need === 'here' && !isHere)
    throw new EvenrungError('only-here', 'That can only be done on the computer that Evenrung runs on.');
  if (need === 'fire' && role !== 'fire')
    throw new EvenrungError(
      'watch-only',
      'This device may only watch. To fire from it, pair it again with a code that may fire.',
    );
}
