// How a field of a request is named to whoever typed it: the one place that knows both names.

const TYPED_OTHERWISE: Readonly<Record<string, string>> = {
  readings: '--darkest and --brightest',
  light: '--follow-light',
  'light.mostPerSet': '--most-shift',
  'followSpan.mostPerSet': '--frames-change',
  fewestFrames: '--frames-fewest',
  mostFrames: '--frames-most',
  handHeldMm: '--hand-held',
  mainsHz: '--mains',
  lightEvPerMinute: '--light-rate',
  fileBytes: '--file-size',
};

/** @param field as in shared/, such as `schedule.every` @returns `--every` */
export function optionOf(field: string): string {
  const last = field.split('.').at(-1) ?? field;
  const asTyped = TYPED_OTHERWISE[field] ?? TYPED_OTHERWISE[last];
  return asTyped ?? `--${last.replaceAll(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`)}`;
}
