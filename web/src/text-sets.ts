// What the panel says of finished sets, of what they are called, and of firing them again.
import { allOf, count, frames, shutter } from './words.js';

export const setsText = {
  labels: {
    line: (name: string, viewpoint: string) =>
      [name.trim(), viewpoint.trim() === '' ? '' : `viewpoint ${viewpoint.trim()}`]
        .filter((part) => part !== '')
        .join(', ') || 'Name, note, viewpoint',
    name: 'Name',
    note: 'Note',
    viewpoint: 'Viewpoint',
    next: 'Next viewpoint',
    nextOf: (number: number) => `Set at viewpoint ${number}`,
    why: 'They go into the record of each set. A viewpoint is a place where the tripod stands.',
    unreadable: 'Write the number of the viewpoint, from 1 to 9999, or nothing.',
  },
  list: {
    link: 'Finished sets',
    back: 'Panel',
    heading: 'Finished sets',
    none: 'No set was made yet.',
    loading: 'Reading the sets',
    earlier: 'Earlier sets',
    unnamed: (at: string) => `Set of ${at}`,
    viewpoint: (viewpoint: string) => `viewpoint ${viewpoint}`,
    verified: (verified: number, of: number) =>
      verified === of ? frames(of) : `${verified} of ${frames(of)}`,
    ofSchedule: (ordinal: number) => `set ${ordinal} of a schedule`,
    practice: 'practice: nothing was photographed',
    underWay: 'Under way',
    cutOff: 'Interrupted',
    again: 'Try again',
  },
  onDisk: {
    gone: 'Set folder missing',
    lacking: (missing: number, changed: number) =>
      [
        missing === 0 ? '' : count(missing, 'file missing', 'files missing'),
        changed === 0 ? '' : count(changed, 'file changed', 'files changed'),
      ]
        .filter((part) => part !== '')
        .join(', '),
    missing: 'file missing',
    changed: 'Its file has another size than when it came.',
    back: (there: number, of: number) => `The set folder is back, with ${there} of ${frames(of)}.`,
  },
  set: {
    all: 'All finished sets',
    base: (label: string, settings: string) =>
      `Base ${shutter(label)}${settings === '' ? '' : `, ${settings}`}`,
    practice: 'Practice: nothing was photographed.',
    sheet: 'Contact sheet',
    sheetOf: (name: string) => `Contact sheet of ${name}`,
    frames: 'Frames',
    notMade: 'not made',
    frame: (number: number, offset: string, label: string) =>
      `Frame ${number}, ${offset} EV, ${shutter(label)}`,
    files: (one: string, other: string) => `${one} and ${other}`,
    open: (number: number) => `Frame ${number} at full size`,
    change: 'Change name and note',
    save: 'Save',
    leave: 'Cancel',
    notes: 'Notes',
    asides: (number: number) => count(number, 'file set aside', 'files set aside'),
    strays: (number: number) => count(number, 'release without a file', 'releases without a file'),
    stray: (frame: number, at: string) => `Frame ${frame}, released ${at}:`,
    complete: 'Complete this set',
    look: 'Look at this set',
    fireAgain: 'Fire again',
    extend: 'Add frames',
    extendHow: (darkest: string, brightest: string) =>
      `This set goes from ${darkest} to ${brightest} EV. How many frames more at each end?`,
    extendTo: (darkest: string, brightest: string) => `Then it goes from ${darkest} to ${brightest} EV.`,
    added: { brighter: 'Brighter frames', darker: 'Darker frames' },
    more: { brighter: 'One brighter frame more', darker: 'One darker frame more' },
    fewer: { brighter: 'One brighter frame fewer', darker: 'One darker frame fewer' },
    extendBy: (number: number) => (number === 0 ? 'No frame to add' : `Add ${frames(number)}`),
    choose: 'Choose frames, or a whole pass.',
    choice: 'Choose',
    choiceOf: (number: number) => `frame ${number}`,
    pass: (number: number, made: readonly number[]) =>
      `Pass ${number}: ${made.length === 1 ? 'frame' : 'frames'} ${allOf(made)}`,
    chosen: (number: number) => (number === 0 ? 'No frame chosen' : `Fire ${frames(number)} again`),
    inCamera: (files: number) =>
      files === 1
        ? 'One file never came. It may lie in the camera.'
        : `${files} files never came. They may lie in the camera.`,
    lookInCamera: 'Look in the camera',
    looking: 'Looking',
    needsBody: 'To fire again, a camera has to be there.',
    busy: 'A run is under way: wait for its end.',
    unfinished: 'An earlier set was cut off: go on with it or end it first.',
  },
  confirm: {
    light: (at: string) =>
      `The set was begun ${at}. The light may have moved since, and the camera: what is fired now may not match the other frames. Frames that are there are kept.`,
    complete: (missing: number) =>
      missing === 0
        ? 'Write the record of this set? Nothing is fired.'
        : `Fire the ${missing === 1 ? 'frame that is' : `${missing} frames that are`} missing?`,
    extend: (darker: number, brighter: number, missing: number) => {
      const ends = [darker === 0 ? '' : `${darker} darker`, brighter === 0 ? '' : `${brighter} brighter`];
      const what = ends.filter((part) => part !== '').join(' and ');
      const also =
        missing === 0 ? '' : `, and the ${missing === 1 ? 'one that is' : `${missing} that are`} missing`;
      return `Add ${what} ${darker + brighter === 1 ? 'frame' : 'frames'}${also}?`;
    },
    frames: (numbers: readonly number[]) =>
      `Fire ${numbers.length === 1 ? 'frame' : 'frames'} ${allOf(numbers)} again?`,
    pass: (number: number) => `Fire pass ${number} again?`,
    fire: 'Fire',
    leave: 'Cancel',
    starting: 'Starting',
  },
} as const;
