// What the panel says of the light of a set: what it holds, what it can become, and which of its frames are worth firing again. What
// the pictures tell the daemon says itself.
import { allOf, frames } from './words.js';

const named = (numbers: readonly number[]) =>
  `${numbers.length === 1 ? 'Frame' : 'Frames'} ${allOf(numbers)}`;

export const setLightText = {
  setLight: {
    heading: 'Scene coverage',
    toCome: 'Each picture is judged as it arrives.',
    none: 'No picture of this set was judged.',
    /** Its room is kept free until the daemon's own sentence is there. */
    proofToCome:
      'The frames are being merged into a proof. It shows the range of the set; it is not the final picture.',
    notThere: 'The picture is not available.',
    enlarge: { map: 'Enlarge the coverage map', proof: 'Enlarge the proof' },
    close: 'Close',
    proof: 'Proof',
    /** Pressed, the picture shows this instead of the proof. */
    held: 'Coverage map',
    heldOf: (sentence: string) => `Coverage map. ${sentence}`,
    legend: {
      none: 'hatched: in no frame',
      one: 'dotted: in one frame alone',
      more: 'grey: in two frames or more',
    },
    why: {
      'camera-moved': (numbers: readonly number[]) =>
        `The camera moved: ${named(numbers).toLowerCase()} ${numbers.length === 1 ? 'does' : 'do'} not line up with the others.`,
      'less-sharp': (numbers: readonly number[]) =>
        `${named(numbers)} ${numbers.length === 1 ? 'is' : 'are'} softer than the others.`,
      'subject-moved': (numbers: readonly number[]) => `Something moved in ${named(numbers).toLowerCase()}.`,
    },
    again: (number: number) => (number === 1 ? 'Reshoot this frame' : `Reshoot these ${frames(number)}`),
  },
} as const;
