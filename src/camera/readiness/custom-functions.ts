// The custom functions of vendor extension 0x0B as libgphoto2 2.5.30 writes them (the table of custom functions in camlibs/ptp2): numbers
// in base 16 with commas between, `size,groups,` and then for each group `group,size,functions,`, and for each function
// `function,values,value...`. A body sends its groups one after the other, and the library keeps the last: most functions are
// missing from it.

/** The library gives up at 1024 bytes of them, which are 256 numbers. */
const LONGEST_LIST = 256 * 9;

/** @returns the first value of a function; undefined if the text does not have it, or is not such a list */
export function firstFunction(text: string, wanted: number): number | undefined {
  if (text.length > LONGEST_LIST) return undefined;
  const words = text.replace(/,\s*$/, '').split(',');
  if (!words.every((word) => /^[0-9a-f]{1,8}$/i.test(word))) return undefined;
  const numbers = words.map((word) => Number.parseInt(word, 16));
  const [, groups = 0] = numbers;
  let at = 2;
  for (let group = 0; group < groups && at < numbers.length; group += 1) {
    const functions = numbers[at + 2] ?? 0;
    at += 3;
    for (let index = 0; index < functions && at < numbers.length; index += 1) {
      if (numbers[at] === wanted) return numbers[at + 1] === 0 ? undefined : numbers[at + 2];
      at += 2 + (numbers[at + 1] ?? 0);
    }
  }
  return undefined;
}
