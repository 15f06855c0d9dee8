// Arrays for sums over a whole copy, used over and over: made anew for every frame, they would be some 40 MB
// to be collected each time. An array that is asked for by name is the one of that name from before, with its
// content.

/** One set has copies of one size, and their quarters. */
const floats = new Map<string, Float32Array>();

export function scratch(name: string, length: number): Float32Array {
  const key = `${name} ${length}`;
  const kept = floats.get(key) ?? new Float32Array(length);
  floats.set(key, kept);
  return kept;
}

/** Lets go of all of them. */
export const clearScratch = (): void => floats.clear();

/** As scratch, with these values. */
export function scratchOf(name: string, values: Float32Array | Uint8Array): Float32Array {
  const room = scratch(name, values.length);
  room.set(values);
  return room;
}
