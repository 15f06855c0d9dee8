// What the panel says of a sounding. What its test frames show, and why the set ends where it does, the daemon says.
import { frames, percent, shutter } from './words.js';

export const soundingText = {
  sounding: {
    line: 'No spot meter? Take a sounding',
    what: (step: string) =>
      `Fires at most 8 test frames, darker until one holds the highlights, brighter until one lifts the shadows, and proposes a set ${step} EV apart.`,
    sun: 'Before you fire: keep the sun out of the frame. It burns eyes, sensor, shutter and iris.',
    first: 'First test frame',
    standing: (label: string | null) =>
      label === null ? 'As the camera stands' : `As the camera stands, ${shutter(label)}`,
    metered: 'The camera meters the first one.',
    fire: 'Fire test frames',
    again: 'Fire test frames again',
    despiteSun: 'Fire test frames all the same',
    asking: 'Asking',
    underWay: 'Sounding',
    count: (number: number, most: number) => (number === 0 ? '' : `Test frame ${number} of ${most} at most`),
    list: 'Test frames',
    lost: (bright: number, dark: number) => `${percent(bright)} too bright, ${percent(dark)} too dark`,
    frame: (number: number, label: string | null) =>
      label === null ? `Test frame ${number}` : `Test frame ${number}, ${shutter(label)}`,
    picture: (number: number) => `Test frame ${number}`,
    stop: 'Stop',
    stopping: 'Stopping after this test frame',
    proposed: (count: number, base: string | null) =>
      base === null ? frames(count) : `${frames(count)}, base ${shutter(base)}`,
    reach: (from: string, to: string, step: string) => `${from} to ${to} EV, ${step} EV apart`,
    one: 'One frame holds all of it.',
    use: 'Use this set',
    put: 'Put it away',
    sunSeen: 'The sun may be in the frame. Read the caution at the bar before you fire.',
  },
} as const;
