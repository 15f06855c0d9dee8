// What the panel says where one frame, or two neighbouring ones, are looked at closely.
import { percent } from './words.js';

/** @param points of the screen in a pixel of the picture, along a side */
const size = (points: number) => percent(points, points < 0.1 ? 1 : 0);

export const viewerText = {
  viewer: {
    of: (number: number, all: number) => `Frame ${number} of ${all}`,
    pairOf: (number: number, brighter: number, all: number) => `Frames ${number} and ${brighter} of ${all}`,
    darker: 'Darker frame',
    brighter: 'Brighter frame',
    darkerPair: 'Darker pair',
    brighterPair: 'Brighter pair',
    close: 'Close',
    whole: 'Whole frame',
    pixels: '100%',
    larger: 'Zoom in',
    smaller: 'Zoom out',
    file: 'Original',
    fileOf: (kind: string) => `${kind} file`,
    loading: 'Loading the picture',
    none: 'This frame has no picture that a browser can show.',
    notMade: 'This frame is missing.',
    notYet: 'This frame has not arrived yet.',
    gone: 'This set has no such frame.',
    again: 'Try again',
    zoom: (points: number, isWhole: boolean) => (isWhole ? `Whole frame, ${size(points)}` : size(points)),
    ways: {
      left: 'Move left',
      right: 'Move right',
      up: 'Move up',
      down: 'Move down',
    },
    two: 'Two frames',
    one: 'One frame',
    swap: 'Press to swap',
    even: 'Same brightness',
    evened: (number: number, stops: string) =>
      `Frame ${number} is shown ${stops} darker to match the other. Blown-out areas stay blown out.`,
    keys: 'Keys: + and \u2212 zoom, 0 shows the whole frame, 1 shows 100%. Arrows move the picture, or lead to the next frame if all of it is shown; Page Up and Page Down always do. C shows two frames or one, E gives both the same brightness, S swaps them while pressed.',
  },
} as const;
