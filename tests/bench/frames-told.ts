// What the bench `frames` and its process say to each other, and how much is measured.

export const FRAMES_A_SET = 25;
/** 500 frames. */
export const SETS_AT_START = 20;
/** 10,000 frames. */
export const SETS = 400;

/** @returns after how many sets the memory is looked at; the first and the last are compared */
export const looksIn = (sets: number): readonly number[] => {
  const looks = [SETS_AT_START, ...[0.25, 0.5, 0.75, 1].map((part) => Math.round(part * sets))];
  return [...new Set(looks)].filter((look) => look <= sets).sort((one, other) => one - other);
};

/** In MiB. */
export interface Memory {
  readonly sets: number;
  readonly heap: number;
  /** Outside the heap, and held by it: buffers. */
  readonly external: number;
  readonly resident: number;
  /** Resident, of the camera process, in which the practice body draws its frames. */
  readonly camera: number;
  /** Resident, of the process that decodes pictures; 0 if there is none just then. */
  readonly pictures: number;
}

/** Milliseconds that one set took: by the clock, and of this process's and the camera process's processors. */
export interface Work {
  readonly wall: number;
  readonly own: number;
  readonly camera: number;
}

export interface Took extends Work {
  /** Milliseconds of a fixed piece of work right after it: what else the machine has to do slows down both. */
  readonly fixed: number;
}

export interface Measured {
  readonly memory: readonly Memory[];
  /** Of each set. */
  readonly took: readonly Took[];
  readonly cameraProcesses: number;
}
