// What the panel says of the light of a set: what it holds, what it can become, and which of its frames are worth firing again. What
// the pictures tell the daemon says itself.
import { allOf, frames } from './words.js';

const named = (numbers: readonly number[]) =>
  `${numbers.length === 1 ? 'Frame' : 'Frames'} ${allOf(numbers)}`;

export const setLightText = {
  setLight: {
    heading: 'What the set holds',
    toCome: 'Each picture is judged as it comes.',
    none: 'No picture of it was judged.',
    /** Its room is kept free until the daemon's own sentence is there. */
    proofToCome:
      'The frames are being merged into a proof: it will show what the set can become, and will not be the final picture.',
    notThere: 'The picture is not there.',
    enlarge: { map: 'Enlarge what is held', proof: 'Enlarge the proof' },
    close: 'Close',
    proof: 'Proof',
    /** Pressed, the picture shows this instead of the proof. */
    held: 'What is held',
    heldOf: (sentence: string) => `Map of what the set holds. ${sentence}`,
    legend: {
      none: 'hatched: in no frame',
      one: 'dotted: in one frame alone',
      more: 'grey: in two frames or more',
    },
    why: {
      'camera-moved': (numbers: readonly number[]) =>
        `The camera moved: ${named(numbers).toLowerCase()} ${numbers.length === 1 ? 'lies' : 'lie'} beside the others.`,
      'less-sharp': (numbers: readonly number[]) =>
        `${named(numbers)} ${numbers.length === 1 ? 'is' : 'are'} softer than the others.`,
      'subject-moved': (numbers: readonly number[]) => `Something moved in ${named(numbers).toLowerCase()}.`,
    },
    again: (number: number) =>
      number === 1 ? 'Fire this frame again' : `Fire these ${frames(number)} again`,
  },
} as const;
