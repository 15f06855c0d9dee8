// The sentences that are told while a sounding goes on, and the command line that fires the set that it
// proposes. Pure.
import type { Proposal } from '../../shared/sounding.js';
import type { TestPurpose } from '../plan/index.js';

const PURPOSES: Readonly<Record<TestPurpose | 'ready', string>> = {
  ready: 'Getting the camera ready.',
  start: 'The first test frame.',
  darker: 'Darker, until a frame holds the highlights.',
  spot: 'Darker still: is a white spot a lamp, or the sun?',
  brighter: 'Brighter, until a frame opens the shadows.',
  darkest: 'The darkest frame of the set, as a proof.',
  brightest: 'The brightest frame of the set, as a proof.',
};

export const purposeInWords = (to: TestPurpose | 'ready'): string => PURPOSES[to];

/** @returns a command line that fires the set */
export function commandFor({ from, to, step, base, mode }: Proposal['set']): string {
  const options = [
    ['from', from],
    ['to', to],
    ['step', step],
    ...(base === undefined ? [] : [['base', base]]),
    ...(mode === 'manual' ? [] : [['mode', mode]]),
  ];
  return `evenrung fire ${options.map(([name, value]) => `--${name} ${quoted(value ?? '')}`).join(' ')}`;
}

const quoted = (value: string): string => (value.includes(' ') ? `"${value}"` : value);
