// A lens out of focus, as a Gaussian blur over the light that falls on the sensor.

/** Beyond this many standard deviations there is next to nothing. */
const REACH = 3;

/**
 * @param values row by row, `width` a row
 * @param sigma standard deviation in pixels; 0 leaves everything as it is
 * @returns as many values; the edge goes on as its last pixel
 */
export function blurred(values: Float32Array, width: number, sigma: number): Float32Array {
  if (sigma <= 0) return values;
  const kernel = kernelOf(sigma);
  const height = values.length / width;
  const across = along(values, kernel, { lines: height, length: width, line: width, step: 1 });
  return along(across, kernel, { lines: width, length: height, line: 1, step: width });
}

function kernelOf(sigma: number): Float64Array {
  const reach = Math.ceil(REACH * sigma);
  const weights = Float64Array.from({ length: 2 * reach + 1 }, (_, index) =>
    Math.exp(-((index - reach) ** 2) / (2 * sigma * sigma)),
  );
  const sum = weights.reduce((all, weight) => all + weight, 0);
  return weights.map((weight) => weight / sum);
}

interface Lines {
  readonly lines: number;
  readonly length: number;
  /** From one line to the next, and from one value of a line to the next, in values. */
  readonly line: number;
  readonly step: number;
}

function along(
  values: Float32Array,
  kernel: Float64Array,
  { lines, length, line, step }: Lines,
): Float32Array {
  const out = new Float32Array(values.length);
  const reach = (kernel.length - 1) / 2;
  for (let row = 0; row < lines; row += 1) {
    for (let at = 0; at < length; at += 1) {
      let sum = 0;
      for (let tap = -reach; tap <= reach; tap += 1) {
        const from = Math.min(length - 1, Math.max(0, at + tap));
        sum += (kernel[tap + reach] as number) * (values[row * line + from * step] as number);
      }
      out[row * line + at * step] = sum;
    }
  }
  return out;
}
