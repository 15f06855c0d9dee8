// What the panel says of a sounding. What its test frames show, and why the set ends where it does, the daemon says.
import { withMinus } from '../../shared/ev.js';
import { frames, percent, shutter } from './words.js';

export const soundingText = {
  sounding: {
    line: 'No spot meter? Take a sounding',
    what: (step: string) =>
      `Fires up to 8 test frames: darker until one holds the highlights, brighter until one holds the shadows. Then proposes a set ${step} EV apart.`,
    sun: 'Keep the sun out of the frame: it burns eyes, sensor, shutter and iris.',
    first: 'First test frame',
    standing: (label: string | null) =>
      label === null ? 'As set on the camera' : `As set on the camera, ${shutter(label)}`,
    metered: 'The camera meters the first test frame.',
    fire: 'Fire test frames',
    again: 'Fire test frames again',
    despiteSun: 'Fire test frames anyway',
    asking: 'Starting',
    underWay: 'Sounding',
    count: (number: number, most: number) => (number === 0 ? '' : `Test frame ${number} of up to ${most}`),
    list: 'Test frames',
    lost: (bright: number, dark: number) => `${percent(bright)} too bright, ${percent(dark)} too dark`,
    frame: (number: number, label: string | null) =>
      label === null ? `Test frame ${number}` : `Test frame ${number}, ${shutter(label)}`,
    picture: (number: number) => `Test frame ${number}`,
    stop: 'Stop',
    stopping: 'Stopping after this test frame',
    proposed: (count: number, base: string | null) =>
      base === null ? frames(count) : `${frames(count)}, base exposure ${shutter(base)}`,
    reach: (from: string, to: string, step: string) =>
      `${withMinus(from)} to ${withMinus(to)} EV, ${step} EV apart`,
    one: 'One frame holds the whole range.',
    use: 'Use this set',
    put: 'Dismiss',
    sunSeen: 'The sun may be in the frame. Read the caution above the bar before you fire.',
  },
} as const;
