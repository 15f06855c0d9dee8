// What the panel says of how it looks itself.
import type { Choice, Letters, Look } from './looks.js';

const choices: Readonly<Record<Choice, string>> = {
  system: 'Follow the system',
  sun: 'Follow the sun',
  day: 'Day',
  dim: 'Dim',
  night: 'Night',
};

const lookNames: Readonly<Record<Look, string>> = { day: 'day', dim: 'dim', night: 'night' };

const letterSizes: Readonly<Record<Letters, string>> = {
  usual: 'Normal',
  large: 'Large',
  larger: 'Extra large',
};

export const lightText = {
  light: {
    heading: 'Screen',
    line: (choice: Choice, look: Look, letters: Letters) =>
      [
        `Screen: ${lookNames[look]}`,
        choice === 'system' || choice === 'sun' ? `, following the ${choice}` : '',
        letters === 'usual' ? '' : `, ${letterSizes[letters].toLowerCase()} text`,
      ].join(''),
    choice: 'Appearance',
    choices,
    letters: 'Text size',
    letterSizes,
    toNight: 'Night',
    whys: {
      system: 'Day or dim, as this device is set.',
      sun: 'Day while the sun is up, dim in civil twilight, night when it is darker.',
      day: 'High contrast, for bright sun.',
      dim: 'Dark, in colour.',
      night: 'Red only, to keep your night vision. Turn down the screen brightness, too.',
    } satisfies Readonly<Record<Choice, string>>,
    needsPlace: 'This needs your location. Until then it goes by the time of day.',
    placeWhy: 'Saved in this browser only.',
    kept: 'These choices are saved in this browser only.',
  },
} as const;
