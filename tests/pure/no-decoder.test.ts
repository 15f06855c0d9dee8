// The daemon decodes no picture: what decodes is named only where a process beside it, or the practice body, does. (What the daemon really maps
// while it fires is looked at in tests/processes/no-decoder.test.ts.)
import { readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { expect, it } from 'vitest';

const sources = new Map(
  readdirSync('src', { recursive: true, encoding: 'utf8' })
    .filter((name) => name.endsWith('.ts'))
    .map((name) => path.posix.join('src', name))
    .sort()
    .map((file) => [file, readFileSync(file, 'utf8').replace(/^\s*(?:\/\/|\*|\/\*).*$/gm, '')]),
);

const filesWith = (text: RegExp): string[] =>
  [...sources].filter(([, source]) => text.test(source)).map(([file]) => file);

it('the library that decodes is loaded where pictures are decoded, and nowhere else', () => {
  const beside = /^src\/(?:light\/(?:process|read)|camera\/practice)\//;
  expect(filesWith(/(?:import\(|from )'sharp'/).filter((file) => !beside.test(file))).toEqual([
    'src/frames/decode/small-copy.ts',
    'src/frames/decode/work.ts',
    'src/frames/hand-over/contact-sheet.ts',
    'src/frames/hand-over/letters.ts',
  ]);
});

it.each([
  [/\b(?:smallCopyOf|pixelsOf|uprightOf|sizeOf)\b.*small-copy/, ['src/frames/decode/work.ts']],
  [/\bdrawContactSheet\(/, ['src/frames/decode/work.ts', 'src/frames/hand-over/contact-sheet.ts']],
  [
    /\b(?:lettersHere|drawable)\(/,
    ['src/frames/hand-over/contact-sheet.ts', 'src/frames/hand-over/letters.ts'],
  ],
])('what decodes is asked by nobody but the process: %s', (text, where) => {
  expect(filesWith(text)).toEqual(where);
});
