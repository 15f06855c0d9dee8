// How many files a frame becomes, by the format that the body is set to.
import type { Settings } from './link.js';

const FORMATS = ['imageformat', 'imagequality', 'imagequality2', 'imageformatcf', 'imageformatsd'];
/** Every label of two files has it, under all extensions, and no other has. */
const TWO_FILES = '+';

export const filesPerFrame = (settings: Settings): 1 | 2 =>
  FORMATS.some((name) => settings.get(name)?.value.includes(TWO_FILES)) ? 2 : 1;
