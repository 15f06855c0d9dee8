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
    nextOf: (number: number) => `New set at viewpoint ${number}`,
    why: 'Saved with each set. A viewpoint is a tripod position.',
    unreadable: 'Enter a viewpoint number from 1 to 9999, or leave it blank.',
  },
  list: {
    link: 'Sets',
    back: 'Camera',
    heading: 'Sets',
    none: 'No sets yet.',
    loading: 'Loading sets',
    earlier: 'Earlier sets',
    unnamed: (at: string) => `Set of ${at}`,
    viewpoint: (viewpoint: string) => `viewpoint ${viewpoint}`,
    verified: (verified: number, of: number) =>
      verified === of ? frames(of) : `${verified} of ${frames(of)}`,
    ofSchedule: (ordinal: number) => `set ${ordinal} of a schedule`,
    practice: 'practice',
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
    changed: 'The size of its file has changed since it arrived.',
    back: (there: number, of: number) => `The set folder is back, with ${there} of ${frames(of)}.`,
  },
  set: {
    all: 'All sets',
    base: (label: string, settings: string) =>
      `Base exposure ${shutter(label)}${settings === '' ? '' : `, ${settings}`}`,
    practice: 'Practice set: no real pictures were taken.',
    sheet: 'Contact sheet',
    sheetOf: (name: string) => `Contact sheet of ${name}`,
    frames: 'Frames',
    notMade: 'missing',
    frame: (number: number, offset: string, label: string) =>
      `Frame ${number}, ${offset} EV, ${shutter(label)}`,
    files: (one: string, other: string) => `${one} and ${other}`,
    open: (number: number) => `Frame ${number} at full size`,
    change: 'Edit name and note',
    save: 'Save',
    leave: 'Cancel',
    notes: 'Notes',
    asides: (number: number) => count(number, 'other file kept', 'other files kept'),
    strays: (number: number) => count(number, 'release with no file', 'releases with no file'),
    stray: (frame: number, at: string) => `Frame ${frame}, fired ${at}:`,
    complete: 'Complete this set',
    look: 'View this set',
    fireAgain: 'Reshoot',
    extend: 'Add frames',
    extendHow: (darkest: string, brightest: string) =>
      `This set goes from ${darkest} to ${brightest} EV. How many more frames at each end?`,
    extendTo: (darkest: string, brightest: string) => `It will then go from ${darkest} to ${brightest} EV.`,
    added: { brighter: 'Brighter frames', darker: 'Darker frames' },
    more: { brighter: 'One more brighter frame', darker: 'One more darker frame' },
    fewer: { brighter: 'One fewer brighter frame', darker: 'One fewer darker frame' },
    extendBy: (number: number) => (number === 0 ? 'No frames to add' : `Add ${frames(number)}`),
    choose: 'Select frames, or a whole pass.',
    choice: 'Select',
    choiceOf: (number: number) => `frame ${number}`,
    pass: (number: number, made: readonly number[]) =>
      `Pass ${number}: ${made.length === 1 ? 'frame' : 'frames'} ${allOf(made)}`,
    chosen: (number: number) => (number === 0 ? 'Nothing selected' : `Reshoot ${frames(number)}`),
    inCamera: (files: number) =>
      files === 1
        ? 'One file never arrived. It may still be in the camera.'
        : `${files} files never arrived. They may still be in the camera.`,
    lookInCamera: 'Look in the camera',
    looking: 'Looking',
    needsBody: 'Connect a camera first.',
    busy: 'Another set is under way: wait until it ends.',
    unfinished: 'Resume or end the interrupted set first.',
  },
  confirm: {
    light: (at: string) =>
      `This set was started ${at}. If the light has changed or the tripod has moved since, new frames may not match. The frames you have are kept.`,
    complete: (missing: number) =>
      missing === 0
        ? 'Finish the record of this set? Nothing is fired.'
        : `Fire the ${missing === 1 ? 'missing frame' : `${missing} missing frames`}?`,
    extend: (darker: number, brighter: number, missing: number) => {
      const ends = [darker === 0 ? '' : `${darker} darker`, brighter === 0 ? '' : `${brighter} brighter`];
      const what = ends.filter((part) => part !== '').join(' and ');
      const also =
        missing === 0 ? '' : `, and fire the ${missing === 1 ? 'missing one' : `${missing} missing ones`}`;
      return `Add ${what} ${darker + brighter === 1 ? 'frame' : 'frames'}${also}?`;
    },
    frames: (numbers: readonly number[]) =>
      `Reshoot ${numbers.length === 1 ? 'frame' : 'frames'} ${allOf(numbers)}?`,
    pass: (number: number) => `Reshoot pass ${number}?`,
    fire: 'Fire',
    leave: 'Cancel',
    starting: 'Starting',
  },
} as const;
