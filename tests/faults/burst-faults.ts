// Faults with the files of one release, made on a practice body: listeners are told something else of its
// files than what the shutter did. It does not know what is expected of them.
import type { PracticeBody, PracticeFile } from '../../src/camera/practice/model.js';

type Files = readonly PracticeFile[];

/** Counts frames from now on, the first is 1, and changes what is told of one of them. */
function atFrame(body: PracticeBody, number: number, change: (files: Files) => Files): void {
  let frame = 0;
  const out = body.beforeTelling((files) => {
    frame += 1;
    if (frame < number) return files;
    out();
    return change(files);
  });
}

/** Nobody is told of this frame, which is on the card if the body keeps its frames there. */
export const frameMissing = (body: PracticeBody, number: number): void => atFrame(body, number, () => []);

/** After this frame the body tells of one more that the shutter did not make: the same picture under a name of its own. */
export const frameTooMany = (body: PracticeBody, number: number): void =>
  atFrame(body, number, (files) => [
    ...files,
    ...files.map((file) => ({ ...file, name: file.name.replace('IMG_', 'EXT_') })),
  ]);

/**
 * This frame is told of after the next one. If there is none in the same release, it is told of with the
 * first of the next.
 */
export function outOfOrder(body: PracticeBody, number: number): void {
  atFrame(body, number, (late) => {
    atFrame(body, 1, (files) => [...files, ...late]);
    return [];
  });
}

/** Of the pair that this frame is, only the first file is told of; the other one is on the card. */
export const halfAPair = (body: PracticeBody, number: number): void =>
  atFrame(body, number, (files) => files.slice(0, 1));
