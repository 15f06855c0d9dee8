// The library for pictures: loaded late, since it takes half a second and 100 MB, and never outside the process of this room. Its objects live
// outside the heap and are let go of by hand: `Scope` does that.
import { createRequire } from 'node:module';

export type Cv = typeof import('@techstark/opencv-js');
export type Mat = import('@techstark/opencv-js').Mat;

interface Loading {
  onRuntimeInitialized?: () => void;
  calledRun?: boolean;
  then?: unknown;
}

let loaded: Promise<{ readonly cv: Cv }> | undefined;

/** @returns the library in a wrapper: by itself it is a thenable that resolves to itself, so that waiting for it would never end */
export function openCv(): Promise<{ readonly cv: Cv }> {
  loaded ??= new Promise((resolve) => {
    const cv = createRequire(import.meta.url)('@techstark/opencv-js') as Cv & Loading;
    const ready = () => {
      delete (cv as Loading).then;
      // Its text is as large as it is itself, and is needed no more.
      (globalThis as { gc?: () => void }).gc?.();
      resolve({ cv });
    };
    if (cv.calledRun === true) ready();
    else cv.onRuntimeInitialized = ready;
  });
  return loaded;
}

interface Deletable {
  delete(): void;
}

/** Keeps objects that have to be freed. */
export class Scope {
  private readonly kept: Deletable[] = [];

  keep<Kept extends Deletable>(one: Kept): Kept {
    this.kept.push(one);
    return one;
  }

  free(): void {
    for (const one of this.kept.splice(0).reverse()) one.delete();
  }
}

/** Does some work, and lets go of all that it kept. */
export function scoped<Result>(work: (scope: Scope) => Result): Result {
  const scope = new Scope();
  try {
    return work(scope);
  } finally {
    scope.free();
  }
}

/** @returns values as a matrix of one channel */
export function matOf(
  cv: Cv,
  scope: Scope,
  values: Float32Array | Uint8Array,
  { width, height }: { readonly width: number; readonly height: number },
): Mat {
  const mat = scope.keep(
    new cv.Mat(height, width, values instanceof Float32Array ? cv.CV_32FC1 : cv.CV_8UC1),
  );
  (values instanceof Float32Array ? mat.data32F : mat.data).set(values);
  return mat;
}
