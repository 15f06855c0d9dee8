// What the panel says where one frame, or two neighbouring ones, are looked at closely.
import { unbroken } from './words.js';

/** @param points of the screen in a pixel of the picture, along a side */
const percent = (points: number) =>
  unbroken(`${points < 0.1 ? (points * 100).toFixed(1) : Math.round(points * 100)} %`);

const isWholeNumber = (points: number) => Math.abs(points - Math.round(points)) < 1e-3;

export const viewerText = {
  viewer: {
    of: (number: number, all: number) => `Frame ${number} of ${all}`,
    pairOf: (number: number, lighter: number, all: number) => `Frames ${number} and ${lighter} of ${all}`,
    darker: 'Darker frame',
    lighter: 'Lighter frame',
    darkerPair: 'Darker pair',
    lighterPair: 'Lighter pair',
    close: 'Close',
    whole: 'All of it',
    pixels: 'Every pixel',
    larger: 'Larger',
    smaller: 'Smaller',
    file: 'The file',
    fileOf: (kind: string) => `${kind} file`,
    loading: 'Loading the picture',
    none: 'This frame has no picture that a browser can show.',
    notMade: 'This frame was not made.',
    notYet: 'This frame is not made yet.',
    gone: 'There is no such frame in this set.',
    again: 'Try again',
    zoom: (points: number, isWhole: boolean) => {
      if (isWhole) return `All of it, ${percent(points)}`;
      if (Math.abs(points - 1) < 1e-3) return 'Every pixel of the picture';
      if (points > 1 && isWholeNumber(points)) return `Every pixel, ${Math.round(points)} times as wide`;
      return percent(points);
    },
    ways: {
      left: 'Farther left',
      right: 'Farther right',
      up: 'Farther up',
      down: 'Farther down',
    },
    two: 'Two frames',
    one: 'One frame',
    swap: 'Hold to swap',
    even: 'Even out',
    evened: (number: number, ev: string) =>
      `Frame ${number} is shown ${ev} EV darker, so that both look alike. What is blown out stays so.`,
    keys: 'Keys: + and - larger and smaller, 0 all of it, 1 every pixel. Arrows move the picture; where all of it is seen they lead to the next frame, as Page Up and Page Down do in any case. C shows two frames or one, E evens them out, S swaps them while it is held.',
  },
} as const;
