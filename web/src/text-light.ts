// What the panel says of how it looks itself.
import type { Choice, Letters, Look } from './looks.js';

const choices: Readonly<Record<Choice, string>> = {
  system: 'As the system',
  sun: 'By the sun',
  day: 'Day',
  dim: 'Dim',
  night: 'Night',
};

const lookNames: Readonly<Record<Look, string>> = { day: 'day', dim: 'dim', night: 'night' };

const letterSizes: Readonly<Record<Letters, string>> = { usual: 'Usual', large: 'Large', larger: 'Larger' };

export const lightText = {
  light: {
    heading: 'Screen',
    line: (choice: Choice, look: Look, letters: Letters) =>
      [
        `Screen: ${lookNames[look]}`,
        choice === 'system' || choice === 'sun' ? `, ${choices[choice].toLowerCase()}` : '',
        letters === 'usual' ? '' : `, ${letterSizes[letters].toLowerCase()} letters`,
      ].join(''),
    choice: 'Light',
    choices,
    letters: 'Letters',
    letterSizes,
    toNight: 'Night',
    whys: {
      system: 'Day or dim, as this device is set.',
      sun: 'Day while the sun is up, dim in civil twilight, night when it is darker.',
      day: 'Strong contrast, to be read in the sun.',
      dim: 'Dark, with colours.',
      night: 'Red alone, for eyes that are used to the dark. Turn down the brightness of the screen, too.',
    } satisfies Readonly<Record<Choice, string>>,
    needsPlace: 'For that the panel has to know where this is. Until then it goes by the clock.',
    placeWhy: 'It stays in this browser.',
    kept: 'This is kept in this browser alone.',
  },
} as const;
